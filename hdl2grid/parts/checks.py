"""Parameters of the parts, checked as the design file gives them."""

from __future__ import annotations

from hdl2grid.base.errors import InputError
from hdl2grid.base.sources import short
from hdl2grid.base.userline import user_line


def whole(what: str, value: object, low: int, high: int) -> int:
    """`value` if it is a whole number from `low` to `high`; raises InputError M070 otherwise."""
    if isinstance(value, int) and not isinstance(value, bool) and low <= value <= high:
        return value
    raise bad(f"{what} is a whole number from {low} to {high}, not {short(value)}")


def bad(what: str, hint: str | None = None) -> InputError:
    return InputError("M070", what, where=user_line(), hint=hint)
