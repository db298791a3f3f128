"""The sizes of a plan in figures, read from its tiles: what layout is judged by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hdl2grid.plan.extract import Extraction, Net, extract
from hdl2grid.plan.model import Plan

Tile = tuple[int, int]


@dataclass(frozen=True)
class Measures:
    """A plan in figures. Lengths and areas are in tiles.

    `wire` counts a crossover once for each wire that passes; `wire_bound` is the sum over nets of the rectilinear
    minimum spanning tree of the tiles of its devices, and 1. A spanning tree can be longer than the shortest tree
    with branching points, so `wire_ratio` can be below 1. `bends` are tiles on which a wire of two ends turns.
    """

    width: int
    height: int
    device_tiles: int
    nets: int
    wire: int
    wire_bound: int
    crossovers: int
    strokes: int
    bends: int

    @property
    def area(self) -> int:
        return self.width * self.height

    @property
    def wire_ratio(self) -> float:
        return self.wire / self.wire_bound if self.wire_bound else 1.0


def measure(plan: Plan, extraction: Extraction | None = None) -> Measures:
    """The figures of a plan."""
    found = extraction or extract(plan)
    devices = [d for d in plan.devices if d.kind != "crossover"]
    spanning = [spanning_tree(net_tiles(plan, net)) for net in found.nets]
    return Measures(
        width=plan.width,
        height=plan.height,
        device_tiles=len(devices) + sum(d.to is not None for d in devices),
        nets=len(found.nets),
        wire=sum(len(net.places) for net in found.nets),
        wire_bound=sum(spanning) + len(spanning),
        crossovers=len(plan.devices) - len(devices),
        strokes=sum(len(strokes) for strokes in plan.wires),
        bends=sum(_bends(net, found) for net in found.nets),
    )


def net_tiles(plan: Plan, net: Net) -> list[Tile]:
    """The tiles of the devices on a net, each once."""
    here = {place[:2] for place in net.places}
    tiles = []
    for number in (*net.drivers, *net.sinks):
        device = plan.devices[number]
        tiles += [tile for tile in ((device.x, device.y), device.to) if tile is not None and tile in here]
    return sorted(set(tiles))


def spanning_tree(tiles: Sequence[Tile]) -> int:
    """Length of a rectilinear minimum spanning tree (R. C. Prim, Bell System Technical Journal 36, 1957)."""
    left = dict.fromkeys(tiles[1:], 1 << 60)
    at, total = (tiles[0] if tiles else (0, 0)), 0
    while left:
        for tile, near in left.items():
            left[tile] = min(near, abs(tile[0] - at[0]) + abs(tile[1] - at[1]))
        at = min(left, key=lambda tile: (left[tile], tile))
        total += left.pop(at)
    return total


def _bends(net: Net, extraction: Extraction) -> int:
    bends = 0
    number = _number(net, extraction)
    for x, y, half in net.places:
        if half:
            continue
        along_x = sum(_holds(extraction, x + d, y, net.colour, "we", number) for d in (-1, 1))
        along_y = sum(_holds(extraction, x, y + d, net.colour, "ns", number) for d in (-1, 1))
        bends += along_x == along_y == 1
    return bends


def _number(net: Net, extraction: Extraction) -> int:
    x, y, half = net.places[0]
    return extraction.places[x, y, net.colour][half]


def _holds(extraction: Extraction, x: int, y: int, colour: int, axis: str, number: int) -> bool:
    halves = extraction.places.get((x, y, colour), {})
    return halves.get("", halves.get(axis)) == number
