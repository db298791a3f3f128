"""Wires, net by net, each with its press test, and the pixels that start dark."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from hdl2grid.guide.building_site import COMFORTABLE, Site, fits, shares
from hdl2grid.guide.model import MAX_THINGS, Action, Tile
from hdl2grid.guide.naming import net_title, net_words, stroke_list
from hdl2grid.guide.opening import Chapters
from hdl2grid.guide.press_order import Round, choose_rounds
from hdl2grid.guide.pressing import press_rounds
from hdl2grid.guide.reach import Field
from hdl2grid.guide.spots import Spot, spots_of
from hdl2grid.guide.survey import NetInfo, Survey


class Wiring:
    """What the press tests need to know beforehand: where each net is pressed, and which pixel that starts dark
    is placed at which net's test."""

    def __init__(self, survey: Survey, fresh_pixel: int = 1) -> None:
        self.survey = survey
        laid: list[int] = []
        spots: dict[int, list[Spot]] = {}
        for index in survey.order:
            laid.append(index)
            spots[index] = spots_of(survey, survey.nets[index], laid)
        self.late: dict[int, list[int]] = {}
        """net -> the pixels that are placed at its test"""
        self.early: list[int] = []
        """pixels that start dark and that no test can turn dark"""
        for pixel in survey.of_kind("pixel"):
            if int(bool(survey.device(pixel).lit)) == fresh_pixel:
                continue
            nets = [n for n in survey.order if pixel in survey.nets[n].sinks]
            usable = [n for n in nets if not survey.nets[n].has_strobe and spots[n]]
            if usable and usable[0] == nets[0]:
                self.late.setdefault(usable[0], []).append(pixel)
            else:
                self.early.append(pixel)
        self.rounds: dict[int, tuple[Round, ...]] = {}
        field = Field(survey, self.late_pixels)
        for index in survey.order:
            late = set(self.late.get(index, ()))
            field.place(late)
            self.rounds[index] = choose_rounds(field, survey.nets[index], spots[index], late)
            field.lay(survey.nets[index])

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
                "at its own net. Where further tiles are pressed, it is because some mistake shows only there."
            )
        chapters.close(title, why)


def lay_net(site: Site, wiring: Wiring, net: NetInfo) -> None:
    """One net: its strokes, its press test, the pixels that start dark, all back."""
    rounds = wiring.rounds[net.index]
    first = rounds[0].spots[0] if rounds else None
    last = lay_strokes(site, net, first)
    if first is not None:
        late = wiring.late.get(net.index, [])
        press_rounds(site, net, rounds, last, late, set(late) == set(net.sinks))


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
