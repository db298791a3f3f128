"""The nets that make stacks sample, last of all wires: from here on a press makes the machine step."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.guide.building_site import Site
from hdl2grid.guide.likely import likely_mistakes, new_mistakes
from hdl2grid.guide.model import Action, Mistake, Tile
from hdl2grid.guide.naming import net_title
from hdl2grid.guide.opening import Chapters
from hdl2grid.guide.press_order import Round
from hdl2grid.guide.pressing import (
    FirstPress,
    away_step,
    button_actions,
    clearing_actions,
    more_step,
    neighbours,
    tell_press,
)
from hdl2grid.guide.returning import Move, go_back, way_back
from hdl2grid.guide.spots import Spot
from hdl2grid.guide.survey import NetInfo
from hdl2grid.guide.wiring import Wiring, lay_strokes


def lay_strobes(site: Site, chapters: Chapters, wiring: Wiring) -> None:
    """All nets with strobes, each pressed once: the stacks on it sample, and what they then do is seen."""
    say = site.words.say
    for index in site.survey.order:
        net = site.survey.nets[index]
        if net.has_strobe:
            _lay_strobe_net(site, net, wiring.rounds[index])
    chapters.close(
        say("Wires: strobes"),
        say(
            "Strobe nets come last: once they lie, a press makes the machine move. A press shows which stacks have "
            "taken their sample; then the machine is brought back to where it started."
        ),
    )


def _lay_strobe_net(site: Site, net: NetInfo, rounds: Sequence[Round]) -> None:
    first = rounds[0].spots[0] if rounds else None
    last = lay_strokes(site, net, first)
    if first is None:
        return
    buttons = button_actions(site, net, first)
    actions = [*last, *buttons, Action("press", tile=first.tile)]
    back = _tried(site, actions)
    if back is None:
        actions.pop()
        _step(site, net, first, last, actions, buttons, "{lay}Leave it for now: the functional check tests this net.")
        rounds = rounds[:1]
    else:
        _step(site, net, first, last, actions, buttons, "{lay}{press} Now {flips}. Nothing else may change.")
        go_back(site, back, net_title(site, net))
    away_step(site, net, first)
    for one in rounds[1:]:
        _press_elsewhere(site, net, one, first)


def _press_elsewhere(site: Site, net: NetInfo, one: Round, first: Spot) -> None:
    """A round of presses on other tiles, where mistakes show that the first press does not show."""
    before = site.world.watched()
    actions = [a for s in one.spots for a in (site.temporary(s.tile), Action("press", tile=s.tile))]
    trial = site.trial(actions)
    if trial.watched() == before:
        for spot in one.spots:
            site.take_away(spot.tile)
        seen = [*_sampled(site, net), *(t for t in neighbours(site, net) if t not in _sampled(site, net))]
        more_step(site, net, one, first, [], [], seen, False)
        return
    actions += [a for spot in one.spots for a in clearing_actions(site, net, spot)]
    back = _tried(site, actions)
    if back is not None:
        template = "{press} Now {flips}. Nothing else may change. Take the button away."
        _step(site, net, one.spots[0], [], actions, actions[:1], template, new_mistakes(site, net, one))
        go_back(site, back, net_title(site, net))


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
    mistakes: Sequence[Mistake] | None = None,
) -> None:
    before = site.world.watched()
    trial = site.trial(actions)
    flips = [t for t, value in trial.watched().items() if before.get(t) != value]
    if not flips and "{press}" in template:
        template = "{lay}{press} Nothing may change: no stack on it samples a 1 now."
    see = [*flips, *(t for t in (*_sampled(site, net), *neighbours(site, net)) if t not in flips)]
    if mistakes is None:
        mistakes = likely_mistakes(site, net, spot, bool(flips))
    press = FirstPress(
        spot=spot, strokes=last, actions=actions, is_new=bool(buttons), flips=flips, see=see, trial=trial
    )
    tell_press(site, net, press, template, mistakes)


def _sampled(site: Site, net: NetInfo) -> list[Tile]:
    """The toggles of the stacks that a strobe net makes sample, and its own toggles and pixels."""
    survey = site.survey
    tiles = [survey.tile(i) for i in survey.watched(net)]
    for sink in net.sinks:
        if survey.device(sink).kind == "strobe":
            tiles += [survey.tile(t) for t in survey.stack_of[sink].toggles]
    return tiles
