"""Cells beyond the smallest set that pay for themselves: each shortens sums that no sink could take.

A cell whose value is the sum `e` of signals already there lets every target `f` be written `f + e + cell` as
well. Such a cell is a product from the pool, or a collector of two or three signals.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.synth.exact.local_cells import LocalCell, Target
from hdl2grid.synth.exact.word_vectors import ones_in
from hdl2grid.synth.network import COLLECTOR

_MOST_SIGNALS = 64
"""A sum is one word; cells that are wanted beyond are not added."""


def add_extras(
    num_variables: int,
    cells: Sequence[LocalCell],
    forms: Sequence[int],
    targets: Sequence[Target],
    pool: Sequence[tuple[LocalCell, int]],
) -> tuple[tuple[LocalCell, ...], tuple[int, ...]]:
    """The cells and forms widened, greedily, while a cell takes at least one term off sums above their limits.

    Masks: bit 0 the constant, then the variables, then the cells. `pool` holds cells with their sums.
    """
    made, written = list(cells), list(forms)
    own = np.array([0 if t.own is None else 2 << t.own for t in targets], dtype=np.uint64)
    limits = np.array([t.limit for t in targets], dtype=np.int64)
    plain = np.array(forms, dtype=np.uint64)
    while 1 + num_variables + len(made) < _MOST_SIGNALS:
        sums = list(_sums(num_variables, len(made)))
        values = np.array([*(s for _, s in pool), *sums], dtype=np.uint64)
        now = np.array(written, dtype=np.uint64)
        new = np.uint64(1 << (1 + num_variables + len(made)))
        best = _best_option(values, len(pool), new, now, plain, own, limits)
        if best < 0:
            break
        made.append(pool[best][0] if best < len(pool) else LocalCell(COLLECTOR, (sums[best - len(pool)],)))
        written = [int(f) for f in _trial(values[best], new, now, plain, own)]
    return tuple(made), tuple(written)


def _sums(num_variables: int, num_cells: int) -> Iterator[int]:
    """Sums of two or three variables, and of two or three cells: each lot moves in one round."""
    first_cell = 1 + num_variables
    for signals in (range(1, first_cell), range(first_cell, first_cell + num_cells)):
        for size in (2, 3):
            for chosen in combinations(signals, size):
                yield sum(1 << s for s in chosen)


@njit(cache=True)
def _best_option(values: Any, num_pool: int, new: Any, written: Any, forms: Any, own: Any, limits: Any) -> int:
    """The value whose cell leaves the fewest terms above limits, no collector preferred, then the fewest terms; -1
    where none leaves fewer than there are. Collectors are those from `num_pool` on."""
    excess = 0
    for i in range(len(written)):
        excess += max(0, _terms(written[i], own[i]) - limits[i])
    best, best_key = -1, (excess, False, 0)
    for k in range(len(values)):
        left, total = 0, 0
        for i in range(len(written)):
            terms = _terms(_shortest(values[k], new, written[i], forms[i], own[i]), own[i])
            left += max(0, terms - limits[i])
            total += terms
            if left >= excess:
                break
        key = (left, k >= num_pool, total)
        if left < excess and (best < 0 or key < best_key):
            best, best_key = k, key
    return best


@njit(cache=True)
def _trial(value: Any, new: Any, written: Any, forms: Any, own: Any) -> Any:
    """The forms where signal `new`, whose value is the sum `value`, makes them shorter."""
    found = written.copy()
    for i in range(len(written)):
        found[i] = _shortest(value, new, written[i], forms[i], own[i])
    return found


@njit(cache=True, inline="always")
def _shortest(value: Any, new: Any, written: Any, form: Any, own: Any) -> Any:
    change = value ^ new
    found = written
    for other in (written ^ change, form ^ change):
        if _terms(other, own) < _terms(found, own):
            found = other
    return found


@njit(cache=True, inline="always")
def _terms(form: Any, own: Any) -> Any:
    """How many signals stand in a sum besides the constant and the sink's own."""
    return ones_in(form & ~(own | np.uint64(1)))
