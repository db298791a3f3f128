"""Where a net can be pressed: its own source, or a temporary button on a tile that bears no other wire."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from hdl2grid.guide.model import Tile
from hdl2grid.guide.survey import NetInfo, Survey
from hdl2grid.plan.model import Stroke

MAX_STUB = 6


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
        near = [t for stroke in net.strokes[-1:] for t in free if _on(t, stroke)] or free
        return Spot(min(near, key=lambda t: (_crowd(survey, t), t[1], t[0])))
    return _stub_spot(survey, net, others[net.colour], foreign)


def _on(tile: Tile, stroke: Stroke) -> bool:
    x0, y0, x1, y1 = stroke
    return x0 <= tile[0] <= x1 and y0 <= tile[1] <= y1


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
