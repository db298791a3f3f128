"""A part of a drawing: the shapes of a scene that lie within a rectangle, cut off at its edges."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from hdl2grid.show.scene import Box, Disc, Group, Line, Polyline, Shape, Text

Window = tuple[float, float, float, float]
"""left, top, right, bottom"""


def clipped(shapes: Iterable[Shape], window: Window) -> list[Shape]:
    """Straight lines along an axis and boxes are cut at the window's edges; everything else is kept whole when
    its middle (a text: its anchor, a group: its first shape) lies within, and left out otherwise."""
    kept = (_clip(shape, window) for shape in shapes)
    return [shape for shape in kept if shape is not None]


def _within(x: float, y: float, window: Window) -> bool:
    left, top, right, bottom = window
    return left <= x <= right and top <= y <= bottom


def _clip(shape: Shape, window: Window) -> Shape | None:
    if isinstance(shape, Line) and (shape.x0 == shape.x1 or shape.y0 == shape.y1):
        return _clip_line(shape, window)
    if isinstance(shape, Box):
        return _clip_box(shape, window)
    return shape if _within(*_middle(shape), window) else None


def _middle(shape: Shape) -> tuple[float, float]:
    if isinstance(shape, Group):
        return _middle(shape.shapes[0])
    if isinstance(shape, Line):
        return (shape.x0 + shape.x1) / 2, (shape.y0 + shape.y1) / 2
    if isinstance(shape, Box):
        return shape.x + shape.width / 2, shape.y + shape.height / 2
    if isinstance(shape, Polyline):
        return shape.points[0]
    assert isinstance(shape, Disc | Text)
    return shape.x, shape.y


def _clip_line(line: Line, window: Window) -> Line | None:
    left, top, right, bottom = window
    x0, x1 = (min(max(x, left), right) for x in (line.x0, line.x1))
    y0, y1 = (min(max(y, top), bottom) for y in (line.y0, line.y1))
    if line.x0 == line.x1 and not (left <= line.x0 <= right and y0 != y1):
        return None
    if line.y0 == line.y1 and not (top <= line.y0 <= bottom and x0 != x1):
        return None
    return replace(line, x0=x0, y0=y0, x1=x1, y1=y1)


def _clip_box(box: Box, window: Window) -> Box | None:
    left, top = max(box.x, window[0]), max(box.y, window[1])
    right, bottom = min(box.x + box.width, window[2]), min(box.y + box.height, window[3])
    if right <= left or bottom <= top:
        return None
    return replace(box, x=left, y=top, width=right - left, height=bottom - top)
