"""Looking for a line to cut: the most promising candidates are tried longer, and no more than asked for."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from hdl2grid.layout.line_sieve import smaller

SIEVE = ((4, 10), (2, 100), (1, 1000))


class Pretended:
    """A search on a grid of 3 x 3. A line needs so many tries of repair until nothing is in conflict; None where cells
    are in the way."""

    def __init__(self, needs: dict[tuple[int, int], int | None]) -> None:
        self.needs, self.spent, self.is_stopped = needs, 0, False
        self.turn = -1

    def pick(self, board: Any) -> tuple[int, int]:
        self.turn += 1
        return list(self.needs)[self.turn % len(self.needs)]

    def without(self, board: Any, line: tuple[int, int], tries: int) -> Any:
        needed = self.needs[line]
        self.spent += tries
        if needed is None:
            return None
        less = SimpleNamespace(size=(3, 2), line=line, left=max(0, needed - tries))
        return less.left, less

    def go_on(self, board: Any, tries: int) -> int:
        self.spent += tries
        board.left = max(0, board.left - tries)
        return int(board.left)

    def is_better(self, board: Any, than: Any) -> bool:
        return True


def cut(needs: dict[tuple[int, int], int | None]) -> tuple[tuple[int, int] | None, int]:
    """Which line is taken out, and the tries spent."""
    search = Pretended(needs)
    found: Any = smaller(search, SimpleNamespace(size=(3, 3)), SIEVE)  # type: ignore[arg-type]
    return (found.line if found is not None else None), search.spent


def test_the_first_line_that_can_go_is_taken() -> None:
    assert cut({(0, 0): None, (0, 1): 50, (0, 2): 8, (1, 0): 1}) == ((0, 2), 30)


def test_the_most_promising_is_tried_longer() -> None:
    assert cut({(0, 0): 4000, (0, 1): 900, (0, 2): 300, (1, 0): 5000}) == ((0, 2), 40 + 200 + 1000)


def test_it_ends_when_nothing_can_go() -> None:
    assert cut({(0, i): 9000 for i in range(6)}) == (None, 40 + 200 + 1000)
    assert cut({(0, i): None for i in range(6)}) == (None, 160)


def test_it_ends_when_it_is_stopped() -> None:
    search = Pretended({(0, 0): 9000})
    search.is_stopped = True
    assert smaller(search, SimpleNamespace(size=(3, 3)), SIEVE) is None  # type: ignore[arg-type]
    assert search.spent == 0
