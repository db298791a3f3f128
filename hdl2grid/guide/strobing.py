"""The nets that make stacks sample, last of all wires: from here on a press makes the machine step."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.guide.model import Action, Tile
from hdl2grid.guide.opening import Chapters
from hdl2grid.guide.returning import Move, go_back, way_back
from hdl2grid.guide.site import Site, in_sight
from hdl2grid.guide.spots import Spot
from hdl2grid.guide.survey import NetInfo
from hdl2grid.guide.wiring import (
    Wiring,
    button_actions,
    clearing_actions,
    ends_of,
    lay_strokes,
    likely_mistakes,
    neighbours,
    net_title,
    net_words,
    press_words,
    stroke_list,
)
from hdl2grid.guide.words import at


def lay_strobes(site: Site, chapters: Chapters, wiring: Wiring) -> None:
    """All nets with strobes, each pressed once: the stacks on it sample, and what they then do is seen."""
    say = site.words.say
    for index in site.survey.order:
        net = site.survey.nets[index]
        if net.has_strobe:
            _lay_strobe_net(site, net, wiring.spots[index])
    chapters.close(
        say("Wires: strobes"),
        say(
            "Strobe nets come last: once they lie, a press makes the machine move. A press shows which stacks have "
            "taken their sample; then the machine is brought back to where it started."
        ),
    )


def _lay_strobe_net(site: Site, net: NetInfo, spot: Spot | None) -> None:
    last = lay_strokes(site, net, spot)
    if spot is None:
        return
    buttons = button_actions(site, net, spot)
    actions = [*last, *buttons, Action("press", tile=spot.tile)]
    back = _tried(site, actions)
    if back is None:
        actions.pop()
        _step(site, net, spot, last, actions, buttons, "{lay}Leave it for now: the functional check tests this net.")
    else:
        _step(site, net, spot, last, actions, buttons, "{lay}{press} Now {flips}. Nothing else may change.")
        go_back(site, back, net_title(site, net))
    clearing = clearing_actions(site, net, spot)
    if clearing:
        site.step(
            net_title(site, net),
            "Take the button on {tile} away.",
            clearing,
            of=net,
            tile=at(spot.tile),
        )


def _tried(site: Site, actions: Sequence[Action]) -> list[Move] | None:
    """The way back from a press; None where a pulse would be lost or no way back is known."""
    world = site.world.copy()
    if any(world.do(action).lost for action in actions):
        return None
    return way_back(site, world)


def _step(
    site: Site,
    net: NetInfo,
    spot: Spot,
    last: Sequence[Action],
    actions: Sequence[Action],
    buttons: Sequence[Action],
    template: str,
) -> None:
    words = site.words
    before = site.world.watched()
    trial = site.trial(actions)
    flips = [t for t, value in trial.watched().items() if before.get(t) != value]
    if not flips and "{press}" in template:
        template = "{lay}{press} Nothing may change: no stack on it samples a 1 now."
    see = [*flips, *(t for t in (*_sampled(site, net), *neighbours(site, net)) if t not in flips)]
    site.step(
        net_title(site, net),
        template,
        actions,
        see=see,
        mistakes=likely_mistakes(site, net, spot, bool(flips)),
        of=net,
        focus=in_sight(ends_of(last, spot), flips),
        lay=words.say("Lay {net}: {strokes}. ", net=net_words(site, net), strokes=stroke_list(site, last))
        if last
        else "",
        press=press_words(site, net, spot, bool(buttons)),
        flips=words.seen(site.expectations(flips, trial)),
    )


def _sampled(site: Site, net: NetInfo) -> list[Tile]:
    """The toggles of the stacks that a strobe net makes sample, and its own toggles and pixels."""
    survey = site.survey
    tiles = [survey.tile(i) for i in survey.watched(net)]
    for sink in net.sinks:
        if survey.device(sink).kind == "strobe":
            tiles += [survey.tile(t) for t in survey.stack_of[sink].toggles]
    return tiles
