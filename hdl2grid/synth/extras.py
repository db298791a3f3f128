"""Cells beyond the smallest set that pay for themselves: each shortens sums that no sink could take.

A cell whose value is the sum `e` of signals already there lets every target `f` be written `f + e + cell` as
well. Such a cell is a product from the pool, or a collector of two or three signals.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import TYPE_CHECKING

from hdl2grid.synth.network import COLLECTOR

if TYPE_CHECKING:
    from hdl2grid.synth.onelevel import LocalCell, Target


def add_extras(
    num_variables: int,
    cells: Sequence[LocalCell],
    forms: Sequence[int],
    targets: Sequence[Target],
    pool: Sequence[tuple[LocalCell, int]],
    make: type[LocalCell],
) -> tuple[tuple[LocalCell, ...], tuple[int, ...]]:
    """The cells and forms widened, greedily, while a cell takes at least one term off sums above their limits.

    Masks: bit 0 the constant, then the variables, then the cells. `pool` holds cells with their sums.
    """
    made, written = list(cells), list(forms)
    while True:
        over = [(f, h, t) for f, h, t in zip(written, forms, targets, strict=True) if _excess(f, t)]
        excess = sum(_excess(f, t) for f, _, t in over)
        if not over:
            break
        new = 1 << (1 + num_variables + len(made))
        best: tuple[int, bool, int, LocalCell, list[int]] | None = None
        options = [*pool, *((make(COLLECTOR, (s,)), s) for s in _sums(num_variables, len(made)))]
        for cell, value in options:
            if not any(_excess(f, t) > min(_excess(g ^ value ^ new, t) for g in (f, h)) for f, h, t in over):
                continue
            trial = [
                _shorter(_shorter(f, f ^ value ^ new, t), h ^ value ^ new, t)
                for f, h, t in zip(written, forms, targets, strict=True)
            ]
            left = sum(_excess(f, t) for f, t in zip(trial, targets, strict=True))
            total = sum(_terms(f, t) for f, t in zip(trial, targets, strict=True))
            key = left, cell.kind == COLLECTOR, total
            if left < excess and (best is None or key < best[:3]):
                best = (*key, cell, trial)
        if best is None:
            break
        made.append(best[3])
        written = best[4]
    return tuple(made), tuple(written)


def _sums(num_variables: int, num_cells: int) -> Iterator[int]:
    """Sums of two or three variables, and of two or three cells: each lot moves in one round."""
    first_cell = 1 + num_variables
    for signals in (range(1, first_cell), range(first_cell, first_cell + num_cells)):
        for size in (2, 3):
            for chosen in combinations(signals, size):
                yield sum(1 << s for s in chosen)


def _terms(form: int, target: Target) -> int:
    count = (form >> 1).bit_count()
    return count if target.own is None else count - (form >> (target.own + 1) & 1)


def _excess(form: int, target: Target) -> int:
    return max(0, _terms(form, target) - target.limit)


def _shorter(a: int, b: int, target: Target) -> int:
    return b if _terms(b, target) < _terms(a, target) else a
