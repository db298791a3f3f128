"""Lay a netlist out: a first legal layout, restarts on other grids, polish; in several processes if wished."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.failure_report import FailureReport
from hdl2grid.base.progress import Progress, silent
from hdl2grid.layout.arrays import Board
from hdl2grid.layout.crew import Crew, Stop
from hdl2grid.layout.effort import Effort, LayoutParams
from hdl2grid.layout.regime import Regime, regime_of
from hdl2grid.layout.restart import Found
from hdl2grid.layout.tasks import BEGIN, BEGIN_FROM, CUT_DOWN, FINISH, Task
from hdl2grid.nets.model import Netlist

PARENTS = 2
"""Lines of descent that each round goes on with, if there are so many: the best ones. Guessed."""


@dataclass(frozen=True)
class LayoutStats:
    """What the search spent: restarts, placements made, iterations (rounds of routing and tries of repair), cuts,
    sizes on which none was legal; whether it was stopped; and the wire of the result in tiles."""

    num_restarts: int
    num_placements: int
    num_iterations: int
    num_cuts: int
    num_failed_sizes: int
    is_stopped: bool
    wire_tiles: int
    crossovers: int


@dataclass(frozen=True)
class Layout:
    """A legal board, the statistics of how it came about, and the sizes that failed before."""

    board: Board
    stats: LayoutStats
    failures: tuple[FailureReport, ...] = ()


class LayoutFailed(Exception):
    """No layout within the limits. `failures` are the sizes that were tried and what was in the way; `placements` how
    many there were; `least` the size of the smallest layout found beyond the limits, where there are limits."""

    def __init__(self, failures: tuple[FailureReport, ...], placements: int, least: tuple[int, int] | None) -> None:
        super().__init__("no layout was found")
        self.failures, self.placements, self.least = failures, placements, least


def lay_out(
    netlist: Netlist,
    params: LayoutParams,
    progress: Progress = silent,
    stop: Stop | None = None,
    jobs: int = 1,
    regime: Regime | None = None,
) -> Layout:
    """A legal layout of the netlist, in the `regime` of its size unless told otherwise; `jobs` processes search for it,
    and their number does not change it.

    After `stop.set()` the best legal layout so far is handed out. Raises LayoutFailed where none was found within
    the limits, and KeyboardInterrupt where it was stopped before there was one.
    """
    regime = regime or regime_of(netlist, params.style)
    effort = regime.efforts[params.effort]
    stop = stop or Stop()
    jobs = min(jobs, max(1, effort.batch, effort.sketches))
    with Crew(netlist, params, regime, jobs, stop, progress) as crew:
        found, lines = _first(crew, effort)
        if not lines:
            if stop.is_set:
                raise KeyboardInterrupt("no legal plan was found yet")
            least = found[0].least or (crew.without_limits() if params.is_limited else None)
            raise LayoutFailed(found[0].failures, found[0].placements, least)
        if netlist.signals:
            found += _descend(crew, effort, lines)
        best = min(lines, key=lambda one: one.cost)
        found += crew.run([Task(FINISH, -1, best.board)])
    board = found[-1].board
    assert board is not None
    stats = LayoutStats(
        num_restarts=sum(one.placements > 0 for one in found),
        num_placements=sum(one.placements for one in found),
        num_iterations=sum(one.iterations for one in found),
        num_cuts=sum(one.cuts for one in found),
        num_failed_sizes=sum(len(one.failures) for one in found),
        is_stopped=stop.is_set,
        wire_tiles=int(board.length.sum()),
        crossovers=int((board.crossings > 0).sum()),
    )
    return Layout(board, stats, found[0].failures)


def _first(crew: Crew, effort: Effort) -> tuple[list[Found], list[Found]]:
    """The first layouts: all that was found, and the legal ones with which the search goes on, none or more."""
    sketches = crew.sketch(effort.sketches)
    legal = sorted((one for one in sketches if one.board is not None), key=lambda one: one.cost)
    if not legal:
        found = crew.run([Task(BEGIN, 0)])
        return found + sketches, [one for one in found if one.board is not None]
    tasks = [Task(CUT_DOWN, -2 - i, one.board) for i, one in enumerate(legal[: effort.lines_of_descent])]
    lines = crew.run(tasks)
    return legal + [one for one in sketches if one.board is None] + lines, lines


def _descend(crew: Crew, effort: Effort, lines: list[Found]) -> list[Found]:
    """Rounds of restarts from the best layouts, each of which takes the place of its model in `lines` if it is
    better; all that was found."""
    found: list[Found] = []
    for turn in range(effort.rounds):
        first = 1 + turn * effort.batch
        lines.sort(key=lambda one: one.cost)
        models = [i * PARENTS // effort.batch % len(lines) for i in range(effort.batch)]
        fresh = crew.run([Task(BEGIN_FROM, first + i, lines[k].board) for i, k in enumerate(models)])
        for k, one in zip(models, fresh, strict=True):
            lines[k] = min(lines[k], one, key=lambda either: either.cost)
        found += fresh
    return found
