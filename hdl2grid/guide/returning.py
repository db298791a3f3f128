"""Ways back into the first state: a reset button, a few more presses, or single nets pressed by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hdl2grid.guide.building_site import Site, in_sight
from hdl2grid.guide.model import Action, Tile
from hdl2grid.guide.sentences import at
from hdl2grid.guide.spots import Spot, find_button_spot
from hdl2grid.guide.survey import Survey
from hdl2grid.guide.world import World

DEPTH = 3
"""Most presses of what stands there already. Guessed."""

MAX_STARTS = 12
"""Most states from which single nets are pressed, where presses of sources do not lead back. Guessed."""


@dataclass(frozen=True)
class Move:
    """One press on the way back: of what stands on `tile`, or (`net` set) of a temporary button on a net."""

    tile: Tile
    net: int | None = None
    spot: Spot | None = None


def pressable(site: Site, world: World) -> list[Tile]:
    """What can be pressed without putting anything down: buttons first, then temporary buttons, then switches."""
    kinds = {"button": 0, "switch": 2}
    found = [(kinds[t.kind] + (tile in site.buttons), tile) for tile, t in world.things.items() if t.kind in kinds]
    return [tile for _, tile in sorted(found)]


def way_back(site: Site, world: World, standing: Sequence[tuple[int, Spot]] = ()) -> list[Move] | None:
    """The presses that bring `world` into the first state; None when none were found. `standing` are the nets on which
    temporary buttons stand, and where."""
    if not _unlike(site, world):
        return []
    events = pressable(site, world)
    frontier: list[tuple[World, list[Move]]] = [(world, [])]
    passed = list(frontier)
    for _ in range(DEPTH):
        grown = []
        for state, moves in frontier:
            for tile in events:
                after = _pressed(state, tile)
                if after is None:
                    continue
                if not _unlike(site, after):
                    return [*moves, Move(tile)]
                grown.append((after, [*moves, Move(tile)]))
        frontier = grown[:64]
        passed += frontier
    for state, moves in passed[:MAX_STARTS]:
        rest = _by_nets(site, state, standing)
        if rest is not None:
            return [*moves, *rest]
    return None


def _unlike(site: Site, world: World) -> dict[Tile, int]:
    wrong = {tile: v for tile, v in world.watched().items() if v != site.first[tile]}
    for index in site.survey.of_kind("switch"):
        value = world.value(site.survey.tile(index), "switch")
        if value is not None and value != int(bool(site.survey.device(index).on)):
            wrong[site.survey.tile(index)] = value
    return wrong


def _pressed(world: World, tile: Tile) -> World | None:
    """A world after one press; None when a pulse gets lost."""
    after = world.copy()
    return None if after.do(Action("press", tile=tile)).lost else after


def _by_nets(site: Site, world: World, standing: Sequence[tuple[int, Spot]]) -> list[Move] | None:
    """Switches back first; then every net whose level is not that of the first state is pressed, by the temporary
    button that stands on it where there is one."""
    moves: list[Move] = []
    places = dict(standing)
    used = [(site.survey.nets[net].colour, spot) for net, spot in standing]
    for index in site.survey.of_kind("switch"):
        tile = site.survey.tile(index)
        value = world.value(tile, "switch")
        if value is not None and value != int(bool(site.survey.device(index).on)):
            flipped = _pressed(world, tile)
            if flipped is None:
                return None
            world = flipped
            moves.append(Move(tile))
    for _ in range(3):
        wrong = _unlike(site, world)
        if not wrong:
            return moves
        levels = odd_nets(site.survey, site.laid, set(wrong))
        if levels is None:
            return None
        lowest = min((site.survey.nets[n].level for n in levels), default=0)
        for index in sorted(levels):
            net = site.survey.nets[index]
            spot = places.get(index) or find_button_spot(site.survey, net, site.laid, used)
            if net.level > lowest or net.has_strobe or spot is None:
                continue
            stands = index in places
            pressed = _pressed(world, spot.tile) if stands else press_net(world, site, index, spot)
            if pressed is None:
                return None
            world = pressed
            moves.append(Move(spot.tile) if stands else Move(spot.tile, index, spot))
    return None if _unlike(site, world) else moves


def press_net(world: World, site: Site, index: int, spot: Spot) -> World | None:
    """A world after a net was pressed once by a temporary button; None when a pulse gets lost."""
    after = world.copy()
    net = site.survey.nets[index]
    temporary = Action("wire", colour=net.colour, stroke=spot.stub) if spot.stub else None
    if temporary:
        after.do(temporary)
    after.do(site.temporary(spot.tile))
    outcome = after.do(Action("press", tile=spot.tile))
    after.do(site.take_away(spot.tile))
    if spot.stub:
        after.do(Action("unwire", colour=net.colour, stroke=spot.stub))
    return None if outcome.lost else after


def odd_nets(survey: Survey, laid: Sequence[int], wrong: set[Tile]) -> list[int] | None:
    """The nets whose levels differ from the first state's when just the toggles and pixels on `wrong` do: the
    solution of one linear equation over GF(2) a toggle or pixel. None: there is none."""
    column = {net: i for i, net in enumerate(laid)}
    pivots: dict[int, int] = {}
    for device in survey.of_kind("toggle", "pixel"):
        row = sum(1 << column[n] for n in survey.extraction.device_nets[device] if n in column)
        row = row << 1 | int(survey.tile(device) in wrong)
        for bit in sorted(pivots, reverse=True):
            if row >> bit & 1:
                row ^= pivots[bit]
        if row == 1:
            return None
        if row:
            pivots[row.bit_length() - 1] = row
    levels = 1
    for bit in sorted(pivots):
        if bin(pivots[bit] & ~(1 << bit) & levels).count("1") % 2:
            levels |= 1 << bit
    return [net for net, i in column.items() if levels >> (i + 1) & 1]


def go_back(site: Site, moves: Sequence[Move], title: str) -> None:
    """Adds the steps of a way back."""
    words = site.words
    count = 0
    while count < len(moves):
        move = moves[count]
        before = site.world.watched()
        if move.net is not None and move.spot is not None:
            _press_net_step(site, move, title, before)
            count += 1
            continue
        times = 1
        while count + times < len(moves) and moves[count + times] == move:
            times += 1
        count += times
        action = Action("press", tile=move.tile, times=times)
        after = site.trial([action])
        changed = [t for t, v in after.watched().items() if before.get(t) != v]
        device = site.world.things[move.tile].device
        template = "Press {device} on {tile} {times}. Now {seen_all}."
        if device.kind == "switch":
            template = "Flip {device} on {tile} {times}. Now {seen_all}."
        site.step(
            title,
            template,
            [action],
            see=changed,
            focus=in_sight([move.tile], changed),
            device=words.source(device),
            tile=at(move.tile),
            times=words.times(times),
            seen_all=words.seen(site.expectations(changed, after)) or words.say("nothing changes"),
        )


def _press_net_step(site: Site, move: Move, title: str, before: dict[Tile, int]) -> None:
    assert move.net is not None and move.spot is not None
    words, net = site.words, site.survey.nets[move.net]
    stub = [Action("wire", colour=net.colour, stroke=move.spot.stub)] if move.spot.stub else []
    unstub = [Action("unwire", colour=net.colour, stroke=move.spot.stub)] if move.spot.stub else []
    press = [*stub, site.temporary(move.tile), Action("press", tile=move.tile)]
    after = site.trial(press)
    changed = [t for t, v in after.watched().items() if before.get(t) != v]
    site.step(
        title,
        "Put a temporary button on {tile}{wire}, press it once and take it away. Now {seen_all}.",
        [*press, site.take_away(move.tile), *unstub],
        see=changed,
        focus=in_sight([move.tile], changed),
        tile=at(move.tile),
        wire=words.say(" with temporary wire {stub}", stub=words.stroke(net.colour, move.spot.stub))
        if move.spot.stub
        else "",
        seen_all=words.seen(site.expectations(changed, after)),
    )
