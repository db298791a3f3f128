"""Where a net can be pressed: its own source, or a temporary button on a tile that bears no other wire."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass

from hdl2grid.guide.model import Tile
from hdl2grid.guide.survey import NetInfo, Survey
from hdl2grid.guide.world import tiles_of
from hdl2grid.plan.model import Stroke

MAX_STUB = 6
"""Longest temporary wire to a button, in tiles. Guessed."""

MAX_TRIED = 12
"""Most tiles near a driver that are compared; the one with most room around it is taken. Guessed."""


@dataclass(frozen=True)
class Spot:
    """A place to press a net. `own`: a source of the plan stands there; `ticker`: a temporary button stands
    where the ticker comes later; else a temporary button, on `stub` (temporary wire) where the net has no tile
    that will do."""

    tile: Tile
    own: bool = False
    ticker: bool = False
    stub: Stroke | None = None


def spots_of(survey: Survey, net: NetInfo, laid: Iterable[int]) -> list[Spot]:
    """The places to press `net` while the nets `laid`, itself among them, lie. Its own source comes first, then all
    tiles for a temporary button, nearest to a driver first. If there is neither, one stub; if none fits, nothing."""
    own = []
    for driver in net.drivers:
        kind = survey.device(driver).kind
        if kind in ("button", "switch", "ticker"):
            own.append(Spot(survey.tile(driver), own=kind != "ticker", ticker=kind == "ticker"))
    others, free = _free(survey, net, laid)
    if free or own:
        return [*own[:1], *map(Spot, free)]
    stub = _stub_spot(survey, net, others, survey.taken)
    return [stub] if stub else []


def find_button_spot(
    survey: Survey, net: NetInfo, laid: Iterable[int], used: Iterable[tuple[str, Spot]] = ()
) -> Spot | None:
    """A place for a temporary button on `net`. It touches no other of the nets `laid`, and none of the buttons and
    stubs that are `used` by other nets (colour and place). Of the tiles nearest to a driver, one with few devices
    around is taken."""
    used = list(used)
    others, free = _free(survey, net, laid, used)
    if free:
        return Spot(min(free[:MAX_TRIED], key=lambda t: _crowd(survey, t)))
    return _stub_spot(survey, net, others, survey.taken | {spot.tile for _, spot in used})


def _free(
    survey: Survey, net: NetInfo, laid: Iterable[int], used: Iterable[tuple[str, Spot]] = ()
) -> tuple[dict[str, set[Tile]], list[Tile]]:
    """Where the other nets lie, by colour; and the tiles of `net` that bear nothing else, nearest to a driver first."""
    others: dict[str, set[Tile]] = {colour: set() for colour in survey.plan.colours}
    for index in laid:
        if index != net.index:
            others[survey.nets[index].colour] |= survey.nets[index].tiles
    for colour, spot in used:
        others[colour] |= {spot.tile, *(tiles_of(spot.stub) if spot.stub else ())}
    foreign = set().union(*others.values())
    free = [t for t in net.tiles if t not in survey.taken and t not in foreign]
    return others, sorted(free, key=lambda t: (_to_driver(survey, net, t), t[1], t[0]))


def _to_driver(survey: Survey, net: NetInfo, tile: Tile) -> int:
    """Steps to the nearest driver of a net."""
    places = [survey.tile(d) for d in net.drivers]
    return min((abs(x - tile[0]) + abs(y - tile[1]) for x, y in places), default=0)


def _crowd(survey: Survey, tile: Tile) -> int:
    """How many devices stand around a tile: a button is easier to reach where there are few."""
    x, y = tile
    return sum((x + dx, y + dy) in survey.taken for dx in (-1, 0, 1) for dy in (-1, 0, 1))


def _stub_spot(survey: Survey, net: NetInfo, others: dict[str, set[Tile]], taken: Collection[Tile]) -> Spot | None:
    """The shortest straight stub of temporary wire beside the net, clear of the `others` (by colour) and of what is
    `taken` by devices, that ends on a tile for a button."""
    plan = survey.plan
    same, foreign = others[net.colour], set().union(*others.values())
    crossovers = {survey.tile(i) for i in survey.of_kind("crossover")}
    found: list[tuple[int, int, int, Spot]] = []
    for x, y in net.tiles:
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            for length in range(1, MAX_STUB + 1):
                tx, ty = x + dx * length, y + dy * length
                if not (0 <= tx < plan.width and 0 <= ty < plan.height):
                    break
                if (x, y) in crossovers or (tx, ty) in taken or (tx, ty) in same | net.tiles:
                    break
                around = {(tx + 1, ty), (tx - 1, ty), (tx, ty + 1), (tx, ty - 1)}
                if around & same or around & crossovers or around & net.tiles - {(x, y)}:
                    break
                if (tx, ty) not in foreign:
                    stub = (x + dx, y + dy, tx, ty)
                    found.append((length, y, x, Spot((tx, ty), stub=stub)))
                    break
    return min(found, key=lambda f: f[:3], default=(0, 0, 0, None))[3]
