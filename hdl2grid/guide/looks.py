"""When to look at the running machine: the fewest looks that show nearly all mistakes that the panel shows.

The machine is played once right and once with each mistake. A look is a tick; it shows the mistakes that make the
panel read something else there. The fewest looks are a set cover. It is chosen greedily (V. Chvatal, A greedy heuristic
for the set-covering problem, Mathematics of Operations Research 4, 1979); looks that others make needless are dropped.

A course of more than a thousand ticks is played whole only at its beginning. Its rest is played in windows after its
rarest transitions, such as the carries of a clock. Each window starts in the right machine's state, for a machine with
a mistake that nothing has shown so far is in that state too.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from hdl2grid.guide.bench import Bench, Fault
from hdl2grid.guide.faults import all_faults
from hdl2grid.guide.model import Look
from hdl2grid.guide.panel_reading import PanelReader
from hdl2grid.guide.sentences import Words
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.engine import pack

SHORT = 1_000
"""A course of so many ticks is played whole. Guessed."""

FIRST_TICKS, FIRST_LOOKS = 400, 4
"""Ticks at the beginning of a longer course that are played, and most looks in them. Guessed."""

MAX_LOOKS, MAX_LONG_LOOKS = 8, 12
"""Most looks in a short course and in a long one, if they show NEARLY all mistakes. Guessed."""

MAX_TICKS = 100_000
"""Ticks after which the course is no longer followed. Guessed: the 86,400 seconds of a day fit."""

WINDOWS, WINDOW = 64, 12
"""Most windows in the rest of a long course, and their ticks. Guessed."""

MOST_LOOKS = 24
"""Most looks where so few show too little: on a dial each position of a hand must be looked at. Guessed."""

NEARLY = 0.99
"""Looks beyond MAX_LOOKS are added until this share of the mistakes is shown. Guessed."""

ENOUGH = 0.9995
"""No more looks once this share of the mistakes that the panel shows is shown. Guessed."""

QUICKEST = 1.0
"""Shortest period in seconds whose ticks a person can count. Guessed."""

_Bools = npt.NDArray[np.bool_]
_Bits = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Looks:
    """The chosen looks, the ticker that they count, and how many of how many mistakes seen on the panel they
    show."""

    looks: tuple[Look, ...]
    source: str
    num_visible: int
    num_shown: int


def choose_looks(bench: Bench, words: Words | None = None) -> tuple[Looks, ...]:
    """Chooses looks for each running ticker that a person can count and that changes what the panel shows.

    `words` is the language of the readings (left out: English). Where there are several tickers, each is looked at
    alone, from the first state on, and not for long.
    """
    plan = bench.survey.plan
    tickers = [d for d in plan.devices if d.kind == "ticker" and d.running]
    if not bench.network.pixels:
        return ()
    counted = [d.name or "" for d in tickers if (d.period_s or 0) >= QUICKEST]
    found = (_looks_at(bench, source, words, len(tickers) == 1) for source in counted)
    return tuple(looks for looks in found if looks is not None)


def _looks_at(bench: Bench, source: str, words: Words | None, is_long: bool) -> Looks | None:
    choice = _Choice(bench, bench.network.event(source))
    faults = choice.beginning(all_faults(bench))
    if faults and is_long:
        choice.rest(faults)
    if not choice.ticks:
        return None
    pixels = choice.course(bench.engine(), max(choice.ticks))
    reader = PanelReader(bench.survey.plan, words)
    rows = [(tick, pixels[tick - 1].tolist()) for tick in sorted(choice.ticks)]
    looks = tuple(Look(source, tick, reader.read(row), tuple(row)) for tick, row in rows)
    return Looks(looks, source, len(choice.visible), choice.num_shown)


class _Choice:
    """The ticks chosen so far, counted from 1, and the tally of mistakes."""

    def __init__(self, bench: Bench, driver: int) -> None:
        self.bench = bench
        self.driver = driver
        self.ticks: list[int] = []
        self.visible: set[str] = set()
        """The mistakes, by their words, that the panel has shown anywhere."""
        self.num_shown = 0

    def course(self, engine: CompiledEngine, length: int) -> _Bits:
        """ticks x pixels: the panel after each of `length` ticks."""
        network = self.bench.network
        watch = list(range(network.first_pixel, network.first_probe))
        return engine.play(np.full(length, self.driver, dtype=np.int64), watch).watched

    def beginning(self, faults: Sequence[Fault]) -> list[Fault]:
        """Chooses looks in the first ticks. Returns the mistakes that are still to be shown; none if the machine is
        back in its first state in that time, for then nothing new follows."""
        round_at = self._round(SHORT)
        length = round_at or FIRST_TICKS
        right = self.course(self.bench.engine(), length)
        if (right == right[0]).all():
            return []
        rows = [(self.course(self.bench.engine(f), length) != right).any(axis=1) for f in faults]
        most, limit = (MAX_LOOKS, MOST_LOOKS) if round_at else (FIRST_LOOKS, FIRST_LOOKS)
        left = self._choose(faults, rows, np.arange(1, length + 1), most, limit)
        return [] if round_at else left

    def rest(self, faults: Sequence[Fault]) -> None:
        """Chooses looks in windows of the rest of the course."""
        network = self.bench.network
        pixels = slice(network.first_pixel, network.first_probe)
        everything = self._everything()
        starts = _rare(everything)
        ticks = (starts[:, None] + np.arange(1, WINDOW + 1)[None, :]).ravel()
        right = everything[:, pixels][ticks]
        states = [pack(everything[start], None) for start in starts]
        rows = []
        for fault in faults:
            engine = self.bench.engine(fault)
            shown = []
            for state in states:
                engine.restore(state)
                shown.append(self.course(engine, WINDOW))
            rows.append((np.concatenate(shown) != right).any(axis=1))
        self._choose(faults, rows, ticks, MAX_LONG_LOOKS - len(self.ticks), MOST_LOOKS - len(self.ticks))

    def _choose(
        self, faults: Sequence[Fault], rows: Sequence[_Bools], ticks: npt.NDArray[np.int64], most: int, limit: int
    ) -> list[Fault]:
        """Adds looks from a table of faults x ticks, and counts; the faults that they do not show."""
        table = np.array(rows, dtype=np.bool_).reshape(len(rows), len(ticks))
        seen = table[table.any(axis=1)]
        picked = _cover(seen, most, limit)
        self.ticks += [int(ticks[i]) for i in picked]
        is_shown = np.asarray(table[:, picked].any(axis=1), dtype=np.bool_)
        self.visible.update(fault.what for fault, row in zip(faults, table, strict=True) if row.any())
        self.num_shown += int(is_shown.sum())
        return [fault for fault, shown in zip(faults, is_shown.tolist(), strict=True) if not shown]

    def _round(self, length: int) -> int | None:
        """After how many ticks the machine is where it was; None where it is not within `length`."""
        network = self.bench.network
        engine = self.bench.engine()
        state = engine.bits()[: network.first_probe]
        watched = engine.play(np.full(length, self.driver, dtype=np.int64), list(range(network.first_probe))).watched
        found = np.flatnonzero((watched == state).all(axis=1))
        return int(found[0]) + 1 if len(found) else None

    def _everything(self) -> _Bits:
        """(ticks + 1) x elements: the right machine's bits from the first state on, once round or MAX_TICKS."""
        watch = list(range(self.bench.network.first_strobe))
        engine = self.bench.engine()
        first = engine.bits()[None, :]
        watched = engine.play(np.full(MAX_TICKS, self.driver, dtype=np.int64), watch).watched
        width = self.bench.network.first_probe
        found = np.flatnonzero((watched[:, :width] == first[:, :width]).all(axis=1))
        return np.concatenate([first, watched[: int(found[0]) + 1 if len(found) else None]])


def _rare(course: _Bits) -> npt.NDArray[np.int64]:
    """The ticks before the rarest transitions that leave room for a window, ascending."""
    changes = np.packbits(course[1:-WINDOW] ^ course[: -WINDOW - 1], axis=1)
    _, first, counts = np.unique(changes, axis=0, return_index=True, return_counts=True)
    order = np.lexsort((first, counts))[:WINDOWS]
    return np.sort(first[order])


def _cover(table: _Bools, most: int, limit: int) -> list[int]:
    """A few columns that together have a True in nearly every row, more than `most` (up to `limit`) only where those
    leave too many rows: greedy, without those that the others make needless."""
    picked: list[int] = []
    covered = np.zeros(len(table), dtype=np.bool_)
    while len(picked) < limit and covered.sum() < (ENOUGH if len(picked) < most else NEARLY) * len(table):
        gains = table[~covered].sum(axis=0)
        best = int(np.argmax(gains))
        if gains[best] == 0:
            break
        picked.append(best)
        covered |= table[:, best]
    for column in list(picked):
        others = [c for c in picked if c != column]
        if others and (table[:, others].any(axis=1) == covered).all():
            picked = others
    return picked
