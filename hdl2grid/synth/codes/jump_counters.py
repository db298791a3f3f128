"""Codes for counters: a linear shift register of greatest length, cut short by one jump.

A machine that reads nothing and goes round through all of its n states needs few cells if its code is stepped by
`x -> a x` in a field of 2^r elements, a being primitive (S. W. Golomb, "Shift Register Sequences", 1967), but for one
state, after which it begins again. The jump adds the same to the next code always, so it takes one cell: whether the
state is that one; and this is often wanted of a counter anyway. All 2^r codes are met where 0 is put between two
others: then the cell holds in the state before and in 0.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

from hdl2grid.synth.codes.register_groups import Behaviour, ring_of
from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.rewrite.covers import Flat
from hdl2grid.synth.rewrite.pseudoproducts import CONSTANT, canonical

_MOST_WIDTH = 10
"""Code bits: rings of up to 1,024 states."""
_MOST_CELLS = 6
"""States that the wanted functions may tell apart, a cell for each. Guessed."""


@dataclass(frozen=True)
class JumpCode:
    """`codes[s]` of `width` bits for state s; `flat` is where the jump's cell holds, over the code bits; ()
    where there is no jump."""

    width: int
    codes: tuple[int, ...]
    flat: Flat


def jump_codes(behaviour: Behaviour) -> Iterator[JumpCode]:
    """Codes of fewest bits for a machine that is a ring: a code for each primitive polynomial and each place of the
    jump. None for other machines, or for more than 10 bits."""
    n = behaviour.num_states
    width = (n - 1).bit_length()
    if behaviour.context or n < 3 or width > _MOST_WIDTH:
        return
    order = ring_of(behaviour.here, behaviour.after, n)
    if order is None:
        return
    for polynomial in primitive_polynomials(width):
        path, flat = _with_zero(width, polynomial) if n == 1 << width else _cut_short(width, polynomial, n)
        for last in range(n):
            codes = [0] * n
            for code, state in zip(path, [*order[last + 1 :], *order[: last + 1]], strict=True):
                codes[state] = code
            yield JumpCode(width, tuple(codes), flat)


def jump_code_with_cells(behaviour: Behaviour) -> tuple[JumpCode, tuple[Flat, ...]] | None:
    """The first of `jump_codes` of fewest cells, and all cells that the wanted functions and the jump take, where each
    of the wanted ones is 1 (or 0) in a few states; None where that is not so."""
    n = behaviour.num_states
    singles: set[int] = set()
    for value in behaviour.wanted:
        few = min((value, value ^ ((1 << n) - 1)), key=int.bit_count)
        if few.bit_count() > _MOST_CELLS:
            return None
        singles.update(behaviour.here[p] for p in bits(few))
    if len(singles) > _MOST_CELLS:
        return None
    best: tuple[int, JumpCode, tuple[Flat, ...]] | None = None
    for number, code in enumerate(jump_codes(behaviour)):
        if number == n or best is not None and best[0] <= max(1, len(singles)):
            break
        cells = dict.fromkeys(_single(code.codes[s], code.width) for s in sorted(singles))
        cells |= {code.flat: None} if code.flat else {}
        if best is None or len(cells) < best[0]:
            best = len(cells), code, tuple(cells)
    return best and best[1:]


@lru_cache(maxsize=16)
def primitive_polynomials(degree: int) -> tuple[int, ...]:
    """The polynomials over GF(2) of that degree modulo which x has order 2^degree - 1, of fewest terms first."""
    found = []
    for polynomial in range((1 << degree) + 1, 2 << degree, 2):
        value, order = _times_x(1, degree, polynomial), 1
        while value != 1 and order < 1 << degree:
            value, order = _times_x(value, degree, polynomial), order + 1
        if value == 1 and order == (1 << degree) - 1:
            found.append(polynomial)
    return tuple(sorted(found, key=lambda p: (p.bit_count(), p)))


def _times_x(value: int, degree: int, polynomial: int) -> int:
    value <<= 1
    return value ^ polynomial if value >> degree else value


def _cut_short(width: int, polynomial: int, count: int) -> tuple[list[int], Flat]:
    """`count` codes in a row, scaled so that the jump adds to bit 0 only; and where it is."""
    powers = [1]
    while len(powers) < (1 << width) - 1:
        powers.append(_times_x(powers[-1], width, polynomial))
    jump = powers[count % len(powers)] ^ 1
    scale = -powers.index(jump) % len(powers) if jump else 0
    path = [powers[(scale + i) % len(powers)] for i in range(count)]
    return path, _single(path[-1], width) if jump else ()


def _with_zero(width: int, polynomial: int) -> tuple[list[int], Flat]:
    """All codes, 0 as the last but one: after 1 / x, and before 1."""
    path = [1]
    while len(path) < (1 << width) - 1:
        path.append(_times_x(path[-1], width, polynomial))
    before = path[-1]
    rows = [1 << j for j in range(width) if not before >> j & 1]
    high = before.bit_length() - 1
    rows += [1 << j | 1 << high for j in range(high) if before >> j & 1]
    return [*path, 0], canonical(rows)


def _single(code: int, width: int) -> Flat:
    return canonical([1 << j | (CONSTANT if code >> j & 1 else 0) for j in range(width)])


def most_bits_inside(inside: Sequence[int], num_states: int, width: int) -> int:
    """At most so many dimensions of the span of `inside` (functions of states; modulo the constant) can be sums of
    the bits of a code of `width`: each such sum is 1 in at most half of all codes, and 0 in at most half."""
    ones, half = (1 << num_states) - 1, 1 << (width - 1)
    basis = Basis([ones])
    space = [v for v in inside if basis.add(v)]
    if len(space) > _MOST_WIDTH or half >= num_states:
        return min(len(space), width)
    sums = [0]
    for v in space:
        sums += [s ^ v for s in sums]
    balanced = [s for s in sums if num_states - half <= s.bit_count() <= half]
    return min(width, len(Basis(balanced)), (len(balanced) + 1).bit_length() - 1)
