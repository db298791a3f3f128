"""Where a net can be pressed: its own source, or a temporary button on a tile that bears no other wire."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from hdl2grid.guide.model import Tile
from hdl2grid.guide.survey import NetInfo, Survey
from hdl2grid.guide.world import World, tiles_of
from hdl2grid.plan.model import Stroke

MAX_STUB = 6
MAX_TRIED = 12
"""Of so many tiles nearest to a driver the one is taken from which a press shows most mistakes; of all tiles of a net
with strobes, of which few can be seen to work."""


@dataclass(frozen=True)
class Spot:
    """A place to press a net. `own`: a source of the plan stands there; `ticker`: a temporary button stands
    where the ticker comes later; else a temporary button, on `stub` (temporary wire) where the net has no tile
    that will do."""

    tile: Tile
    own: bool = False
    ticker: bool = False
    stub: Stroke | None = None


def find_spot(survey: Survey, net: NetInfo, laid: Iterable[int]) -> Spot | None:
    """A place to press `net` while the nets `laid` (it among them) lie; None where there is none."""
    for driver in net.drivers:
        kind = survey.device(driver).kind
        if kind in ("button", "switch", "ticker"):
            return Spot(survey.tile(driver), own=kind != "ticker", ticker=kind == "ticker")
    return find_button_spot(survey, net, laid)


def find_button_spot(survey: Survey, net: NetInfo, laid: Iterable[int]) -> Spot | None:
    """A place for a temporary button on `net` that touches no other of the nets `laid`."""
    others: dict[str, set[Tile]] = {colour: set() for colour in survey.plan.colours}
    for index in laid:
        if index != net.index:
            others[survey.nets[index].colour] |= survey.nets[index].tiles
    foreign = set().union(*others.values())
    free = [t for t in net.tiles if t not in survey.taken and t not in foreign]
    if free:
        free.sort(key=lambda t: (_to_driver(survey, net, t), t[1], t[0]))
        most = len(free) if net.has_strobe else MAX_TRIED
        return Spot(min(free[:most], key=lambda t: (_unseen(survey, net, t), _crowd(survey, t))))
    return _stub_spot(survey, net, others[net.colour], foreign)


def _unseen(survey: Survey, net: NetInfo, tile: Tile) -> int:
    """How many mistakes with strokes a press on `tile` would not show: strokes left out (those that lead to the
    driver only, so the button stands near it), and strokes in another colour (a button presses every wire on its
    tile, so it must not stand where such a stroke begins)."""
    wanted = {survey.tile(s) for s in (*survey.watched(net), *_sampling(survey, net))}
    unseen = 0
    for stroke in net.strokes:
        others = {t for other in net.strokes if other != stroke for t in tiles_of(other)}
        for wrong in (set(), set(tiles_of(stroke))):
            world = World()
            world.things = survey.things
            world.wires = {"right": others, "wrong": wrong}
            unseen += wanted <= {sink for sinks in world.nets_on(tile) for sink in sinks}
    return unseen


def _sampling(survey: Survey, net: NetInfo) -> list[int]:
    """The strobes of a net that can be seen to work in the first state: their stacks sample a 1."""
    found = []
    for sink in net.sinks:
        if survey.device(sink).kind == "strobe":
            toggles = survey.stack_of[sink].toggles
            if len(toggles) == 1 and survey.device(toggles[0]).bit:
                found.append(sink)
    return found


def _to_driver(survey: Survey, net: NetInfo, tile: Tile) -> int:
    """Steps to the nearest driver of a net."""
    places = [survey.tile(d) for d in net.drivers]
    return min((abs(x - tile[0]) + abs(y - tile[1]) for x, y in places), default=0)


def _crowd(survey: Survey, tile: Tile) -> int:
    """How many devices stand around a tile: a button is easier to reach where there are few."""
    x, y = tile
    return sum((x + dx, y + dy) in survey.taken for dx in (-1, 0, 1) for dy in (-1, 0, 1))


def _stub_spot(survey: Survey, net: NetInfo, same: set[Tile], foreign: set[Tile]) -> Spot | None:
    """The shortest straight stub of temporary wire beside the net that ends on a tile for a button."""
    plan = survey.plan
    crossovers = {survey.tile(i) for i in survey.of_kind("crossover")}
    found: list[tuple[int, int, int, Spot]] = []
    for x, y in net.tiles:
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            for length in range(1, MAX_STUB + 1):
                tx, ty = x + dx * length, y + dy * length
                if not (0 <= tx < plan.width and 0 <= ty < plan.height):
                    break
                if (x, y) in crossovers or (tx, ty) in survey.taken or (tx, ty) in same | net.tiles:
                    break
                around = {(tx + 1, ty), (tx - 1, ty), (tx, ty + 1), (tx, ty - 1)}
                if around & same or around & crossovers or around & net.tiles - {(x, y)}:
                    break
                if (tx, ty) not in foreign:
                    stub = (x + dx, y + dy, tx, ty)
                    found.append((length, y, x, Spot((tx, ty), stub=stub)))
                    break
    return min(found, key=lambda f: f[:3], default=(0, 0, 0, None))[3]
