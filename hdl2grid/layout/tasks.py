"""What one restart may be told to do, by whichever worker: begin, begin from a layout, cut one down, finish it."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.layout.arrays import Board, Ints
from hdl2grid.layout.cost import are_alike
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.regime import Regime
from hdl2grid.layout.restart import Found, Restart
from hdl2grid.layout.shrink import cut_down, polish
from hdl2grid.layout.sizes import another_than, first_legal
from hdl2grid.nets.model import Netlist

BEGIN, BEGIN_FROM, CUT_DOWN, FINISH = "begin", "begin from", "cut down", "finish"
"""On grids that grow until a layout is legal, which is then cut down; from a legal layout, stirred, or, where tidy,
placed anew, and cut down; take rows and columns out of a legal board; polish one."""


@dataclass(frozen=True)
class Task:
    """One of the works above, those but BEGIN with a legal `board`; `number` is its stream of random numbers."""

    work: str
    number: int
    board: Board | None = None


def do(netlist: Netlist, params: LayoutParams, regime: Regime, task: Task, watch: Ints | None = None) -> Found:
    """Does one task. The same arguments give the same result, unless WATCH_STOP of `watch` is set meanwhile."""
    search, board = Restart(netlist, params, regime, task.number, watch), task.board
    if board is None:
        return search.found(cut_down(search, first_legal(search)))
    if task.work == BEGIN_FROM:
        return search.found(cut_down(search, another_than(search, board)))
    if task.work == CUT_DOWN:
        return search.found(cut_down(search, board))
    if search.blocks and not are_alike(search.shape, board):
        search.forget_matched_blocks()
    return search.found(polish(search, board) if netlist.signals else board)
