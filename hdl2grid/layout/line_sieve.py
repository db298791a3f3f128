"""Look for a row or column that a layout can do without: many are tried shortly, the most promising ones longer.

How many conflicts a short repair leaves says much about what a long one would: successive halving of the candidates,
as in K. Jamieson, A. Talwalkar, Non-stochastic best arm identification, AISTATS 2016.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from hdl2grid.layout.arrays import Board

Line = tuple[int, int]
"""Axis (0 for a column, 1 for a row) and number."""


class Cutter(Protocol):
    """What a search can do with a line of a layout."""

    @property
    def is_stopped(self) -> bool: ...

    def pick(self, board: Board) -> Line:
        """A line that may go."""
        ...

    def without(self, board: Board, line: Line, tries: int) -> tuple[int, Board] | None:
        """The board without the line after so many tries of repair, and the conflicts left; None where cells are in the
        way, of which some may have been moved on the board itself."""
        ...

    def go_on(self, board: Board, tries: int) -> int:
        """Repair a board further; returns the conflicts left."""
        ...

    def is_better(self, board: Board, than: Board) -> bool: ...


def smaller(cutter: Cutter, board: Board, sieve: tuple[tuple[int, int], ...]) -> Board | None:
    """A legal board with a line less that is better, or None. `sieve` has the number of candidates and of tries of each
    stage."""
    (count, tries), *stages = sieve
    left: list[tuple[int, int, Board]] = []
    for line in _lines(cutter, board, count):
        if cutter.is_stopped or len(left) == count:
            break
        trial = cutter.without(board, line, tries)
        if trial is None:
            continue
        if trial[0] == 0 and cutter.is_better(trial[1], board):
            return trial[1]
        if trial[0]:
            left.append((trial[0], len(left), trial[1]))
    for count, tries in stages:
        left.sort(key=lambda one: one[:2])
        again: list[tuple[int, int, Board]] = []
        for _, number, one in left[:count]:
            conflicts = cutter.go_on(one, tries)
            if conflicts == 0 and cutter.is_better(one, board):
                return one
            if conflicts:
                again.append((conflicts, number, one))
        left = again
    return None


def _lines(cutter: Cutter, board: Board, count: int) -> Iterator[Line]:
    """Lines to try, none twice as long as there are others to find; four times `count` at most, for cells may be in the
    way of many."""
    seen: set[Line] = set()
    most = int(board.size[0] + board.size[1])
    for _ in range(4 * count):
        line = cutter.pick(board)
        if line not in seen or len(seen) > most * 3 // 4:
            seen.add(line)
            yield line
