"""Tables as logic: many functions of the same few bits, with few ANDs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from hdl2grid.logic.xag import FALSE, TRUE, Literal, XagBuilder


def tabulate(g: XagBuilder, address: Sequence[Literal], rows: Sequence[int], width: int) -> list[Literal]:
    """`width` functions of the address: bit i of `rows[address]`, 0 beyond the last row.

    Three forms are weighed by the ANDs that they need, wide ones counted once, and the least is built:
    sums of products of uninverted bits (Reed-Muller), one product for each row that differs from the most
    common one, and trees of multiplexers.
    """
    address, rows = _without_constants(address, rows)
    words = list(rows) + [0] * ((1 << len(address)) - len(rows))
    if len(set(words)) == 1:
        return [TRUE if words[0] >> i & 1 else FALSE for i in range(width)]
    sums = _reed_muller(words)
    common = Counter(words).most_common(1)[0][0]
    differing = [row for row, word in enumerate(words) if word != common]
    costs = (
        sum(1 for monomial, word in enumerate(sums) if word and monomial.bit_count() > 1),
        len(differing) if len(address) > 1 else 0,
        _mux_cost(words, width, len(address)),
    )
    best = costs.index(min(costs))
    if best == 0:
        return _build_sums(g, address, sums, width)
    if best == 1:
        return _build_rows(g, address, words, common, differing, width)
    return [_build_mux(g, address, _column(words, i)) for i in range(width)]


def _without_constants(address: Sequence[Literal], rows: Sequence[int]) -> tuple[list[Literal], list[int]]:
    """The address without its constant bits, and the rows that are left."""
    free = [i for i, literal in enumerate(address) if literal not in (FALSE, TRUE)]
    if len(free) == len(address):
        return list(address), list(rows)
    base = sum(1 << i for i, literal in enumerate(address) if literal == TRUE)
    left = []
    for index in range(1 << len(free)):
        row = base + sum(1 << place for i, place in enumerate(free) if index >> i & 1)
        left.append(rows[row] if row < len(rows) else 0)
    return [address[i] for i in free], left


def _reed_muller(words: Sequence[int]) -> list[int]:
    """For each monomial (a mask of address bits) the word of the functions that contain it: the Moebius
    transform over GF(2)."""
    sums = list(words)
    step = 1
    while step < len(sums):
        for i in range(len(sums)):
            if i & step:
                sums[i] ^= sums[i ^ step]
        step *= 2
    return sums


def _build_sums(g: XagBuilder, address: Sequence[Literal], sums: Sequence[int], width: int) -> list[Literal]:
    results = [FALSE] * width
    for monomial, word in enumerate(sums):
        if word:
            product = g.and_all([literal for i, literal in enumerate(address) if monomial >> i & 1])
            for i in range(width):
                if word >> i & 1:
                    results[i] = g.xor(results[i], product)
    return results


def _build_rows(
    g: XagBuilder, address: Sequence[Literal], words: Sequence[int], common: int, rows: Sequence[int], width: int
) -> list[Literal]:
    results = [TRUE if common >> i & 1 else FALSE for i in range(width)]
    for row in rows:
        here = g.and_all([literal ^ (row >> i & 1 ^ 1) for i, literal in enumerate(address)])
        for i in range(width):
            if (words[row] ^ common) >> i & 1:
                results[i] = g.xor(results[i], here)
    return results


def _column(words: Sequence[int], bit: int) -> int:
    """One function as a truth table: bit r of the number is its value at address r."""
    return sum((word >> bit & 1) << row for row, word in enumerate(words))


def _halves(table: int, level: int) -> tuple[int, int]:
    """A table of `level` address bits, cut by the highest: its values where that bit is 0, and where it is 1."""
    half = 1 << (level - 1)
    return table & (1 << half) - 1, table >> half


def _mux_cost(words: Sequence[int], width: int, level: int) -> int:
    """The ANDs that trees of multiplexers take, equal subtrees (up to inversion) counted once."""
    tables = {_normal(_column(words, i), level) for i in range(width)}
    cost = 0
    while level:
        below: set[int] = set()
        for table in tables:
            low, high = _halves(table, level)
            everything = (1 << (1 << (level - 1))) - 1
            if low ^ high not in (0, everything):
                cost += 1
            below |= {_normal(low, level - 1), _normal(high, level - 1)}
        tables = below
        level -= 1
    return cost


def _normal(table: int, level: int) -> int:
    return table ^ (1 << (1 << level)) - 1 if table & 1 else table


def _build_mux(g: XagBuilder, address: Sequence[Literal], table: int) -> Literal:
    """Merges neighbouring values level by level, from the lowest address bit up."""
    values = [table >> row & 1 for row in range(1 << len(address))]
    for bit in address:
        values = [g.mux(bit, values[i + 1], values[i]) for i in range(0, len(values), 2)]
    return values[0]
