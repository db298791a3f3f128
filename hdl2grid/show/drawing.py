"""The drawing of a whole plan: one scene, rendered as SVG or PNG."""

from __future__ import annotations

from hdl2grid.base.errors import InputError
from hdl2grid.base.target import Target
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show import look as hues
from hdl2grid.show.devices import device_shape
from hdl2grid.show.legend import LEGEND_WIDTH, legend_height, legend_shapes, shortened
from hdl2grid.show.look import DEFAULT_TILE, Look, colours_of
from hdl2grid.show.parts_list import stroke_tiles
from hdl2grid.show.png import MAX_PIXELS, png_bytes
from hdl2grid.show.scene import Box, Line, Scene, Shape, Text
from hdl2grid.show.svg import svg_text
from hdl2grid.show.transform import shifted
from hdl2grid.show.wires import wire_shapes

MARGIN = 30
"""Pixels around the grid for coordinates. Guessed."""

TITLE_HEIGHT = 48
"""Pixels above the grid for the title. Guessed."""

MIN_TILE, MAX_TILE = 4, 200
"""Pixels to a tile: smaller ones show no device, larger ones make files too large to open. Guessed."""


def draw_scene(plan: Plan, target: Target, tile: float = DEFAULT_TILE) -> Scene:
    """The plan with coordinates on its margins, a title and a legend. `tile` is in pixels, 4 to 200.

    `target` says how the wire colours look; a plan in other colours is drawn by their names.
    Raises InputError (C007) for a `tile` outside its range.
    """
    if not MIN_TILE <= tile <= MAX_TILE:
        raise InputError("C007", f"a tile of {tile:g} pixels is not from {MIN_TILE} to {MAX_TILE}")
    look = Look(tile, colours_of(plan.colours, target))
    grid_width, grid_height = plan.width * tile, plan.height * tile
    left, top = float(MARGIN), float(TITLE_HEIGHT + MARGIN)
    legend_x = left + grid_width + MARGIN + 16
    height = max(top + grid_height + MARGIN, TITLE_HEIGHT + legend_height(plan) + 16)
    title = f"{shortened(plan.name, 60)}: plan of {plan.width} x {plan.height} tiles"
    shapes: list[Shape] = [
        Text(MARGIN, 24, title, 17, hues.INK, bold=True),
        Text(MARGIN, 42, _subtitle(plan), 11, hues.GREY_TEXT),
    ]
    shapes += shifted(_grid(plan, look), left, top)
    shapes += shifted(_machine(plan, look), left, top)
    shapes += legend_shapes(plan, look.colours, legend_x, float(TITLE_HEIGHT))
    description = (
        f"{len(plan.devices)} devices and wires in the colours {', '.join(plan.colours)}, drawn as they are "
        "before the first event. Coordinates count tiles from the top left, x to the right, y downward."
    )
    return Scene(round(legend_x + LEGEND_WIDTH + 16), round(height), title, description, tuple(shapes))


def draw_svg(plan: Plan, target: Target, tile: float = DEFAULT_TILE) -> str:
    """The drawing as an SVG document. Raises InputError (C007)."""
    return svg_text(draw_scene(plan, target, tile))


def draw_png(plan: Plan, target: Target, tile: float | None = None) -> bytes:
    """The drawing as a PNG. Without `tile`: at normal size, or smaller where the plan is very large.

    Raises InputError (C006, C007) when no size, or not the size asked for, fits a picture of 40 megapixels.
    """
    for size in (tile,) if tile else (DEFAULT_TILE, 18, 12, 8, MIN_TILE):
        across = plan.width * size + 2 * MARGIN + LEGEND_WIDTH + 32
        down = plan.height * size + 2 * MARGIN + TITLE_HEIGHT
        if across * down <= MAX_PIXELS:
            return png_bytes(draw_scene(plan, target, size))
    raise InputError(
        "C006",
        f"a PNG of {plan.width} x {plan.height} tiles would have more than {MAX_PIXELS} pixels",
        hint="Draw it as SVG, or with a smaller --tile.",
    )


def _subtitle(plan: Plan) -> str:
    return f"as it is before the first event; target {plan.target}; tiles are (x,y), y downward"


def _grid(plan: Plan, look: Look) -> list[Shape]:
    """Backdrop, grid lines (every fifth stronger) and coordinates on all four sides."""
    tile = look.tile
    width, height = plan.width * tile, plan.height * tile
    shapes: list[Shape] = [
        Box(x0 * tile, y0 * tile, (x1 - x0 + 1) * tile, (y1 - y0 + 1) * tile, hues.BACKDROP)
        for x0, y0, x1, y1 in plan.backdrop
    ]
    for fifth in (False, True):
        hue = hues.GRID_FIFTH if fifth else hues.GRID
        for x in range(plan.width + 1):
            if (x % 5 == 0) == fifth:
                shapes.append(Line(x * tile, 0, x * tile, height, hue, look.thin * 0.7))
        for y in range(plan.height + 1):
            if (y % 5 == 0) == fifth:
                shapes.append(Line(0, y * tile, width, y * tile, hue, look.thin * 0.7))
    shapes.append(Box(0, 0, width, height, None, hues.GREY_TEXT, look.thin))
    return shapes + _coordinates(plan, look)


def _coordinates(plan: Plan, look: Look) -> list[Shape]:
    every = 1 if look.tile >= 20 and max(plan.width, plan.height) <= 1000 else 5
    if look.tile < 8:
        every = 10
    width, height = plan.width * look.tile, plan.height * look.tile
    shapes: list[Shape] = []
    for x in range(0, plan.width, every):
        fifth, middle = x % 5 == 0, look.middle(x)
        hue = hues.INK if fifth else hues.GREY_TEXT
        for y in (-7.0, height + 15):
            shapes.append(Text(middle, y, str(x), 10, hue, "middle", bold=fifth))
    for y_index in range(0, plan.height, every):
        fifth, base = y_index % 5 == 0, look.middle(y_index) + 3.6
        hue = hues.INK if fifth else hues.GREY_TEXT
        shapes.append(Text(-7, base, str(y_index), 10, hue, "end", bold=fifth))
        shapes.append(Text(width + 7, base, str(y_index), 10, hue, bold=fifth))
    return shapes


def _machine(plan: Plan, look: Look) -> list[Shape]:
    """Stacks' backgrounds, crossovers, wires, devices, and the names of sources, in this order."""
    shapes: list[Shape] = [_stack_background(column, look) for column in stack_columns(plan)]
    shapes += [device_shape(d, look) for d in plan.devices if d.kind == "crossover"]
    shapes += wire_shapes(plan, look)
    shapes += [device_shape(d, look) for d in plan.devices if d.kind != "crossover"]
    return shapes + _source_names(plan, look)


def stack_columns(plan: Plan) -> list[tuple[Device, ...]]:
    """The stacks, each from its gate upward, in the order of their gates in the plan."""
    at = {(d.x, d.y): d for d in plan.devices}
    columns = []
    for gate in plan.devices:
        if gate.kind != "gate":
            continue
        column = [gate]
        while (above := at.get((gate.x, column[-1].y - 1))) and above.kind in ("toggle", "strobe"):
            column.append(above)
            if above.kind == "strobe":
                break
        columns.append(tuple(column))
    return columns


def _stack_background(column: tuple[Device, ...], look: Look) -> Box:
    inset = look.tile * 0.05
    top, bottom = column[-1], column[0]
    return Box(
        top.x * look.tile + inset,
        top.y * look.tile + inset,
        look.tile - 2 * inset,
        (bottom.y - top.y + 1) * look.tile - 2 * inset,
        hues.STACK,
        hues.GREY_TEXT,
        look.thin * 0.8,
        look.tile * 0.12,
    )


_Side = tuple[list[tuple[int, int]], tuple[float, float, str]]


def _source_names(plan: Plan, look: Look) -> list[Shape]:
    """Each source's name beside it, where the tiles are free of wire and devices if there is such a side."""
    taken = {(d.x, d.y) for d in plan.devices}
    for strokes in plan.wires:
        taken |= stroke_tiles(strokes)
    size = look.tile * 0.4
    named: set[tuple[int, int]] = set()
    shapes: list[Shape] = []
    for device in plan.devices:
        if device.kind in ("ticker", "button", "switch") and device.name:
            name = shortened(device.name, 16)
            shapes.append(_name_beside(device, name, plan, taken, named, look, size))
    return shapes


def _name_beside(
    device: Device,
    name: str,
    plan: Plan,
    taken: set[tuple[int, int]],
    named: set[tuple[int, int]],
    look: Look,
    size: float,
) -> Text:
    """`taken` are tiles that bear something, `named` those under other names: two names keep a tile between them."""
    length = max(1, round(len(name) * size * 0.62 / look.tile + 0.5))
    x, y = look.middle(device.x), look.middle(device.y)
    gap = look.tile * 0.45
    sides: tuple[_Side, ...] = (
        ([(device.x + 1 + i, device.y) for i in range(length)], (x + gap, y + size * 0.36, "start")),
        ([(device.x - 1 - i, device.y) for i in range(length)], (x - gap, y + size * 0.36, "end")),
        (_around(device.x, device.y - 1, length), (x, y - gap - size * 0.2, "middle")),
        (_around(device.x, device.y + 1, length), (x, y + gap + size * 0.8, "middle")),
    )
    reach = [[(tx + d, ty) for tx, ty in side for d in (-1, 0, 1)] for side, _ in sides]
    clear = [s for s, around in zip(sides, reach, strict=True) if not named & set(around)]
    sides = tuple(clear) or sides
    inside = [s for s in sides if all(0 <= tx < plan.width and 0 <= ty < plan.height for tx, ty in s[0])]
    free = [s for s in inside if not (taken | named) & set(s[0])]
    for tiles, (text_x, text_y, anchor) in (free or inside or list(sides))[:1]:
        named |= set(tiles)
        return Text(text_x, text_y, name, size, hues.INK, anchor, bold=True, halo=hues.PAPER)
    raise AssertionError("a device has four sides")


def _around(x: int, y: int, length: int) -> list[tuple[int, int]]:
    return [(x + i - length // 2, y) for i in range(length + (length + 1) % 2)]
