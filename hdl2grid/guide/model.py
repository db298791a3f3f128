"""A guide as data: what the hands do, what the eyes must see, and what a page needs to show it.

guide.json holds `text`, `actions` and `expect` of each step and nothing else; the further fields of `Step` are
for the editions that people read.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from hdl2grid.plan.model import Device, Plan, Rect, Stroke

Tile = tuple[int, int]

MAX_THINGS = 9
"""Most strokes and devices in one step. Common practice, no source."""

MAX_KINDS = 4
"""Most kinds of thing in one step. Guessed."""

PICTURE = (24, 16)
"""Most tiles across and down in the picture of a step. Guessed."""


@dataclass(frozen=True)
class Fresh:
    """What devices are like when they have just been placed (a target file says it): whether a pixel is lit and a
    ticker runs, and the output that a gate remembers."""

    pixel_lit: bool = True
    ticker_running: bool = False
    gate: int = 0


USUAL = Fresh()


@dataclass(frozen=True)
class Action:
    """One thing that the hands do.

    place: device; remove: tile; wire, unwire: colour and stroke; backdrop: area; press, tick: tile and times. `hand`
    is the word for a press of something that is no button: flip, start, stop; for remove what is taken away, if it is a
    button. `name` is that of the machine's own button or switch that is pressed. Only people read these two.
    """

    do: str
    tile: Tile | None = None
    device: Device | None = None
    colour: str | None = None
    stroke: Stroke | None = None
    area: Rect | None = None
    times: int = 1
    hand: str = field(default="", compare=False)
    name: str = field(default="", compare=False)

    @property
    def is_thing(self) -> bool:
        """True for what is laid or taken up, which a step counts; a press is none."""
        return self.do not in ("press", "tick")


@dataclass(frozen=True)
class Expectation:
    """One thing that the eyes must see: a pixel (`value` 1: lit), a toggle's bit, or `text` on the panel."""

    see: str
    tile: Tile | None = None
    value: int = 0
    text: str = ""


@dataclass(frozen=True)
class Mistake:
    """A likely mistake at a check: what it is, what it looks like, and its cure."""

    what: str
    looks: str
    cure: str


@dataclass(frozen=True)
class KeepClear:
    """A tile of wire laid earlier that the step's wire of the same `colour` must not touch."""

    colour: str
    tile: Tile


@dataclass(frozen=True)
class Step:
    """One box to tick. `number` is "2.4" for the fourth step of the second section; the first
    `changes` of `expect` are what the step changes, all others stay as they were; `area` is what its picture
    shows (None: the whole plan); `like` names an earlier step of the same shape and how far it is moved."""

    text: str
    actions: tuple[Action, ...] = ()
    expect: tuple[Expectation, ...] = ()
    number: str = ""
    title: str = ""
    area: Rect | None = None
    keep_clear: tuple[KeepClear, ...] = ()
    mistakes: tuple[Mistake, ...] = ()
    net: int | None = None
    like: str = ""
    changes: int = 0


@dataclass(frozen=True)
class Section:
    """A chapter: a block of the machine, or a stage of the work."""

    title: str
    why: str
    steps: tuple[Step, ...]


@dataclass(frozen=True)
class Look:
    """One look at the running machine: after `ticks` ticks of ticker `source` alone, from the first state on, the panel
    reads `reading`, with `lit[i]` for the i-th pixel of the plan."""

    source: str
    ticks: int
    reading: str
    lit: tuple[int, ...]


@dataclass(frozen=True)
class FromTo:
    """A row of the from-to list: net `number` (from 1, in order of laying) with its `drivers` and `sinks` in
    words, its `colour`, its `length` in tiles, its strokes, and the steps that lay and test it."""

    number: int
    name: str
    colour: str
    length: int
    drivers: tuple[str, ...]
    sinks: tuple[str, ...]
    strokes: tuple[Stroke, ...]
    steps: tuple[str, ...]


@dataclass(frozen=True)
class Restore:
    """A row of the restore sheet: a stack, a pixel or a source as placed, and the nets on it, which are to be
    tested again after a repair."""

    what: str
    tiles: tuple[Tile, ...]
    state: str
    nets: tuple[int, ...]


@dataclass(frozen=True)
class Guide:
    """The whole guide. `plan_sha256` is of the bytes of plan.json; `fresh` says what a device is like when
    it is placed (guide.json does not: there it is lit, as in the grid model)."""

    plan_name: str
    plan_sha256: str
    sections: tuple[Section, ...]
    plan: Plan | None = None
    looks: tuple[Look, ...] = ()
    from_to: tuple[FromTo, ...] = ()
    restore: tuple[Restore, ...] = ()
    fresh: Fresh = USUAL

    def steps(self) -> Iterator[Step]:
        """All steps in order."""
        for section in self.sections:
            yield from section.steps
