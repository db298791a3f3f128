"""Lay a netlist out: a first legal layout, beginnings on smaller grids, polish; in several processes if wished."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.errors import DesignFailed
from hdl2grid.layout.arrays import Board
from hdl2grid.layout.beginning import Found, LayoutParams
from hdl2grid.layout.crew import Crew, Stop, Task
from hdl2grid.layout.effort import EFFORTS
from hdl2grid.layout.trouble import Trouble
from hdl2grid.netlist import Netlist
from hdl2grid.progress import Progress, silent

__all__ = ["Layout", "LayoutFailed", "LayoutParams", "LayoutStats", "lay_out"]

UNLIMITED = 1_000_000
"""Limits whose product is above this many tiles are none, as far as messages go."""


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


class LayoutFailed(DesignFailed):
    """No layout within the limits: P001, with the sizes that were tried and what was in the way."""

    def __init__(self, what: str, hint: str, troubles: tuple[Trouble, ...]) -> None:
        super().__init__("P001", what, hint=hint)
        self.troubles = troubles


def lay_out(
    netlist: Netlist, params: LayoutParams, progress: Progress = silent, stop: Stop | None = None, jobs: int = 1
) -> Layout:
    """A legal layout of the netlist; `jobs` processes search for it, and their number does not change it.

    After `stop.set()` the best legal layout so far is handed out. Raises LayoutFailed (P001) where none was found
    within the limits, and KeyboardInterrupt where it was stopped before there was one.
    """
    effort = EFFORTS[params.effort]
    stop = stop or Stop()
    with Crew(netlist, params, min(jobs, max(1, effort.batch)), stop, progress) as crew:
        found = crew.run([Task(0, 0)])
        best = found[0]
        if best.board is None:
            if stop.is_set:
                raise KeyboardInterrupt("no legal plan was found yet")
            raise _failure(netlist, params, found[0], crew)
        if netlist.signals:
            for turn in range(effort.rounds):
                first = 1 + turn * effort.batch
                found += crew.run([Task(first + i, best.area) for i in range(effort.batch)])
                best = min(found, key=lambda one: one.area)
        assert best.board is not None
        found += crew.run([Task(-1, 0, best.board)])
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


def _failure(netlist: Netlist, params: LayoutParams, found: Found, crew: Crew) -> LayoutFailed:
    """What to tell where no size will do, with the least grid that would."""
    limits = f"{params.max_width} x {params.max_height} tiles"
    tried = [t for t in found.troubles if t.conflicts is not None]
    if tried:
        best = min(tried, key=lambda t: t.conflicts or 0)
        why = f"the best try had {best.conflicts} conflicts, on {best.width} x {best.height} tiles"
    else:
        why = "its cells with their gaps do not find places"
    hint = "Try --effort long or another --seed."
    if params.max_width * params.max_height < UNLIMITED:
        hint = "Allow a larger grid with --width and --height, or try --effort long or another --seed."
        least = crew.without_limits()
        if least is not None:
            width, height = least
            hint = f"Without limits it was laid out on {width} x {height} = {width * height:,} tiles. {hint}"
    what = f"no layout was found within {limits} in {found.placements} placements: {why}"
    return LayoutFailed(what, hint, found.troubles)
