"""The steps of a net's press test."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from hdl2grid.guide.building_site import Site, fits, in_sight, shares
from hdl2grid.guide.likely import likely_mistakes, new_mistakes
from hdl2grid.guide.model import MAX_THINGS, Action, Mistake, Tile
from hdl2grid.guide.naming import net_title, net_words, stroke_list
from hdl2grid.guide.press_order import Round
from hdl2grid.guide.sentences import at
from hdl2grid.guide.spots import Spot
from hdl2grid.guide.survey import NetInfo
from hdl2grid.guide.world import World

MAX_GUARDS = 40
"""Most neighbours that a press test lists as unchanged. Guessed."""


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
    buttons = button_actions(site, net, spot)
    actions = [*strokes, *buttons, Action("press", tile=spot.tile)]
    trial = site.trial(actions)
    before = site.world.watched()
    flips = [t for t, value in trial.watched().items() if before.get(t, value) != value]
    flips = [t for t in own if t in flips] + sorted(set(flips) - set(own))
    template = "{lay}{press} Now {flips}. Nothing else may change." if flips else "{lay}{press} Nothing may change."
    see = [*flips, *(t for t in (*own, *guards) if t not in flips)]
    mistakes = likely_mistakes(site, net, spot, bool(flips))
    press = FirstPress(
        spot=spot, strokes=strokes, actions=actions, is_new=bool(buttons), flips=flips, see=see, trial=trial
    )
    tell_press(site, net, press, template, mistakes)


@dataclass(frozen=True)
class FirstPress:
    """The last strokes of a net are laid, and it is pressed; `actions` are all that is done."""

    spot: Spot
    strokes: Sequence[Action]
    actions: Sequence[Action]
    is_new: bool
    """Whether the button is put down for this press."""
    flips: Sequence[Tile]
    """Tiles whose value the press changes."""
    see: Sequence[Tile]
    """Tiles to look at: `flips`, and those that must stay."""
    trial: World
    """The world after the press."""


def tell_press(site: Site, net: NetInfo, press: FirstPress, template: str, mistakes: Sequence[Mistake]) -> None:
    """Adds the step of a first press."""
    words, spot, strokes = site.words, press.spot, press.strokes
    site.step(
        net_title(site, net),
        template,
        press.actions,
        see=press.see,
        mistakes=mistakes,
        of=net,
        focus=in_sight(ends_of(strokes, spot), press.flips),
        lay=words.say("Lay {net}: {strokes}. ", net=net_words(site, net), strokes=stroke_list(site, strokes))
        if strokes
        else "",
        press=press_words(site, net, spot, press.is_new),
        flips=words.seen(site.expectations(press.flips, press.trial)),
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


def press_rounds(
    site: Site, net: NetInfo, rounds: Sequence[Round], strokes: Sequence[Action], late: Sequence[int], only_late: bool
) -> None:
    """All presses of a net, the pixels `late` placed before the second (before the first, where nothing else is on the
    net); `strokes` are laid with the first button."""
    first = rounds[0].spots[0]
    own = [site.survey.tile(i) for i in site.survey.watched(net)]
    guards = neighbours(site, net)
    if only_late:
        _button_step(site, net, first, strokes)
    else:
        press_step(site, net, first, strokes, own, guards)
    left = rounds if only_late else rounds[1:]
    for number, one in enumerate(left):
        room = MAX_THINGS - 2 * len(one.spots) - 1
        placing = _place_late(site, net, late, [s.tile for s in one.spots], room) if number == 0 else []
        shown = [*own, *(t for t in _places(placing) if t not in own)]
        is_last = number == len(left) - 1
        is_first = only_late and number == 0
        if one.spots == (first,):
            _again_step(site, net, first, placing, shown, guards, is_first, is_last)
        else:
            more_step(site, net, one, first, placing, shown, guards, is_last)


def _place_late(site: Site, net: NetInfo, late: Sequence[int], spots: Sequence[Tile], room: int) -> list[Action]:
    """Places pixels that start dark, in steps of their own as far as the next press has no room for them; the actions
    that are left to it."""
    words = site.words
    parts = shares([[site.place(site.survey.device(i))] for i in late], max(1, room)) if late else []
    while len(parts) > 1 or (parts and (room < 1 or not fits([*_places(parts[0]), *spots]))):
        part = parts.pop(0)
        tiles = _places(part)
        template = "Put pixels on {tiles} now: they are {fresh}, as they should be at this moment."
        if len(tiles) == 1:
            template = "Put a pixel on {tiles} now: it is {fresh}, as it should be at this moment."
        site.step(net_title(site, net), template, part, see=tiles, of=net, tiles=words.tiles(tiles))
    return parts[0] if parts else []


def _again_step(
    site: Site,
    net: NetInfo,
    spot: Spot,
    placing: Sequence[Action],
    shown: Sequence[Tile],
    guards: Sequence[Tile],
    is_first: bool,
    is_last: bool,
) -> None:
    """The button that stands there is pressed again; where nothing but new pixels is on the net, this press
    `is_first`. After the last press all is back, and the button goes."""
    say, words = site.words.say, site.words
    clearing = clearing_actions(site, net, spot) if is_last else []
    new = _places(placing)
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
        focus=in_sight([spot.tile], [*new, *shown]),
        what=what,
        new=words.tiles(new),
        seen_own=seen or say("nothing changes"),
    )


def more_step(
    site: Site,
    net: NetInfo,
    one: Round,
    first: Spot,
    placing: Sequence[Action],
    shown: Sequence[Tile],
    guards: Sequence[Tile],
    is_last: bool,
) -> None:
    """Presses on further tiles of a net, where a mistake shows that the first button does not show; those buttons go
    at once, the first one after the last press."""
    say, words = site.words.say, site.words
    new = [spot for spot in one.spots if spot != first]
    going = [*new, *([first] if is_last and not first.own and not first.ticker else [])]
    apart = not fits(s.tile for s in going)
    putting = [site.temporary(spot.tile) for spot in new]
    actions = [*placing, *putting, *(Action("press", tile=spot.tile) for spot in one.spots)]
    trial = site.trial(actions)
    after = say("Now {seen}.", seen=words.seen(site.expectations(shown, trial)) or say("nothing changes"))
    if is_last:
        after = say("All is back: {seen}.", seen=words.seen(site.expectations(shown, trial)))
    template = (
        "{pixels}Put a temporary button on {new} and press {pressed}. {after} Nothing else may change. {away}"
        if len(one.spots) == 1
        else "{pixels}Put a temporary button on {new} and press {pressed}: at each press the same things flip. {after} "
        "Nothing else may change. {away}"
        if len(new) == 1
        else "{pixels}Put temporary buttons on {new} and press {pressed}: at each press the same things flip. {after} "
        "Nothing else may change. {away}"
    )
    if not shown:
        template = (
            "Put a temporary button on {new} and press {pressed}. Nothing may change. {away}"
            if len(new) == 1
            else "Put temporary buttons on {new} and press {pressed}. Nothing may change. {away}"
        )
    clearing = [clearing_actions(site, net, spot) for spot in (new if apart else going)]
    site.step(
        net_title(site, net),
        template,
        [*actions, *(action for part in clearing for action in part)],
        see=[*shown, *(t for t in guards if t not in shown)],
        mistakes=new_mistakes(site, net, one),
        of=net,
        focus=in_sight([s.tile for s in one.spots], shown),
        pixels=say("Put pixels on {new} now (they are {fresh}). ", new=words.tiles(_places(placing)))
        if placing
        else "",
        new=words.tiles(s.tile for s in new),
        pressed=_pressed(site, one.spots),
        after=after,
        away=say("Take the button away.") if len(clearing) == 1 else say("Take the buttons away."),
    )
    if apart:
        away_step(site, net, first)


def _pressed(site: Site, spots: Sequence[Spot]) -> str:
    """The tiles in the order of their presses."""
    tiles = site.words.listed([at(spot.tile) for spot in spots])
    if len(spots) == 1:
        return site.words.say("it once")
    return site.words.say("{tiles} once each", tiles=tiles)


def away_step(site: Site, net: NetInfo, spot: Spot) -> None:
    """Takes the button of a spot away, if one is to go."""
    clearing = clearing_actions(site, net, spot)
    if clearing:
        site.step(net_title(site, net), "Take the button on {tile} away.", clearing, of=net, tile=at(spot.tile))


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
