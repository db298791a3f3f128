"""The likeliest mistakes at a press test, with what they look like and the cure."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.guide.building_site import Site
from hdl2grid.guide.model import Action, KeepClear, Mistake, Tile
from hdl2grid.guide.press_order import Round
from hdl2grid.guide.sentences import at
from hdl2grid.guide.spots import Spot
from hdl2grid.guide.survey import NetInfo
from hdl2grid.plan.model import Stroke

NAMED = 6
"""Most tiles that are named of those that a missing stroke leaves unchanged. Guessed."""


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


def new_mistakes(site: Site, net: NetInfo, one: Round) -> list[Mistake]:
    """Up to three of the mistakes that a round shows first, each with another stroke."""
    say, words = site.words.say, site.words
    found: dict[Stroke, str] = {}
    for stroke, wrong in one.shows:
        told = words.stroke(net.colour, stroke)
        by_kind = {
            "wrong colour": say("{stroke}, is laid in another colour", stroke=told),
            "one off": say("{stroke}, lies one tile off", stroke=told),
            "one tile long": say("{stroke}, is one tile too long", stroke=told),
        }
        found.setdefault(stroke, by_kind.get(wrong.kind) or say("{stroke}, is left out or one tile short", stroke=told))
    looks = say("at one of these presses other things change, or not all")
    return [Mistake(what, looks, say("take it up and lay it again")) for what in list(found.values())[:3]]
