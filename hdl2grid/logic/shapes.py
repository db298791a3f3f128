"""Amaranth works out the shape of an expression anew at every look, from its leaves up: quadratic in its depth.
Expressions do not change, so their shapes may be remembered while a design is elaborated or compiled."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from amaranth.hdl._ast import Concat, Operator, SwitchValue

_ATTRIBUTE = "_hdl2grid_shape"


@contextmanager
def remembered_shapes() -> Iterator[None]:
    """While it lasts, each expression's shape is worked out once."""
    originals = [(kind, kind.shape) for kind in (Operator, Concat, SwitchValue)]
    for kind, original in originals:
        kind.shape = _remembering(original)
    try:
        yield
    finally:
        for kind, original in originals:
            kind.shape = original


def _remembering(original: Callable[[Any], Any]) -> Callable[[Any], Any]:
    def shape(self: Any) -> Any:
        found = self.__dict__.get(_ATTRIBUTE)
        if found is None:
            found = self.__dict__[_ATTRIBUTE] = original(self)
        return found

    return shape
