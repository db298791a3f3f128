"""Moving shapes."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from hdl2grid.show.scene import Group, Line, Polyline, Shape


def shifted(shapes: Iterable[Shape], dx: float, dy: float) -> list[Shape]:
    """The same shapes, `dx` to the right and `dy` down."""
    return [_shifted(shape, dx, dy) for shape in shapes]


def _shifted(shape: Shape, dx: float, dy: float) -> Shape:
    if isinstance(shape, Group):
        return Group(shape.title, tuple(shifted(shape.shapes, dx, dy)))
    if isinstance(shape, Line):
        return replace(shape, x0=shape.x0 + dx, y0=shape.y0 + dy, x1=shape.x1 + dx, y1=shape.y1 + dy)
    if isinstance(shape, Polyline):
        return replace(shape, points=tuple((x + dx, y + dy) for x, y in shape.points))
    return replace(shape, x=shape.x + dx, y=shape.y + dy)
