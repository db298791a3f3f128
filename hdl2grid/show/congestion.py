"""Where a size of the grid failed: how full its tiles are, and which are wanted twice."""

from __future__ import annotations

from hdl2grid.base.failure_report import FailureReport, Spot
from hdl2grid.base.target import Target
from hdl2grid.show import look as hues
from hdl2grid.show.scene import Box, Disc, Group, Line, Scene, Shape, Text
from hdl2grid.show.svg import svg_text

TILE, MARGIN, TITLE, LEGEND, ROW = 14.0, 30.0, 56.0, 330.0, 16.0
"""Sizes in pixels: a tile, the margin, the height of the title, the width and the line height of the list beside.
Guessed."""

FULL = ("#FFFFFF", "#EFEFEF", "#DCDCDC", "#C4C4C4", "#A6A6A6")
"""Hues of tiles by the number of colours on them."""
MAX_ROWS = 40
"""Most tiles that are listed by name. Guessed."""


def congestion_svg(failure: FailureReport, name: str, target: Target) -> str:
    """The picture of a size that failed, as SVG: grey by the number of wires on a tile, a ring in the wire's colour on
    every tile in conflict, with the nets as its tool tip, and the nets that want them in a list."""
    width, height = failure.width * TILE, failure.height * TILE
    shapes: list[Shape] = [
        Text(MARGIN, 24, f"{name}: no plan on {failure.width} x {failure.height} tiles", 16, hues.INK, bold=True),
        Text(
            MARGIN, 42, f"{failure.conflicts} conflicts were left; each ring is a tile in conflict", 11, hues.GREY_TEXT
        ),
    ]
    shapes += _tiles(failure)
    shapes += _grid(failure, width, height)
    shapes += [_ring(spot, target) for spot in failure.spots]
    shapes += _legend(failure, MARGIN + width + 24)
    rows = min(MAX_ROWS, len(failure.wanted())) + len(FULL) + 7
    scene_height = max(TITLE + height + MARGIN, TITLE + rows * ROW)
    nets = ", ".join(net for net, _ in failure.wanted()[:10])
    description = f"Tiles in conflict on a grid that failed. Nets that want them most: {nets}."
    title = f"Congestion of {name}"
    return svg_text(Scene(round(MARGIN + width + 24 + LEGEND), round(scene_height), title, description, tuple(shapes)))


def _corner(x: int, y: int) -> tuple[float, float]:
    return MARGIN + x * TILE, TITLE + y * TILE


def _tiles(failure: FailureReport) -> list[Shape]:
    shapes: list[Shape] = []
    for y, row in enumerate(failure.wires):
        for x, number in enumerate(row):
            if number:
                shapes.append(Box(*_corner(x, y), TILE, TILE, FULL[min(number, len(FULL) - 1)]))
    for tile in failure.closed:
        left, top = _corner(*tile)
        shapes.append(Box(left, top, TILE, TILE, hues.BACKDROP))
        shapes.append(Line(left, top + TILE, left + TILE, top, hues.OUTLINE, 0.8))
    for tile in failure.devices:
        left, top = _corner(*tile)
        shapes.append(Box(left + 3, top + 3, TILE - 6, TILE - 6, None, hues.OUTLINE, 1.2))
    return shapes


def _grid(failure: FailureReport, width: float, height: float) -> list[Shape]:
    shapes: list[Shape] = []
    for x in range(failure.width + 1):
        left = MARGIN + x * TILE
        shapes.append(Line(left, TITLE, left, TITLE + height, hues.GRID_FIFTH if x % 5 == 0 else hues.GRID, 0.6))
        if x % 5 == 0 and x < failure.width:
            shapes.append(Text(left + TILE / 2, TITLE - 4, str(x), 8, hues.GREY_TEXT, "middle"))
    for y in range(failure.height + 1):
        top = TITLE + y * TILE
        shapes.append(Line(MARGIN, top, MARGIN + width, top, hues.GRID_FIFTH if y % 5 == 0 else hues.GRID, 0.6))
        if y % 5 == 0 and y < failure.height:
            shapes.append(Text(MARGIN - 4, top + TILE * 0.75, str(y), 8, hues.GREY_TEXT, "end"))
    return shapes


def _ring(spot: Spot, target: Target) -> Shape:
    left, top = _corner(spot.x, spot.y)
    colour = target.colours[spot.colour]
    what = "cut off" if spot.is_cut_off else "wanted"
    title = f"({spot.x},{spot.y}) {colour.name}: {what} by {' and '.join(spot.nets)}"
    radius = TILE * (0.5 + 0.12 * spot.colour)
    shapes: list[Shape] = [Disc(left + TILE / 2, top + TILE / 2, radius, None, colour.hue, 2.0)]
    if spot.is_cut_off:
        shapes.append(Line(left, top, left + TILE, top + TILE, colour.hue, 2.0))
        shapes.append(Line(left, top + TILE, left + TILE, top, colour.hue, 2.0))
    return Group(title, tuple(shapes))


def _legend(failure: FailureReport, left: float) -> list[Shape]:
    shapes: list[Shape] = [Text(left, TITLE + 10, "colours of wire on a tile", 11, hues.INK, bold=True)]
    top = TITLE + 18
    for number, hue in enumerate(FULL):
        shapes.append(Box(left, top, TILE, TILE, hue, hues.GRID_FIFTH, 0.6))
        shapes.append(Text(left + TILE + 8, top + 11, str(number), 10, hues.INK))
        top += ROW
    shapes.append(Box(left + 3, top + 3, TILE - 6, TILE - 6, None, hues.OUTLINE, 1.2))
    shapes.append(
        Text(left + TILE + 8, top + 11, "device; a ring with a cross: a pin that is not reached", 10, hues.INK)
    )
    top += 2 * ROW
    shapes.append(Text(left, top + 10, "nets that want these tiles, and how many", 11, hues.INK, bold=True))
    top += ROW + 4
    wanted = failure.wanted()
    for net, count in wanted[:MAX_ROWS]:
        shapes.append(Text(left + 26, top + 10, str(count), 10, hues.INK, "end"))
        shapes.append(Text(left + 34, top + 10, net, 10, hues.INK))
        top += ROW
    if len(wanted) > MAX_ROWS:
        shapes.append(Text(left + 34, top + 10, f"and {len(wanted) - MAX_ROWS} more", 10, hues.INK))
    return shapes
