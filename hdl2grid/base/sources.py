"""The sources of events: tickers, buttons and switches. They have no names of their own: a source is known
by the clock domain or the input port that it is attached to, or as `reset`."""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Real
from typing import Any

from hdl2grid.base.errors import InputError
from hdl2grid.base.userline import user_line


@dataclass(frozen=True)
class Ticker:
    """Ticks once every `seconds`: any positive whole or fractional number.

    Raises InputError M006 on anything else.
    """

    seconds: int | float

    def __post_init__(self) -> None:
        seconds: Any = self.seconds
        if not _is_period(seconds):
            raise InputError(
                "M006",
                f"a ticker's period must be a positive, finite number of seconds, not {short(seconds)}",
                where=user_line(),
                hint="For example Ticker(seconds=60): one tick a minute.",
            )
        exact = int(seconds) if seconds == int(seconds) else float(seconds)
        object.__setattr__(self, "seconds", exact)


@dataclass(frozen=True)
class Button:
    """One event at each press."""


@dataclass(frozen=True)
class Switch:
    """The level of an input port, one switch a bit. `on` is the level before any event: a bool, or for a port
    of several bits the number whose bits the switches start as (`on=0b1010`)."""

    on: Any = False


def _is_period(seconds: Any) -> bool:
    if not isinstance(seconds, Real) or isinstance(seconds, bool):
        return False
    try:
        return math.isfinite(float(seconds)) and float(seconds) > 0
    except (OverflowError, ValueError):
        return False


def short(value: object, limit: int = 60) -> str:
    """`repr(value)`, cut so that it fits into a message."""
    try:
        text = repr(value)
    except Exception:
        text = f"a {type(value).__name__}"
    return text if len(text) <= limit else text[: limit - 3] + "..."
