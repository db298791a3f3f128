"""Make a legal layout smaller and cheaper: stir it, take rows and columns out, polish."""

from __future__ import annotations

import numpy as np

from hdl2grid.layout.arrays import Board, Scratch, copy_board
from hdl2grid.layout.attempt import mend, reroute
from hdl2grid.layout.grid_lines import pick_line, without_line
from hdl2grid.layout.line_sieve import smaller
from hdl2grid.layout.repair import RepairParams, better
from hdl2grid.layout.restart import TIGHTEST, Restart
from hdl2grid.layout.routing import RouteParams

LEAST_CUTS = 120
"""Lines tried, at least, for bringing a layout within the limits of the grid. Guessed."""
LEAST_STALL = 20
"""Failures in a row, at least, after which that ends. Guessed."""
POLISH_HEAT = 8.0
"""Temperature at which polish begins, in prices of the style: fewer crossovers are found by way of worse layouts.
Guessed."""
ONE_CONFLICT = 1000.0
"""Price of a conflict where none is allowed, in tiles of wire: more than any move saves."""


def cut_down(search: Restart, board: Board | None) -> Board | None:
    """Take out rows and columns of a legal board, if there is one and it has wires."""
    if board is None or not search.netlist.signals:
        return board
    search.tell(board, legal=True)
    return _sift(search, board) if search.effort.sieve and search.regime.line_sieve else _shrink(search, board)


def _sift(search: Restart, board: Board) -> Board:
    """Take out rows and columns until the sieve finds none that can go."""
    for _ in range(search.effort.cuts):
        less = smaller(_Sifter(search, board), board, search.effort.sieve)
        if less is None:
            break
        board = less
        search.tell(board, legal=True)
    return board


class _Sifter:
    """What the sieve asks of a restart (`line_sieve.Cutter`), on a grid no larger than that of a board."""

    def __init__(self, search: Restart, board: Board) -> None:
        self.search, self.scratch = search, search.scratch_for(board)

    @property
    def is_stopped(self) -> bool:
        return self.search.is_stopped

    def pick(self, board: Board) -> tuple[int, int]:
        return pick_line(self.search.shape, board, self.search.rng)

    def without(self, board: Board, line: tuple[int, int], tries: int) -> tuple[int, Board] | None:
        return _cut(self.search, board, self.scratch, line, tries)

    def go_on(self, board: Board, tries: int) -> int:
        return mend(self.search, board, self.scratch, TIGHTEST, tries)

    def is_better(self, board: Board, than: Board) -> bool:
        return self.search.cost(board) < self.search.cost(than)


def _shrink(search: Restart, board: Board) -> Board:
    """Take out rows and columns as long as the rest can be made legal again and costs less."""
    scratch = search.scratch_for(board)
    failed = 0
    for _ in range(search.effort.cuts):
        if failed >= search.effort.stall or search.is_stopped:
            break
        line = pick_line(search.shape, board, search.rng)
        less = _cut(search, board, scratch, line, search.effort.cut_tries)
        failed += 1
        if less is not None and less[0] == 0 and search.cost(less[1]) < search.cost(board):
            board, failed = less[1], 0
            search.tell(board, legal=True)
    return board


def cut_until(search: Restart, board: Board, limits: tuple[int, int]) -> Board:
    """Take out rows and columns until the grid is within the limits, or until that fails too often."""
    scratch = search.scratch_for(board)
    failed = 0
    for _ in range(max(search.effort.cuts, LEAST_CUTS)):
        over = [axis for axis in (0, 1) if board.size[axis] > limits[axis]]
        if not over or failed >= max(search.effort.stall, LEAST_STALL) or search.is_stopped:
            break
        line = pick_line(search.shape, board, search.rng)
        while line[0] not in over:
            line = pick_line(search.shape, board, search.rng)
        less = _cut(search, board, scratch, line, search.effort.cut_tries)
        failed += 1
        if less is not None and less[0] == 0:
            board, failed = less[1], 0
    return board


def _cut(
    search: Restart, board: Board, scratch: Scratch, line: tuple[int, int], tries: int
) -> tuple[int, Board] | None:
    """The board without a line (axis, 0 for columns and 1 for rows, and number) after so many tries of repair, and the
    conflicts left. None where cells stand in the way of each other: they are moved on the board itself, so that the
    next cut may do."""
    search.num_cuts += 1
    less = without_line(search.shape, board, scratch, TIGHTEST, *line, search.regime.is_tidy)
    if isinstance(less, Board):
        return reroute(search, less, scratch, TIGHTEST, tries), less
    movable = set(search.shape.movable.tolist())
    focus = np.array([c for c in less.tolist() if c in movable], np.int64)
    if len(focus):
        params = _stirring(40, 6.0, 3.0)  # tries and temperatures guessed
        better(search.shape, board, scratch, params, TIGHTEST, RouteParams(), search.rng, False, focus)
    return None


def _stirring(tries: int, hot: float, cold: float) -> RepairParams:
    """How cells of a legal board are moved about. Prices, in tiles of wire, are guessed."""
    return RepairParams(
        tries=tries, stall=tries, rounds=3, reach=12, conflict=ONE_CONFLICT, wire=1.0, crossover=4.0, bend=0.5,
        hot=hot, cold=cold,
    )  # fmt: skip


def stirred(search: Restart, model: Board) -> Board:
    """A legal layout on the same grid, with cells moved about for a while."""
    board, shape = copy_board(model), search.shape
    params = _stirring(search.effort.stir, 12.0, 4.0)  # temperatures guessed
    search.tell(board, legal=True)
    scratch = search.scratch_for(board)
    left, _, _ = better(shape, board, scratch, params, TIGHTEST, RouteParams(), search.rng, False, shape.movable)
    return board if left == 0 else copy_board(model)


def polish(search: Restart, board: Board) -> Board:
    """Less wire, fewer crossovers and turns, keeping the layout legal."""
    kept, prices, tries = copy_board(board), search.prices, search.effort.polish
    params = RepairParams(
        tries=tries, stall=tries, rounds=3, conflict=ONE_CONFLICT, wire=prices.wire, crossover=prices.crossover,
        bend=prices.bend, stroke=prices.stroke, hot=POLISH_HEAT, cold=0.3,
    )  # fmt: skip
    search.tell(board, legal=True)
    routes = RouteParams(cross=0.5 * prices.crossover / max(prices.wire, 0.1))
    left, _, _ = better(search.shape, board, search.scratch_for(board), params, TIGHTEST, routes, search.rng, False)
    return board if left == 0 else kept
