"""Which drivers share a net: the compiled kernel.

A *row* is a set of atoms (drivers that every sink lists together) that some sink needs; it is cut into blocks, and
every block is a net. Rows with the same block share the net. The annealer looks for blocks so that no row has more of
them than its tile bears, and no atom is in more of them than its tiles bear: a factorisation of the matrix of rows and
atoms into rows and nets, and nets and atoms, both sparse. Blocks are compared by words: the exclusive or of random
words of their atoms (A. L. Zobrist, "A new hashing method with application for game playing", 1970).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.base.annealing import accepts, cooling
from hdl2grid.base.rng import below

_OVER, _PIN = 16.0, 0.25
"""Prices: a net too many on tiles; an atom on a net. Guessed."""
_LAST, _LAST_BUT_ONE = 2.0, 0.5
"""Prices of tiles that have no colour left for a second net of a signal, and of those that have one. Guessed."""


class Table(NamedTuple):
    """The rows and what bounds them. A *place* is an atom in a row; places go row by row, atoms ascending."""

    row_start: Any  # rows: their places
    atom_of: Any  # places: atom, row
    row_of: Any
    place_start: Any  # atoms: their places
    places: Any
    row_most: Any  # rows: the most blocks
    atom_most: Any  # atoms: the most nets
    joint_start: Any  # atoms: rows on tiles that touch theirs, and the most nets on both together
    joint_row: Any
    joint_most: Any
    near_start: Any  # rows: the atoms that have it as a joint row
    near_atom: Any
    word: Any  # atoms: a random word
    free: Any  # the rows that may be cut


class State(NamedTuple):
    """A partition: the block of each place as a label (a number below the row's size), and what follows from it."""

    label: Any
    words: Any  # (row, label): the block's word, its size
    sizes: Any
    blocks: Any  # rows: how many blocks
    load: Any  # atoms: how many nets


@njit(cache=True)
def _count_row(r: int, t: Table, s: State) -> None:
    first, end = t.row_start[r], t.row_start[r + 1]
    for k in range(end - first):
        s.words[r, k] = np.uint64(0)
        s.sizes[r, k] = 0
    s.blocks[r] = 0
    for p in range(first, end):
        k = s.label[p]
        s.words[r, k] ^= t.word[t.atom_of[p]]
        s.blocks[r] += s.sizes[r, k] == 0
        s.sizes[r, k] += 1


@njit(cache=True)
def _load(a: int, t: Table, s: State) -> int:
    """On how many nets an atom is."""
    first, count = t.place_start[a], 0
    for i in range(first, t.place_start[a + 1]):
        p = t.places[i]
        word = s.words[t.row_of[p], s.label[p]]
        known = False
        for j in range(first, i):
            q = t.places[j]
            if s.words[t.row_of[q], s.label[q]] == word:
                known = True
                break
        count += not known
    return count


@njit(cache=True)
def _tightness(nets: int, most: int) -> float:
    """The price of `nets` where there are `most` at most."""
    if nets > most:
        return float(_LAST + _OVER * (nets - most))
    return float(_LAST if nets == most else _LAST_BUT_ONE if nets == most - 1 else 0.0)


@njit(cache=True)
def _atom_price(a: int, t: Table, s: State) -> float:
    load = s.load[a]
    price = _PIN * load + _tightness(load, t.atom_most[a])
    for i in range(t.joint_start[a], t.joint_start[a + 1]):
        price += _tightness(load + s.blocks[t.joint_row[i]], t.joint_most[i])
    return float(price)


@njit(cache=True)
def _row_price(r: int, t: Table, s: State) -> float:
    return float(_tightness(s.blocks[r], t.row_most[r]))


@njit(cache=True)
def _new_labels(r: int, t: Table, s: State, rng: Any) -> None:
    """One random change of a row: an atom to another block, two blocks made one, or a block as another row has it."""
    first, end = t.row_start[r], t.row_start[r + 1]
    count = end - first
    kind = below(rng, 4)
    p = first + below(rng, count)
    if kind == 0:
        s.label[p] = below(rng, count) if below(rng, 8) == 0 else s.label[first + below(rng, count)]
    elif kind == 1:
        a, b = s.label[p], s.label[first + below(rng, count)]
        for q in range(first, end):
            if s.label[q] == a:
                s.label[q] = b
    else:
        a = t.atom_of[p]
        span = t.place_start[a + 1] - t.place_start[a]
        _take_block(r, p, t.places[t.place_start[a] + below(rng, span)], kind == 2, t, s)


@njit(cache=True)
def _take_block(r: int, p: int, other: int, whole: bool, t: Table, s: State) -> None:
    """Cuts row `r` so that its atoms in the block of place `other` (another row's, that has the atom of place `p`)
    are a block; with `whole` only where it has them all."""
    row, wanted = t.row_of[other], s.label[other]
    if row == r:
        return
    first, end = t.row_start[r], t.row_start[r + 1]
    free = s.label[p]
    for k in range(end - first):
        if s.sizes[r, k] == 0:
            free = k
    if whole:
        found = 0
        j = t.row_start[row]
        for q in range(first, end):
            while j < t.row_start[row + 1] and t.atom_of[j] < t.atom_of[q]:
                j += 1
            found += j < t.row_start[row + 1] and t.atom_of[j] == t.atom_of[q] and s.label[j] == wanted
        if found < s.sizes[row, wanted]:
            return
    j = t.row_start[row]
    for q in range(first, end):
        while j < t.row_start[row + 1] and t.atom_of[j] < t.atom_of[q]:
            j += 1
        if j < t.row_start[row + 1] and t.atom_of[j] == t.atom_of[q] and s.label[j] == wanted:
            s.label[q] = free


@njit(cache=True)
def _touched(r: int, old: Any, t: Table, s: State, found: Any) -> int:
    """The atoms whose price can change with row `r`, to `found`; returns how many. 0 where its blocks are the same."""
    first, end = t.row_start[r], t.row_start[r + 1]
    changed = np.zeros(end - first, np.bool_)
    same = True
    for p in range(first, end):
        if s.label[p] != old[p - first]:
            same = False
            changed[s.label[p]] = True
            changed[old[p - first]] = True
    if same:
        return 0
    count = 0
    for p in range(first, end):
        if changed[s.label[p]] or changed[old[p - first]]:
            found[count] = t.atom_of[p]
            count += 1
    inside = count
    for i in range(t.near_start[r], t.near_start[r + 1]):
        known = False
        for k in range(inside):
            known = known or found[k] == t.near_atom[i]
        if not known:
            found[count] = t.near_atom[i]
            count += 1
    return count


@njit(cache=True)
def _pick(t: Table, s: State, rng: Any) -> int:
    """A row: one with too many blocks, if a few tries come upon one."""
    r = t.free[below(rng, len(t.free))]
    for _ in range(3):
        if s.blocks[r] > t.row_most[r]:
            break
        r = t.free[below(rng, len(t.free))]
    return int(r)


@njit(cache=True)
def anneal(t: Table, s: State, rng: Any, steps: int, hot: float, cold: float) -> float:
    """Anneals the partition `s` (whose labels are given, and replaced by the best found); returns its price."""
    num_rows, num_atoms = len(t.row_most), len(t.atom_most)
    price = 0.0
    for r in range(num_rows):
        _count_row(r, t, s)
        price += _row_price(r, t, s)
    for a in range(num_atoms):
        s.load[a] = _load(a, t, s)
    for a in range(num_atoms):
        price += _atom_price(a, t, s)
    best, least = s.label.copy(), price
    if len(t.free) == 0:
        return least
    old = np.zeros(num_atoms, np.int64)
    found, loads = np.zeros(2 * num_atoms, np.int64), np.zeros(2 * num_atoms, np.int64)
    ratio, heat = cooling(hot, cold, steps), hot
    for _ in range(steps):
        heat *= ratio
        r = _pick(t, s, rng)
        first, end = t.row_start[r], t.row_start[r + 1]
        old[: end - first] = s.label[first:end]
        _new_labels(r, t, s, rng)
        count = _touched(r, old, t, s, found)
        if count == 0:
            continue
        delta = -_row_price(r, t, s)
        for k in range(count):
            loads[k] = s.load[found[k]]
            delta -= _atom_price(found[k], t, s)
        _count_row(r, t, s)
        delta += _row_price(r, t, s)
        for k in range(count):
            s.load[found[k]] = _load(found[k], t, s)
            delta += _atom_price(found[k], t, s)
        if accepts(rng, delta, heat):
            price += delta
            if price < least - 1e-9:
                least = price
                best[:] = s.label
        else:
            s.label[first:end] = old[: end - first]
            _count_row(r, t, s)
            for k in range(count):
                s.load[found[k]] = loads[k]
    s.label[:] = best
    return least
