"""Linear algebra over GF(2) on Python integers: a vector is an integer, addition is `^`."""

from __future__ import annotations

from collections.abc import Iterable, Sequence


def bits(mask: int) -> list[int]:
    """Positions of the ones of `mask`, ascending."""
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found


class Basis:
    """A subspace that grows vector by vector. Rows are kept reduced: a pivot (a row's highest one, ignoring the
    bits of `ignore`) stands in no other row."""

    def __init__(self, vectors: Iterable[int] = (), ignore: int = 0) -> None:
        self.ignore = ignore
        self.rows: dict[int, int] = {}
        self._pivots = 0
        for vector in vectors:
            self.add(vector)

    def __len__(self) -> int:
        return len(self.rows)

    def reduce(self, vector: int) -> int:
        """The residue of `vector`: zero (but for ignored bits) exactly when it lies in the space."""
        hits = vector & self._pivots
        while hits:
            low = hits & -hits
            vector ^= self.rows[low.bit_length() - 1]
            hits ^= low
        return vector

    def add(self, vector: int) -> bool:
        """Widen the space by `vector`; False when it lay in it already."""
        residue = self.reduce(vector)
        lead = residue & ~self.ignore
        if not lead:
            return False
        pivot = lead.bit_length() - 1
        for other, row in self.rows.items():
            if row >> pivot & 1:
                self.rows[other] = row ^ residue
        self.rows[pivot] = residue
        self._pivots |= 1 << pivot
        return True

    def sorted_rows(self) -> tuple[int, ...]:
        return tuple(self.rows[p] for p in sorted(self.rows))


class Coordinates:
    """Vectors as sums of given ones, the *generators*: a basis that remembers which of them each row adds up.

    A generator that depends on those before it is used in no sum; `relations` has a mask of generators that add up to
    0 for each of these, itself the last of them.
    """

    def __init__(self, generators: Iterable[int]) -> None:
        generators = list(generators)
        self._count = len(generators)
        self._basis = Basis(ignore=(1 << self._count) - 1)
        self.relations: list[int] = []
        for i, vector in enumerate(generators):
            row = self._basis.reduce(vector << self._count | 1 << i)
            if not self._basis.add(row):
                self.relations.append(row)

    def of(self, vector: int) -> tuple[int, int]:
        """A mask of generators, and what is left of `vector` when they are added to it: 0 exactly where it is a sum."""
        row = self._basis.reduce(vector << self._count)
        return row & self._basis.ignore, row >> self._count


def light_basis(constraints: Sequence[int], ignore: int = 1) -> tuple[int, ...]:
    """A basis of the span of `constraints` whose vectors have few ones outside `ignore`.

    Up to eight vectors: the lightest basis (greedy over all sums, which is exact for a matroid); above that,
    pairwise sums are taken while they make a vector lighter.
    """
    rows = list(constraints)
    if all((row & ~ignore).bit_count() <= 1 for row in rows):
        return tuple(sorted(rows))
    if len(rows) <= 8:
        sums = [0]
        for row in rows:
            sums += [s ^ row for s in sums]
        sums = sorted(sums[1:], key=lambda v: ((v & ~ignore).bit_count(), v))
        chosen, basis = [], Basis(ignore=ignore)
        for vector in sums:
            if basis.add(vector):
                chosen.append(vector)
        return tuple(sorted(chosen))
    changed = True
    while changed:
        changed = False
        for i, row in enumerate(rows):
            for j, other in enumerate(rows):
                if i != j and ((row ^ other) & ~ignore).bit_count() < (rows[i] & ~ignore).bit_count():
                    rows[i] = row = row ^ other
                    changed = True
    return tuple(sorted(rows))
