"""Products of more factors than a stack has toggles: cut so that many of them share their parts.

A wide product is a product of parts, each of which is a stack of its own; a part of one factor is that factor, a round
later. Parts that many products have are looked for by growing a set of factors, each time by the one that most of the
products with all the others have, and what is left of each product is cut in the same way.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from hdl2grid.synth.rewrite.pseudoproducts import CONSTANT

Rows = tuple[int, ...]
Parts = dict[Rows, tuple[Rows, ...]]
_DEEPEST = 2
"""Times that what shared rows leave of flats is cut in the same way (guessed)."""


def split_pseudoproducts(flats: Iterable[Rows], width: int) -> Parts:
    """For each flat of more than `width` rows the parts, of at most `width` rows each, that it is cut into. A row has
    its constant in bit 63."""
    wide = [flat for flat in dict.fromkeys(flats) if len(flat) > width]
    ways = _at_segments(wide, width), _cut(wide, width, set(), 0)
    return min(ways, key=lambda parts: len(_stacks(parts)))


def _at_segments(flats: Sequence[Rows], width: int) -> Parts:
    """Each flat cut where all are: the rows in one order, those that most have first, in segments of `width` rows. That
    is best where flats lie in one another."""
    counts = Counter(row for flat in flats for row in flat)
    order = sorted(counts, key=lambda row: (-counts[row], row))
    segment = {row: place // width for place, row in enumerate(order)}
    parts: Parts = {}
    for flat in flats:
        own: dict[int, list[int]] = {}
        for row in flat:
            own.setdefault(segment[row], []).append(row)
        parts[flat] = tuple(tuple(own[k]) for k in sorted(own))
    return parts


def _cut(flats: Sequence[Rows], width: int, there: set[Rows], depth: int) -> Parts:
    """All flats cut into parts, lot by lot: the one that takes fewest stacks for a flat comes first. `there`: parts
    that need no further stack."""
    found: Parts = {flat: (flat,) for flat in flats if len(flat) == 1}
    there = there | _stacks(found)
    left = [flat for flat in flats if len(flat) > 1]
    while left:
        lots = [{flat: _pieces(flat, width) for flat in left}]
        lots += _sharing(left, width, there, depth) if depth < _DEEPEST else []
        best = min(lots, key=lambda lot: len(_stacks(lot) - there) / len(lot))
        found.update(best)
        there = there | _stacks(best)
        left = [flat for flat in left if flat not in found]
    return found


def _sharing(flats: Sequence[Rows], width: int, there: set[Rows], depth: int) -> list[Parts]:
    """Ways to cut some of the flats, with the rows that they share in parts of their own."""
    having = list(flats)
    chosen: Rows = ()
    ways: list[Parts] = []
    while len(having) > 1:
        counts = Counter(row for flat in having for row in flat if row not in chosen)
        best, most = min(counts.items(), key=lambda item: (-item[1], item[0]), default=(0, 0))
        if chosen and most < len(having) or len(chosen) == max(map(len, having)) - width > 0:
            ways.append(_with_shared(having, chosen, width, there, depth))
        if not counts:
            break
        chosen = (*chosen, best)
        having = [flat for flat in having if best in flat]
    return ways


def _with_shared(flats: Sequence[Rows], shared: Rows, width: int, there: set[Rows], depth: int) -> Parts:
    rests = {flat: tuple(row for row in flat if row not in shared) for flat in flats}
    parts = _cut(list(dict.fromkeys(rest for rest in rests.values() if rest)), width, there, depth + 1)
    own = _pieces(shared, width)
    return {flat: (*own, *parts.get(rest, ())) for flat, rest in rests.items()}


def _pieces(rows: Rows, width: int) -> tuple[Rows, ...]:
    """Rows in as few parts as they need, of nearly the same size."""
    count = -(-len(rows) // width)
    size = -(-len(rows) // count)
    return tuple(rows[i : i + size] for i in range(0, len(rows), size))


def _stacks(parts: Parts) -> set[Rows]:
    """The parts, each a stack; that of one row serves either constant."""
    return {(p[0] & ~CONSTANT,) if len(p) == 1 else p for lot in parts.values() for p in lot}
