"""Lay a netlist out: a first legal layout, beginnings on smaller grids, polish; in several processes if wished."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.layout.arrays import Board
from hdl2grid.layout.beginning import LayoutParams
from hdl2grid.layout.crew import Crew, Stop, Task
from hdl2grid.layout.effort import budget
from hdl2grid.netlist import Netlist
from hdl2grid.progress import Progress, silent
from hdl2grid.trouble import Trouble

__all__ = ["Layout", "LayoutFailed", "LayoutParams", "LayoutStats", "lay_out"]


@dataclass(frozen=True)
class LayoutStats:
    """What the search spent: beginnings, placements made, iterations (rounds of routing and tries of repair), cuts,
    sizes on which none was legal; whether it was stopped; and the wire of the result in tiles."""

    num_beginnings: int
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
    troubles: tuple[Trouble, ...] = ()


class LayoutFailed(Exception):
    """No layout within the limits. `troubles` are the sizes that were tried and what was in the way; `placements` how
    many there were; `least` the size of the smallest layout found beyond the limits, where there are limits."""

    def __init__(self, troubles: tuple[Trouble, ...], placements: int, least: tuple[int, int] | None) -> None:
        super().__init__("no layout was found")
        self.troubles, self.placements, self.least = troubles, placements, least


def lay_out(
    netlist: Netlist, params: LayoutParams, progress: Progress = silent, stop: Stop | None = None, jobs: int = 1
) -> Layout:
    """A legal layout of the netlist; `jobs` processes search for it, and their number does not change it.

    After `stop.set()` the best legal layout so far is handed out. Raises LayoutFailed where none was found within
    the limits, and KeyboardInterrupt where it was stopped before there was one.
    """
    effort = budget(params.effort, params.style)
    stop = stop or Stop()
    with Crew(netlist, params, min(jobs, max(1, effort.batch)), stop, progress) as crew:
        found = crew.run([Task(0)])
        best = found[0]
        if best.board is None:
            if stop.is_set:
                raise KeyboardInterrupt("no legal plan was found yet")
            least = best.least or (crew.without_limits() if params.is_limited else None)
            raise LayoutFailed(best.troubles, best.placements, least)
        if netlist.signals:
            for turn in range(effort.rounds):
                first = 1 + turn * effort.batch
                found += crew.run([Task(first + i, best.board) for i in range(effort.batch)])
                best = min(found, key=lambda one: one.cost)
        assert best.board is not None
        found += crew.run([Task(-1, board=best.board)])
    board = found[-1].board
    assert board is not None
    stats = LayoutStats(
        num_beginnings=sum(one.placements > 0 for one in found),
        num_placements=sum(one.placements for one in found),
        num_iterations=sum(one.iterations for one in found),
        num_cuts=sum(one.cuts for one in found),
        num_failed_sizes=sum(len(one.troubles) for one in found),
        is_stopped=stop.is_set,
        wire_tiles=int(board.length.sum()),
        crossovers=int((board.crossings > 0).sum()),
    )
    return Layout(board, stats, found[0].troubles)
