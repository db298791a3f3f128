"""Many pictures in one HTML page: SVG elements that share what they have in common.

A device is drawn once and used wherever it stands, and lines of one look become one path, so that two hundred
pictures take little more than one megabyte.
"""

from __future__ import annotations

from html import escape

from hdl2grid.show.guide_picture import Picture, unplaced
from hdl2grid.show.scene import Box, Disc, Group, Line, Polyline, Shape, Text
from hdl2grid.show.transform import shifted

Key = tuple[str, float, tuple[float, ...]]


class SharedSvg:
    """Writes pictures; `definitions` then holds what they share."""

    def __init__(self) -> None:
        self._known: dict[str, str] = {}

    def definitions(self) -> str:
        """An SVG element without size that holds the shared drawings; it must stand in the page once."""
        symbols = "".join(f'<g id="{name}">{body}</g>' for body, name in self._known.items())
        return f'<svg width="0" height="0" aria-hidden="true" class="shared"><defs>{symbols}</defs></svg>'

    def element(self, picture: Picture, mm_a_pixel: float) -> str:
        """A picture as an SVG element, as large as it is on paper."""
        size = f'width="{_number(picture.width * mm_a_pixel)}mm" height="{_number(picture.height * mm_a_pixel)}mm"'
        box = f'viewBox="0 0 {_number(picture.width)} {_number(picture.height)}"'
        return f'<svg {size} {box} role="img" aria-label="{escape(picture.words)}">{self._body(picture.shapes)}</svg>'

    def _body(self, shapes: tuple[Shape, ...]) -> str:
        made: list[str] = []
        lines: dict[Key, list[str]] = {}
        for shape in shapes:
            if isinstance(shape, Line):
                key = (shape.stroke, shape.width, shape.dash)
                lines.setdefault(key, []).append(_segment(shape))
                continue
            made += _paths(lines)
            lines = {}
            made.append(self._use(shape) if isinstance(shape, Group) else _plain(shape))
        return "".join([*made, *_paths(lines)])

    def _use(self, group: Group) -> str:
        x, y = unplaced(group.shapes)
        body = self._body(tuple(shifted(group.shapes, -x, -y)))
        name = self._known.setdefault(body, f"d{len(self._known)}")
        return f'<use href="#{name}" x="{_number(x)}" y="{_number(y)}"/>'


def _segment(line: Line) -> str:
    x0, y0, x1, y1 = (_number(v) for v in (line.x0, line.y0, line.x1, line.y1))
    end = f"H{x1}" if y0 == y1 else f"V{y1}" if x0 == x1 else f"L{x1} {y1}"
    return f"M{x0} {y0}{end}"


def _paths(lines: dict[Key, list[str]]) -> list[str]:
    made = []
    for (stroke, width, dash), segments in lines.items():
        dashes = f' stroke-dasharray="{" ".join(_number(d) for d in dash)}"' if dash else ""
        made.append(f'<path d="{"".join(segments)}" stroke="{stroke}" stroke-width="{_number(width)}"{dashes}/>')
    return made


def _plain(shape: Box | Disc | Polyline | Text) -> str:
    if isinstance(shape, Box):
        radius = f' rx="{_number(shape.radius)}"' if shape.radius else ""
        sides = f'x="{_number(shape.x)}" y="{_number(shape.y)}"'
        size = f'width="{_number(shape.width)}" height="{_number(shape.height)}"'
        return f"<rect {sides} {size}{radius}{_paint(shape.fill, shape.stroke, shape.line)}/>"
    if isinstance(shape, Disc):
        place = f'cx="{_number(shape.x)}" cy="{_number(shape.y)}" r="{_number(shape.radius)}"'
        return f"<circle {place}{_paint(shape.fill, shape.stroke, shape.line)}/>"
    if isinstance(shape, Polyline):
        points = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
        kind = "polygon" if shape.closed else "polyline"
        return f'<{kind} points="{points}"{_paint(shape.fill, shape.stroke, shape.width)}/>'
    anchor = f' text-anchor="{shape.anchor}"' if shape.anchor != "start" else ""
    weight = ' font-weight="bold"' if shape.bold else ""
    place = f'x="{_number(shape.x)}" y="{_number(shape.y)}" font-size="{_number(shape.size)}"'
    return f'<text {place} fill="{shape.fill}"{anchor}{weight}>{escape(shape.text)}</text>'


def _paint(fill: str | None, stroke: str | None, width: float) -> str:
    inside = f' fill="{fill}"' if fill else ""
    return inside + (f' stroke="{stroke}" stroke-width="{_number(width)}"' if stroke and width else "")


def _number(value: float) -> str:
    text = f"{value:.1f}".rstrip("0").rstrip(".")
    return "0" if text in ("-0", "") else text
