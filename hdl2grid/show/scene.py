"""A drawing as data: shapes in pixels, y downward, drawn in order. SVG and PNG render the same scene.

Hues are "#RRGGBB"; a `fill` or `stroke` of None is not drawn. Lengths are in pixels of the unscaled drawing.
"""

from __future__ import annotations

from dataclasses import dataclass

Point = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A straight line, with butt ends; `dash` is line, gap, line, gap, ..., empty for an unbroken one."""

    x0: float
    y0: float
    x1: float
    y1: float
    stroke: str
    width: float
    dash: tuple[float, ...] = ()


@dataclass(frozen=True)
class Polyline:
    """Straight lines through `points`; `closed` joins the last to the first."""

    points: tuple[Point, ...]
    stroke: str | None
    width: float
    fill: str | None = None
    closed: bool = False


@dataclass(frozen=True)
class Box:
    """A rectangle with its top left at (`x`, `y`) and corners rounded by `radius`."""

    x: float
    y: float
    width: float
    height: float
    fill: str | None
    stroke: str | None = None
    line: float = 0.0
    radius: float = 0.0


@dataclass(frozen=True)
class Disc:
    """A circle."""

    x: float
    y: float
    radius: float
    fill: str | None
    stroke: str | None = None
    line: float = 0.0


@dataclass(frozen=True)
class Text:
    """One line of text on the baseline `y`; `anchor` is "start", "middle" or "end". `halo` is a hue drawn
    around the letters."""

    x: float
    y: float
    text: str
    size: float
    fill: str
    anchor: str = "start"
    bold: bool = False
    halo: str | None = None


@dataclass(frozen=True)
class Group:
    """Shapes that are one thing, which `title` names (a tool tip where the medium has them)."""

    title: str
    shapes: tuple[Shape, ...]


Shape = Line | Polyline | Box | Disc | Text | Group


@dataclass(frozen=True)
class Scene:
    """A whole drawing of `width` x `height` pixels on white paper."""

    width: int
    height: int
    title: str
    description: str
    shapes: tuple[Shape, ...]
