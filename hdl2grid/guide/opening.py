"""The first chapters: marks, panel, stacks, sources, crossovers. Everything here lies before the first wire."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from itertools import groupby

from hdl2grid.guide.building_site import Site, shares
from hdl2grid.guide.model import Action, Mistake, Section, Step, Tile
from hdl2grid.guide.sentences import at
from hdl2grid.guide.survey import block_of
from hdl2grid.plan.cover import fewest_strokes
from hdl2grid.plan.extract import PlacedStack
from hdl2grid.plan.model import Device
from hdl2grid.sim.named_words import words as grouped_words


class Chapters:
    """Collects steps into sections: whatever was added to the site since the last section was closed."""

    def __init__(self, site: Site) -> None:
        self.site = site
        self.sections: list[Section] = []
        self._first = 0

    def close(self, title: str, why: str) -> None:
        """Ends a section; one without steps is left out."""
        steps = tuple(self.site.steps[self._first :])
        self._first = len(self.site.steps)
        self.site.next_section()
        if steps:
            self.sections.append(Section(title, why, steps))


def lay_ground(site: Site, chapters: Chapters) -> None:
    """Corner marks, rulers and backdrop."""
    plan, say = site.plan, site.words.say
    corners = [(0, 0), (plan.width - 1, 0), (0, plan.height - 1), (plan.width - 1, plan.height - 1)]
    site.step(
        say("Corner marks and rulers"),
        "Mark the four corner tiles {corners} of a free field of {width} x {height} tiles, and every fifth tile on "
        "its upper and left edge with its number: x counts to the right and y downward, both from 0.",
        [],
        corners=site.words.tiles(dict.fromkeys(corners)),
        width=plan.width,
        height=plan.height,
    )
    for area in plan.backdrop:
        x0, y0, x1, y1 = area
        site.step(
            say("Backdrop"),
            "Lay the backdrop from {start} to {end}. It is for the eye only; leave it out if you like.",
            [Action("backdrop", area=area)],
            start=at((x0, y0)),
            end=at((x1, y1)),
        )
    chapters.close(
        say("Before you begin"),
        say(
            "Everything is told by tiles: ({x},{y}) is column {x}, row {y}. Two wires of one colour that lie side by "
            "side are joined, so a wire that is one tile off spoils two nets; the marks are worth their time.",
            x="x",
            y="y",
        ),
    )


def darken_early(site: Site, chapters: Chapters, dark: Sequence[int]) -> None:
    """Commissions pixels that no net test can turn dark: on the empty field all of them are joined by temporary
    wire, and one press of one temporary button turns them dark."""
    if not dark:
        return
    say = site.words.say
    colour = site.plan.colours[0]
    tiles = [site.survey.tile(i) for i in dark]
    joined = _tree(tiles)
    ends = [t for t in joined if t not in tiles]
    button = ends[0] if ends else _beside(site, joined)
    joined |= {button: None}
    strokes = fewest_strokes(joined)
    placing = [[site.place(site.survey.device(i))] for i in dark]
    for part in shares(placing):
        site.step(
            say("Pixels that start {other}"),
            "Put these pixels down: {tiles}. A pixel is {fresh} when it is placed.",
            part,
            see=_places(part),
            tiles=site.words.tiles(_places(part)),
        )
    wiring = [Action("wire", colour=colour, stroke=stroke) for stroke in strokes]
    for part in shares([wiring]):
        site.step(
            say("Temporary wire"),
            "Lay temporary wire in {colour}: {strokes}.",
            part,
            colour=colour,
            strokes=_stroke_list(site, part),
        )
    site.step(
        say("Turn them {other}"),
        "Put a temporary button on {tile} and press it once. Now {seen}.",
        [site.temporary(button), Action("press", tile=button)],
        see=tiles,
        mistakes=[
            Mistake(
                say("the temporary wire has a gap"),
                say("some of these pixels stay {fresh}"),
                say("press again so that all are {fresh}, close the gap, press once"),
            )
        ],
        tile=at(button),
    )
    clearing = [site.take_away(button)] + [Action("unwire", colour=colour, stroke=stroke) for stroke in strokes]
    for part in shares([clearing]):
        site.step(say("Clear up"), "Take the button and the temporary wire away again. Now {seen}.", part, see=tiles)
    chapters.close(
        say("Pixels that start {other}"),
        say(
            "A pixel is {fresh} when it is placed, and only a pulse turns it {other}. These are turned at once, while "
            "nothing else is on the field."
        ),
    )


def _tree(tiles: Sequence[Tile]) -> dict[Tile, bool | None]:
    """Tiles joined by wire of one colour: rows first, then one column between the rows."""
    joined: dict[Tile, bool | None] = {}
    spine = min(x for x, _ in tiles)
    rows = sorted({y for _, y in tiles})
    for y in rows:
        for x in range(spine, max(x for x, row in tiles if row == y) + 1):
            joined[x, y] = None
    for y in range(rows[0], rows[-1] + 1):
        joined[spine, y] = None
    return joined


def _beside(site: Site, joined: dict[Tile, bool | None]) -> Tile:
    plan = site.plan
    for x, y in sorted(joined):
        for tile in ((x + 1, y), (x - 1, y), (x, y + 1), (x, y - 1)):
            if tile not in joined and 0 <= tile[0] < plan.width and 0 <= tile[1] < plan.height:
                return tile
    raise AssertionError("every tile of the plan is a dark pixel without wire")


def _places(actions: Iterable[Action]) -> list[Tile]:
    return [(a.device.x, a.device.y) for a in actions if a.device is not None]


def _stroke_list(site: Site, actions: Iterable[Action]) -> str:
    return "; ".join(site.words.stroke(a.colour or "", a.stroke) for a in actions if a.stroke is not None)


def place_pixels(site: Site, chapters: Chapters, later: set[int]) -> None:
    """The panel, word by word. Pixels of `later` are placed when their net is tested."""
    say = site.words.say
    pixels = [i for i in site.survey.of_kind("pixel") if site.survey.tile(i) not in site.world.things]
    by_signal: dict[str, list[int]] = {}
    for index in pixels:
        by_signal.setdefault(site.survey.device(index).signal or "", []).append(index)
    for word, names in grouped_words(by_signal).items():
        groups = [
            [site.place(site.survey.device(i)) for i in _in_rows(site, by_signal[name]) if i not in later]
            for name in names
        ]
        for part in shares([group for group in groups if group]):
            tiles = _places(part)
            template = "Put pixels of {word} on {tiles}. Each is {fresh} as soon as it stands."
            looks = say("the row or stroke of pixels is not straight")
            if len(tiles) == 1:
                template = "Put a pixel of {word} on {tiles}. It is {fresh} as soon as it stands."
                looks = say("the rulers give another tile than the list")
            site.step(
                say("Panel: {word}", word=word),
                template,
                part,
                see=tiles,
                mistakes=[
                    Mistake(
                        say("a pixel stands one tile off"),
                        looks,
                        say("take it away and put it where the list says"),
                    )
                ],
                word=word,
                tiles=site.words.tiles(tiles),
            )
    why = say("The panel comes first: it is what you read off the machine, and what the tests are seen on.")
    if len(later) == 1:
        why += " " + say(
            "One pixel is missing yet. It starts {other}, and a pixel is {fresh} when it is placed: it is put down "
            "when its net is tested, at a moment when it should be {fresh}."
        )
    elif later:
        why += " " + say(
            "{number} pixels are missing yet. They start {other}, and a pixel is {fresh} when it is placed: each is "
            "put down when its net is tested, at a moment when it should be {fresh}.",
            number=len(later),
        )
    chapters.close(say("Panel"), why)


def _in_rows(site: Site, devices: Iterable[int]) -> list[int]:
    return sorted(devices, key=lambda i: site.survey.tile(i)[::-1])


def place_stacks(site: Site, chapters: Chapters) -> None:
    """Stacks, block by block: gate, toggles upward, strobe."""
    survey, say = site.survey, site.words.say
    stacks = sorted(survey.extraction.stacks, key=lambda s: _stack_key(site, s))
    first = 0
    for block, members in groupby(stacks, key=lambda s: block_of(survey.device(s.gate).name or "")):
        groups = [[site.place(d) for d in _stack_devices(site, stack)] for stack in members]
        for part in shares(groups):
            _stack_step(site, part)
        why = say("From the gate upward, as told at the beginning of chapter {number}.", number=first)
        if not first:
            first = site.section
            why = say(
                "A stack grows upward: the gate, then its toggles, each as 0 or as 1, then the strobe if it has one. "
                "Nothing is wired yet, so nothing answers."
            )
        chapters.close(say("Stacks: {block}", block=survey.titles[block]), why)


def _stack_key(site: Site, stack: PlacedStack) -> tuple[str, int, int]:
    gate = site.survey.device(stack.gate)
    return block_of(gate.name or ""), gate.y, gate.x


def _stack_devices(site: Site, stack: PlacedStack) -> Iterator[Device]:
    for index in (stack.gate, *stack.toggles):
        yield site.survey.device(index)
    if stack.strobe is not None:
        yield site.survey.device(stack.strobe)


def _stack_step(site: Site, part: Sequence[Action]) -> Step:
    say = site.words.say
    devices = [a.device for a in part if a.device is not None]
    lines = [say("{what} on {tile}", what=site.words.device(d), tile=at((d.x, d.y))) for d in devices]
    names = [d.name or "" for d in devices if d.kind == "gate"]
    return site.step(
        site.words.listed(names) or say("Rest of the stack"),
        "Build from below: {devices}. You must see: {seen}.",
        part,
        see=_places(part),
        mistakes=[
            Mistake(
                say("a toggle is placed in its other form"),
                say("it shows the other bit than listed"),
                say("replace it now, before any wire is on the stack"),
            ),
            Mistake(
                say("a gate of another function"),
                say("the machine answers wrongly later, in the functional check"),
                say(
                    "compare each gate with the list: {gates}",
                    gates=", ".join(f"{d.function} {at((d.x, d.y))}" for d in devices if d.kind == "gate") or "-",
                ),
            ),
        ],
        devices=", ".join(lines),
    )


def place_sources(site: Site, chapters: Chapters) -> None:
    """Buttons, switches and delays. Tickers come last of all."""
    say = site.words.say
    groups = [[site.place(site.survey.device(i))] for i in site.survey.of_kind("button", "switch", "delay")]
    for part in shares(groups):
        site.step(
            say("Buttons and switches"),
            "Put down {devices}.",
            part,
            devices=site.words.listed(
                [
                    say("{what} on {tile}", what=site.words.device(a.device), tile=at((a.device.x, a.device.y)))
                    for a in part
                    if a.device is not None
                ]
            ),
        )
    chapters.close(say("Buttons and switches"), say("What you work the machine with. The tickers come last of all."))


def place_crossovers(site: Site, chapters: Chapters) -> None:
    """Crossovers, before any wire passes them."""
    say = site.words.say
    for part in shares([[site.place(site.survey.device(i))] for i in site.survey.of_kind("crossover")]):
        template = "Put crossovers on {tiles}."
        if len(part) == 1:
            template = "Put a crossover on {tiles}."
        site.step(
            say("Crossovers"),
            template,
            part,
            tiles=site.words.tiles(_places(part)),
            mistakes=[
                Mistake(
                    say("a crossover is forgotten or one tile off"),
                    say("two nets of one colour answer together in the press test of the later one"),
                    say("put it where the list says; lay the wire over it again"),
                )
            ],
        )
    chapters.close(
        say("Crossovers"),
        say("On a crossover wire passes straight on, and the two ways do not touch. They must lie before the wires."),
    )
