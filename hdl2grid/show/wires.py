"""Wires as shapes: straight runs in a lane of their own, joints as dots, bridges at crossovers.

lanes of one tile          a joint and a bend          a crossover: north-south passes over
|  |  |  |                     |                            |
+--+--+--+-- black          ---*---                     --  |  --
|  +--+--+-- orange            |                            |
...                            +----
"""

from __future__ import annotations

from collections.abc import Iterator

from hdl2grid.plan.model import Plan, Stroke
from hdl2grid.show import look as hues
from hdl2grid.show.look import Look
from hdl2grid.show.parts_list import stroke_tiles
from hdl2grid.show.scene import Disc, Line, Shape

Tile = tuple[int, int]


def runs(tiles: set[Tile], horizontal: bool) -> Iterator[Stroke]:
    """The longest straight runs of at least two joined tiles along one axis, top left first."""
    step = (1, 0) if horizontal else (0, 1)
    for x, y in sorted(tiles, key=lambda tile: (tile[1], tile[0])):
        if (x - step[0], y - step[1]) in tiles:
            continue
        end_x, end_y = x, y
        while (end_x + step[0], end_y + step[1]) in tiles:
            end_x, end_y = end_x + step[0], end_y + step[1]
        if (end_x, end_y) != (x, y):
            yield x, y, end_x, end_y


def degree(tile: Tile, tiles: set[Tile]) -> int:
    """How many orthogonal neighbours of `tile` bear the same colour."""
    x, y = tile
    return sum(near in tiles for near in ((x + 1, y), (x - 1, y), (x, y + 1), (x, y - 1)))


def wire_shapes(plan: Plan, look: Look) -> list[Shape]:
    """All wires of the plan: east-west runs, then the bridges of crossovers, north-south runs, and joints."""
    crossovers = {(d.x, d.y) for d in plan.devices if d.kind == "crossover"}
    boxes = {(d.x, d.y) for d in plan.devices if d.kind != "crossover"}
    covered = [stroke_tiles(strokes) for strokes in plan.wires]
    shapes: list[Shape] = []
    for colour, tiles in enumerate(covered):
        shapes += [_run(run, colour, look) for run in runs(tiles, horizontal=True)]
    for colour, tiles in enumerate(covered):
        shapes += [_bridge(tile, colour, look) for tile in sorted(crossovers & tiles) if _passed_south(tile, tiles)]
    for colour, tiles in enumerate(covered):
        shapes += [_run(run, colour, look) for run in runs(tiles, horizontal=False)]
        for tile in sorted(tiles - crossovers):
            if not _passed_straight(tile, tiles):
                shapes.append(_joint(tile, degree(tile, tiles), tile in boxes, colour, look))
    return shapes


def _run(run: Stroke, colour: int, look: Look) -> Line:
    x0, y0, x1, y1 = run
    ends = (look.lane(x0, colour), look.lane(y0, colour), look.lane(x1, colour), look.lane(y1, colour))
    return Line(*ends, look.colours[colour].hue, look.wire, look.dash(colour))


def _passed_straight(tile: Tile, tiles: set[Tile]) -> bool:
    x, y = tile
    along = (x - 1, y) in tiles and (x + 1, y) in tiles
    down = (x, y - 1) in tiles and (x, y + 1) in tiles
    return (along or down) and degree(tile, tiles) == 2


def _passed_south(tile: Tile, tiles: set[Tile]) -> bool:
    return (tile[0], tile[1] - 1) in tiles or (tile[0], tile[1] + 1) in tiles


def _bridge(tile: Tile, colour: int, look: Look) -> Line:
    """Blank paper under the north-south wire of a crossover, which interrupts what passes below it."""
    x, half = look.lane(tile[0], colour), look.half
    middle = look.middle(tile[1])
    return Line(x, middle - half, x, middle + half, hues.STACK, look.wire * 2.2)


def _joint(tile: Tile, num_joined: int, on_device: bool, colour: int, look: Look) -> Disc:
    """A small disc that closes ends and bends, a large one where three or more meet, and one on the edge of a
    device's box for wire that goes nowhere else."""
    x, y = look.lane(tile[0], colour), look.lane(tile[1], colour)
    hue = look.colours[colour].hue
    if num_joined >= 3:
        return Disc(x, y, look.wire * 1.05, hue)
    if num_joined == 0 and on_device:
        return Disc(x, look.middle(tile[1]) + look.half, look.wire * 0.8, hue)
    return Disc(x, y, look.wire * (0.5 if num_joined == 2 else 0.8), hue)
