"""Wires, net by net, each with its press test, and the pixels that start dark."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from hdl2grid.guide.model import MAX_THINGS, Action, KeepClear, Mistake, Tile
from hdl2grid.guide.opening import Chapters
from hdl2grid.guide.site import COMFORTABLE, Site, fits, in_sight, shares
from hdl2grid.guide.spots import Spot, find_spot
from hdl2grid.guide.survey import NetInfo, Survey
from hdl2grid.guide.words import at
from hdl2grid.plan.model import Stroke

MAX_GUARDS = 40
"""Most neighbours that a press test lists as unchanged."""
NAMED = 6
"""So many tiles are named of those that a missing stroke leaves unchanged."""


class Wiring:
    """What the press tests need to know beforehand: where each net is pressed, and which pixel that starts dark
    is placed at which net's test."""

    def __init__(self, survey: Survey, fresh_pixel: int = 1) -> None:
        self.survey = survey
        self.spots: dict[int, Spot | None] = {}
        laid: list[int] = []
        for index in survey.order:
            laid.append(index)
            self.spots[index] = find_spot(survey, survey.nets[index], laid)
        self.late: dict[int, list[int]] = {}
        """net -> the pixels that are placed at its test"""
        self.early: list[int] = []
        """pixels that start dark and that no test can turn dark"""
        for pixel in survey.of_kind("pixel"):
            if int(bool(survey.device(pixel).lit)) == fresh_pixel:
                continue
            nets = [n for n in survey.order if pixel in survey.nets[n].sinks]
            usable = [n for n in nets if not survey.nets[n].has_strobe and self.spots[n] is not None]
            if usable and usable[0] == nets[0]:
                self.late.setdefault(usable[0], []).append(pixel)
            else:
                self.early.append(pixel)

    @property
    def late_pixels(self) -> set[int]:
        return {pixel for pixels in self.late.values() for pixel in pixels}


def lay_nets(site: Site, chapters: Chapters, wiring: Wiring) -> None:
    """All nets without strobes, block by block."""
    say = site.words.say
    order = [site.survey.nets[n] for n in site.survey.order if not site.survey.nets[n].has_strobe]
    first = 0
    begun: set[str] = set()
    for block, nets in groupby(order, key=lambda net: net.block):
        for net in nets:
            lay_net(site, wiring, net)
        name = site.survey.titles[block]
        title = say("Wires: {block}, continued", block=name) if block in begun else say("Wires: {block}", block=name)
        begun.add(block)
        why = say("Each net is laid and tested as told at the beginning of chapter {number}.", number=first)
        if not first:
            first = site.section
            why = say(
                "Each net is laid and tested before anything that it feeds is wired: a temporary button, one press, "
                "and just these toggles and pixels flip; pressed again, all is back. A wrong wire shows here, and "
                "at its own net."
            )
        chapters.close(title, why)


def lay_net(site: Site, wiring: Wiring, net: NetInfo) -> None:
    """One net: its strokes, its press test, the pixels that start dark, all back."""
    spot = wiring.spots[net.index]
    last = lay_strokes(site, net, spot)
    if spot is None:
        return
    own = [site.survey.tile(i) for i in site.survey.watched(net)]
    guards = neighbours(site, net)
    late = wiring.late.get(net.index, [])
    only_late = set(late) == set(net.sinks)
    if only_late:
        _button_step(site, net, spot, last)
    else:
        press_step(site, net, spot, last, own, guards)
    _back_step(site, net, spot, late, own, guards, is_first=only_late)


def lay_strokes(site: Site, net: NetInfo, spot: Spot | None) -> list[Action]:
    """Lays the strokes of a net in steps; those that fit into the step of the first press are returned and left
    to it."""
    actions = [Action("wire", colour=net.colour, stroke=stroke) for stroke in in_reach(site, net)]
    parts = shares([[action] for action in actions], COMFORTABLE + 1)
    site.laid.append(net.index)
    last: list[Action] = []
    if spot is not None and _has_room(site, parts[-1], spot):
        last = parts.pop()
    for number, part in enumerate(parts):
        site.step(
            net_title(site, net),
            "Lay more of {net}: {strokes}." if number else "Lay {net}: {strokes}.",
            part,
            of=net,
            net=net_words(site, net),
            strokes=stroke_list(site, part),
        )
    return last


def _has_room(site: Site, part: Sequence[Action], spot: Spot) -> bool:
    things = len(part) + (0 if spot.own else 1) + (1 if spot.stub else 0)
    ends = [tile for a in part if a.stroke for tile in (a.stroke[:2], a.stroke[2:])]
    return things <= MAX_THINGS and fits([*ends, spot.tile])


def stroke_list(site: Site, part: Iterable[Action]) -> str:
    """The strokes of a step in words, without their colour."""
    return "; ".join(site.words.stroke("", a.stroke).strip() for a in part if a.stroke)


def net_words(site: Site, net: NetInfo) -> str:
    """ "net 7, ones[0], in blue"."""
    number = net_number(site, net)
    return site.words.say("net {number}, {name}, in {colour}", number=number, name=net.name, colour=net.colour)


def net_title(site: Site, net: NetInfo) -> str:
    number = net_number(site, net)
    return site.words.say("Net {number}: {name}, {colour}", number=number, name=net.name, colour=net.colour)


def net_number(site: Site, net: NetInfo) -> int:
    """The number of a net in the from-to list: its place in the order of laying, from 1."""
    return site.survey.order.index(net.index) + 1


def in_reach(site: Site, net: NetInfo) -> list[tuple[int, int, int, int]]:
    """The strokes of a net from its first driver on, each joined to one before it."""
    left = list(net.strokes)
    reached: set[Tile] = {site.survey.tile(net.drivers[0])} if net.drivers else set()
    ordered = []
    while left:
        chosen = next((s for s in left if _touches(s, reached)), left[0])
        left.remove(chosen)
        ordered.append(chosen)
        x0, y0, x1, y1 = chosen
        reached |= {(x, y) for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)}
    return ordered


def _touches(stroke: tuple[int, int, int, int], reached: set[Tile]) -> bool:
    x0, y0, x1, y1 = stroke
    covered = {(x, y) for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)}
    return not covered.isdisjoint(reached) or any(
        (x + dx, y + dy) in reached for x, y in covered for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1))
    )


def neighbours(site: Site, net: NetInfo) -> list[Tile]:
    """Toggles and pixels that a slip of the hand would join to a net: those of nets of its colour that come near,
    and those that stand beside its wire."""
    survey = site.survey
    own = set(net.sinks)
    near: dict[int, None] = {}
    beside = site.around(net.tiles, 1)
    close = site.around(net.tiles, 2)
    for index in survey.of_kind("toggle", "pixel"):
        if index not in own and survey.tile(index) in beside:
            near[index] = None
    for other in site.laid:
        if other != net.index and survey.nets[other].colour == net.colour and close & survey.nets[other].tiles:
            near.update((s, None) for s in survey.watched(survey.nets[other]) if s not in own)
    tiles = [survey.tile(i) for i in near]
    return [t for t in tiles if t in site.world.things][:MAX_GUARDS]


def press_step(
    site: Site, net: NetInfo, spot: Spot, strokes: Sequence[Action], own: Sequence[Tile], guards: Sequence[Tile]
) -> None:
    """Lays the last strokes of a net and presses it for the first time."""
    words = site.words
    buttons = button_actions(site, net, spot)
    actions = [*strokes, *buttons, Action("press", tile=spot.tile)]
    trial = site.trial(actions)
    before = site.world.watched()
    flips = [t for t, value in trial.watched().items() if before.get(t, value) != value]
    flips = [t for t in own if t in flips] + sorted(set(flips) - set(own))
    template = "{lay}{press} Now {flips}. Nothing else may change." if flips else "{lay}{press} Nothing may change."
    site.step(
        net_title(site, net),
        template,
        actions,
        see=[*flips, *(t for t in (*own, *guards) if t not in flips)],
        mistakes=likely_mistakes(site, net, spot, bool(flips)),
        of=net,
        focus=in_sight(ends_of(strokes, spot), flips),
        lay=words.say("Lay {net}: {strokes}. ", net=net_words(site, net), strokes=stroke_list(site, strokes))
        if strokes
        else "",
        press=press_words(site, net, spot, bool(buttons)),
        flips=words.seen(site.expectations(flips, trial)),
    )


def ends_of(strokes: Iterable[Action], spot: Spot) -> list[Tile]:
    """The place of the press and the ends of strokes."""
    return [spot.tile, *(t for a in strokes if a.stroke for t in (a.stroke[:2], a.stroke[2:]))]


def press_words(site: Site, net: NetInfo, spot: Spot, is_new: bool) -> str:
    words, tile = site.words, at(spot.tile)
    if spot.own:
        device = site.world.things[spot.tile].device
        if device.kind == "switch":
            return words.say("Flip {device} on {tile} once.", device=words.source(device), tile=tile)
        return words.say("Press {device} on {tile} once.", device=words.source(device), tile=tile)
    if not is_new:
        return words.say("Press the button on {tile} once.", tile=tile)
    if spot.ticker:
        text = "Put a temporary button on {tile}, where the ticker comes later, and press it once."
        return words.say(text, tile=tile)
    if spot.stub:
        text = "Lay temporary wire {stub}, put a temporary button on {tile} and press it once."
        return words.say(text, stub=words.stroke(net.colour, spot.stub), tile=tile)
    return words.say("Put a temporary button on {tile} and press it once.", tile=tile)


def button_actions(site: Site, net: NetInfo, spot: Spot) -> list[Action]:
    """What must be put down before a spot can be pressed."""
    if spot.own or spot.tile in site.buttons:
        return []
    stub = [Action("wire", colour=net.colour, stroke=spot.stub)] if spot.stub else []
    return [*stub, site.temporary(spot.tile)]


def clearing_actions(site: Site, net: NetInfo, spot: Spot) -> list[Action]:
    """What must be taken away when a spot is no longer pressed. A button in a ticker's place stays."""
    if spot.own or spot.ticker:
        return []
    stub = [Action("unwire", colour=net.colour, stroke=spot.stub)] if spot.stub else []
    return [site.take_away(spot.tile), *stub]


def _back_step(
    site: Site,
    net: NetInfo,
    spot: Spot,
    dark: Sequence[int],
    own: Sequence[Tile],
    guards: Sequence[Tile],
    is_first: bool,
) -> None:
    """The second press, all back; before it the pixels that this net turns dark are placed. Where there is nothing
    else on the net, this press `is_first` and the only one."""
    say, words = site.words.say, site.words
    clearing = clearing_actions(site, net, spot)
    parts = shares([[site.place(site.survey.device(i))] for i in dark], MAX_THINGS - 3) if dark else []
    while len(parts) > 1 or (parts and not fits([*_places(parts[0]), spot.tile])):
        part = parts.pop(0)
        tiles = _places(part)
        template = "Put pixels on {tiles} now: they are {fresh}, as they should be at this moment."
        site.step(net_title(site, net), template, part, see=tiles, of=net, tiles=words.tiles(tiles))
    placing = parts[0] if parts else []
    new = _places(placing)
    shown = [*own, *(t for t in new if t not in own)]
    what = say("the button on {tile}", tile=at(spot.tile))
    flips = False
    if spot.own:
        device = site.world.things[spot.tile].device
        flips = device.kind == "switch"
        what = say("{device} on {tile}", device=words.source(device), tile=at(spot.tile))
    template = "Press {what} again. All is back: {seen_own}."
    if flips:
        template = "Flip {what} again. All is back: {seen_own}."
    if new:
        template = "Put pixels on {new} now (they are {fresh}), then press {what} again. All is back: {seen_own}."
        if flips:
            template = "Put pixels on {new} now (they are {fresh}), then flip {what} again. All is back: {seen_own}."
    if is_first:
        template = "Put pixels on {new} now (they are {fresh}), then press {what} once. Now {seen_own}."
        if flips:
            template = "Put pixels on {new} now (they are {fresh}), then flip {what} once. Now {seen_own}."
    if clearing:
        template += " Take the button and its wire away." if spot.stub else " Take the button away."
    actions = [*placing, Action("press", tile=spot.tile)]
    seen = words.seen(site.expectations(shown, site.trial(actions)))
    mistakes = likely_mistakes(site, net, spot) if is_first else [_miscounted(site, flips)]
    site.step(
        net_title(site, net),
        template,
        [*actions, *clearing],
        see=[*shown, *(t for t in guards if t not in shown)],
        mistakes=mistakes,
        of=net,
        focus=in_sight([spot.tile], [*new, *own]),
        what=what,
        new=words.tiles(new),
        seen_own=seen or say("nothing changes"),
    )


def _miscounted(site: Site, flips: bool) -> Mistake:
    say = site.words.say
    return Mistake(
        say("a flip too many or too few") if flips else say("a press too many or too few"),
        say("everything of this net shows the other value"),
        say("flip once more and look again") if flips else say("press once more and look again"),
    )


def _button_step(site: Site, net: NetInfo, spot: Spot, strokes: Sequence[Action]) -> None:
    """Lays the last strokes of a net and puts its button down; nothing can be seen yet."""
    words = site.words
    actions = [*strokes, *button_actions(site, net, spot)]
    if actions:
        site.step(
            net_title(site, net),
            "{lay}Put a temporary button on {tile}{wire}." if not spot.own else "{lay}",
            actions,
            of=net,
            lay=words.say("Lay {net}: {strokes}. ", net=net_words(site, net), strokes=stroke_list(site, strokes))
            if strokes
            else "",
            tile=at(spot.tile),
            wire=words.say(", with temporary wire {stub}", stub=words.stroke(net.colour, spot.stub))
            if spot.stub
            else "",
        )


def _places(actions: Iterable[Action]) -> list[Tile]:
    return [(a.device.x, a.device.y) for a in actions if a.device is not None]


def likely_mistakes(site: Site, net: NetInfo, spot: Spot, changes: bool = True) -> list[Mistake]:
    """What most likely went wrong when a press test does not show what it should, which is that nothing happens unless
    it `changes` something. Called before the net lies."""
    say, words = site.words.say, site.words
    found = [_gap(site, net, stroke, tiles) for stroke, tiles in _cut_off(site, net, spot)] if changes else []
    what = say("the button stands beside the wire, or the wire under it has another colour")
    cure = say("look at {tile}: button and {colour} wire must be on one tile", tile=at(spot.tile), colour=net.colour)
    if spot.own:
        source = words.source(site.world.things[spot.tile].device)
        what = say("the wire does not reach {device}, or has another colour there", device=source)
        cure = say(
            "look at {tile}: {colour} wire must lie under {device}",
            tile=at(spot.tile),
            colour=net.colour,
            device=source,
        )
    if changes:
        found.append(Mistake(what, say("nothing changes"), cure))
    near = sorted({k.tile for k in _clear_of(site, net)})
    if near:
        found.append(
            Mistake(
                say("{colour} wire touches another {colour} net", colour=net.colour),
                say("more than these change") if changes else say("something changes"),
                say(
                    "look where other {colour} wire comes near: {tiles}", colour=net.colour, tiles=words.tiles(near[:8])
                ),
            )
        )
    crossed = sorted(
        t for t in net.tiles if (thing := site.world.things.get(t)) is not None and thing.kind == "crossover"
    )
    if crossed:
        found.append(
            Mistake(
                say("a crossover is missing or one tile off"),
                say("the toggles and pixels of two nets change together"),
                say("put the crossover on {tiles}", tiles=words.tiles(crossed[:6])),
            )
        )
    return found


def _gap(site: Site, net: NetInfo, stroke: Stroke, tiles: Sequence[Tile]) -> Mistake:
    say, words = site.words.say, site.words
    return Mistake(
        say("{stroke}, is left out or one tile short", stroke=words.stroke(net.colour, stroke)),
        say("{tiles} and {count} more do not change", tiles=words.tiles(tiles[:NAMED]), count=len(tiles) - NAMED)
        if len(tiles) > NAMED + 1
        else say("{tiles} do not change", tiles=words.tiles(tiles))
        if len(tiles) > 1
        else say("{tiles} does not change", tiles=words.tiles(tiles)),
        say("lay it again"),
    )


def _cut_off(site: Site, net: NetInfo, spot: Spot) -> list[tuple[Stroke, list[Tile]]]:
    """For up to three strokes of a net the toggles and pixels that its test would not reach without them: those that
    cut off most, each another set."""
    own = [site.survey.tile(i) for i in site.survey.watched(net) if site.survey.tile(i) in site.world.things]
    found: dict[tuple[Tile, ...], Stroke] = {}
    for stroke in net.strokes:
        others = [s for s in net.strokes if s != stroke]
        reached = site.joined(spot.tile, net.colour, [*others, *([spot.stub] if spot.stub else [])])
        cut = tuple(t for t in own if t not in reached)
        if cut and len(cut) < len(own):
            found.setdefault(cut, stroke)
    chosen = sorted(found.items(), key=lambda item: (-len(item[0]), item[1]))[:3]
    return [(stroke, list(cut)) for cut, stroke in chosen]


def _clear_of(site: Site, net: NetInfo) -> list[KeepClear]:
    actions = [Action("wire", colour=net.colour, stroke=stroke) for stroke in net.strokes]
    return [k for k in site.keep_clear(actions) if k.tile not in net.tiles]
