"""When to look at the running machine: the fewest looks that show nearly all mistakes that the panel shows.

The course of the machine is played once right and once with each mistake; a look is a tick, and shows the mistakes
that make the panel read something else there. Fewest looks is a set cover: a greedy one (V. Chvatal, 1979), from
which looks that others make needless are then dropped. Long courses are looked at in stages, each ten times as
long as the one before and for the mistakes that are still left, so that a day in seconds takes as long as an hour.
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
from hdl2grid.sim.compiled import CompiledEngine

STAGES = ((1_000, 4), (10_000, 6), (100_000, 8))
"""Ticks of each stage, and most looks chosen by its end; the last is that in which the course comes round."""

MAX_LOOKS = STAGES[-1][1]
ENOUGH = 0.995
"""No more looks once this share of the mistakes that the panel shows is shown."""

MAX_WAVES = 1_000_000
"""Most waves that one stage plays: where there are too many mistakes for a long course, a part of them stands for
all."""

QUICKEST = 1.0
"""Seconds: the ticks of a quicker ticker cannot be counted by a person."""

MAX_CANDIDATES = 1_500
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


def choose_looks(bench: Bench) -> Looks | None:
    """Looks at the machine in its own course; None where no running ticker that a person can count changes what the
    panel shows."""
    plan = bench.survey.plan
    tickers = [d for d in plan.devices if d.kind == "ticker" and d.running]
    if not tickers or not bench.network.pixels or (tickers[0].period_s or 0) < QUICKEST:
        return None
    source = tickers[0].name or ""
    choice = _Choice(bench, bench.network.event(source))
    faults = all_faults(bench)
    for length, most in STAGES:
        faults, is_round = choice.stage(faults, length, most)
        if is_round or not faults:
            break
    if not choice.ticks:
        return None
    pixels = choice.course(bench.engine(), max(choice.ticks))
    reader = PanelReader(plan)
    rows = [(tick, pixels[tick - 1].tolist()) for tick in sorted(choice.ticks)]
    looks = tuple(Look(tick, reader.read(row), tuple(row)) for tick, row in rows)
    return Looks(looks, source, choice.num_visible, choice.num_shown)


class _Choice:
    """The ticks chosen so far, counted from 1, and the tally of mistakes."""

    def __init__(self, bench: Bench, driver: int) -> None:
        self.bench = bench
        self.driver = driver
        self.ticks: list[int] = []
        self.num_visible = self.num_shown = 0

    def course(self, engine: CompiledEngine, length: int) -> _Bits:
        """ticks x pixels: the panel after each of `length` ticks."""
        network = self.bench.network
        watch = list(range(network.first_pixel, network.first_probe))
        return engine.play(np.full(length, self.driver, dtype=np.int64), watch).watched

    def stage(self, faults: Sequence[Fault], length: int, most: int) -> tuple[list[Fault], bool]:
        """Chooses looks within `length` ticks: the mistakes that are still to be shown, and whether the course
        comes round in that time."""
        round_at = self._round(length)
        if round_at:
            length, most = round_at, MAX_LOOKS
        right = self.course(self.bench.engine(), length)
        if (right == right[0]).all():
            return [], True
        ticks = _candidates(right)
        sample = list(faults[:: max(1, -(-len(faults) * length // MAX_WAVES))])
        rows: list[_Bools] = []
        left: list[Fault] = []
        hidden: list[Fault] = []
        for fault in sample:
            differs = (self.course(self.bench.engine(fault), length) != right).any(axis=1)
            if any(differs[tick - 1] for tick in self.ticks):
                self.num_visible, self.num_shown = self.num_visible + 1, self.num_shown + 1
            elif differs.any():
                rows.append(differs[ticks - 1])
                left.append(fault)
            else:
                hidden.append(fault)
        table = np.array(rows, dtype=np.bool_).reshape(len(rows), len(ticks))
        picked = _cover(table, most - len(self.ticks))
        self.ticks += [int(ticks[i]) for i in picked]
        is_shown = np.asarray(table[:, picked].any(axis=1), dtype=np.bool_)
        self.num_shown += int(is_shown.sum())
        self.num_visible += int(is_shown.sum())
        still = [fault for fault, shown in zip(left, is_shown.tolist(), strict=True) if not shown]
        if round_at or length == STAGES[-1][0]:
            self.num_visible += len(still)
        return [*still, *hidden], bool(round_at)

    def _round(self, length: int) -> int | None:
        """After how many ticks the machine is where it was; None where it is not within `length`."""
        network = self.bench.network
        engine = self.bench.engine()
        state = engine.bits()[: network.first_probe]
        watched = engine.play(np.full(length, self.driver, dtype=np.int64), list(range(network.first_probe))).watched
        found = np.flatnonzero((watched == state).all(axis=1))
        return int(found[0]) + 1 if len(found) else None


def _candidates(right: _Bits) -> npt.NDArray[np.int64]:
    """The ticks that may be looked at: all of a short course; of a long one those where most of the panel changes
    and the one before, and others evenly between."""
    length = len(right)
    if length <= MAX_CANDIDATES:
        return np.arange(1, length + 1)
    changes = (right[1:] != right[:-1]).sum(axis=1)
    busy = np.argsort(-changes, kind="stable")[: MAX_CANDIDATES // 3] + 2
    even = np.linspace(1, length, MAX_CANDIDATES // 3).astype(np.int64)
    return np.unique(np.concatenate([busy, busy - 1, even]))


def _cover(table: _Bools, most: int) -> list[int]:
    """A few columns that together have a True in nearly every row: greedy, without those that the others
    make needless."""
    picked: list[int] = []
    covered = np.zeros(len(table), dtype=np.bool_)
    while len(picked) < most and covered.sum() < ENOUGH * len(table):
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
