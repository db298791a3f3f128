"""Moving shapes, and making them smaller or larger."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from hdl2grid.show.scene import Box, Disc, Group, Line, Polyline, Shape


def shifted(shapes: Iterable[Shape], dx: float, dy: float) -> list[Shape]:
    """The same shapes, `dx` to the right and `dy` down."""
    return [_shifted(shape, dx, dy) for shape in shapes]


def _shifted(shape: Shape, dx: float, dy: float) -> Shape:
    if isinstance(shape, Group):
        return Group(shape.title, tuple(shifted(shape.shapes, dx, dy)))
    if isinstance(shape, Line):
        ends = (shape.x0 + dx, shape.y0 + dy, shape.x1 + dx, shape.y1 + dy)
        return Line(*ends, shape.stroke, shape.width, shape.dash)
    if isinstance(shape, Polyline):
        points = tuple([(x + dx, y + dy) for x, y in shape.points])
        return Polyline(points, shape.stroke, shape.width, shape.fill, shape.closed)
    if isinstance(shape, Box):
        x, y = shape.x + dx, shape.y + dy
        return Box(x, y, shape.width, shape.height, shape.fill, shape.stroke, shape.line, shape.radius)
    return replace(shape, x=shape.x + dx, y=shape.y + dy)


def scaled(shapes: Iterable[Shape], factor: float) -> list[Shape]:
    """The same shapes, `factor` times as large, lines and letters too."""
    return [_scaled(shape, factor) for shape in shapes]


def _scaled(shape: Shape, f: float) -> Shape:
    if isinstance(shape, Group):
        return Group(shape.title, tuple(scaled(shape.shapes, f)))
    if isinstance(shape, Line):
        dash = tuple(length * f for length in shape.dash)
        return Line(shape.x0 * f, shape.y0 * f, shape.x1 * f, shape.y1 * f, shape.stroke, shape.width * f, dash)
    if isinstance(shape, Polyline):
        points = tuple([(x * f, y * f) for x, y in shape.points])
        return Polyline(points, shape.stroke, shape.width * f, shape.fill, shape.closed)
    if isinstance(shape, Box):
        sides = (shape.x * f, shape.y * f, shape.width * f, shape.height * f)
        return Box(*sides, shape.fill, shape.stroke, shape.line * f, shape.radius * f)
    if isinstance(shape, Disc):
        return replace(shape, x=shape.x * f, y=shape.y * f, radius=shape.radius * f, line=shape.line * f)
    return replace(shape, x=shape.x * f, y=shape.y * f, size=shape.size * f)
