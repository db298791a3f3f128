"""Sums of products that one stack gives: 'exactly one' is nearly every function of four affine forms.

Up to an affine function there are 2^11 functions of four variables. Products are 172 of them; the stacks of three to
five toggles that say 'exactly one' of affine functions, with the products, are 2020. (All were gone through; see
`stacks_of_four`.) So products that span four forms together take as many stacks as their sets of sinks, as vectors,
have dimensions, which may be fewer than there are products.

A *bundle* is a space of four forms and a set of sinks: one stack. A product with sinks M needs no stack of its own
where M is a sum of the sinks of bundles whose spaces hold it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from itertools import combinations
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.synth.gf2 import Basis, Coordinates, bits, light_basis
from hdl2grid.synth.network import EXACTLY_ONE, ONE, PRODUCT, Form, Network
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.trials import Context, Trial
from hdl2grid.synth.sinks import Problem

_SPAN = 4
"""Forms that span a bundle: for four, stacks are tabulated (see above)."""
_MOST_CELLS = 40
"""Products above which no bundles are looked for: pairs are gone through (guessed)."""
_MOST_TOGGLES = 5
"""The highest stack of the table: higher ones give no more of the functions."""


@dataclass(frozen=True)
class _Term:
    """A product that sinks read: its signal, the linear span of its factors, and the sinks as a mask."""

    signal: int
    span: tuple[Form, ...]
    sinks: int


@dataclass
class _Bundle:
    span: tuple[Form, ...]
    sinks: int
    signals: dict[int, None]


def bundled(problem: Problem, group: SinkGroup, context: Context) -> Iterator[Trial]:
    """The problem with products bundled; then each space's by themselves, for long sums may make some bundles dearer
    than what they replace."""
    terms = _terms(problem)
    if len(terms) < 2 or len(terms) > _MOST_CELLS:
        return
    bundles = _found(terms)
    yield partial(_placed, bundles=bundles)
    for span in dict.fromkeys(one.span for one in bundles):
        yield partial(_placed, bundles=[one for one in bundles if one.span == span])


def _terms(problem: Problem) -> list[_Term]:
    """Products of variables that no other cell reads."""
    network = problem.network
    cells = network.cone([s.form for s in problem.sinks])
    inner = 0
    for cell in cells:
        for factor in network.cells[cell].factors:
            inner |= factor
    variables = (1 << network.num_variables + 1) - 1
    found = []
    for cell in cells:
        kind, factors = network.cells[cell].kind, network.cells[cell].factors
        if kind == PRODUCT and not inner >> cell & 1 and not any(f & ~variables for f in factors):
            sinks = sum(1 << i for i, s in enumerate(problem.sinks) if s.form >> cell & 1)
            found.append(_Term(cell, _span(factors), sinks))
    return found


def _span(factors: Sequence[Form]) -> tuple[Form, ...]:
    return Basis(f & ~ONE for f in factors).sorted_rows()


def _found(terms: Sequence[_Term]) -> list[_Bundle]:
    """Bundles, greedily: the space that saves most stacks among the products left, then the next."""
    left = {t.signal: t for t in terms}
    bundles: list[_Bundle] = []
    spaces = list(_spaces([t for t in terms if len(t.span) <= _SPAN]))
    while True:
        best: list[_Term] = []
        best_span: tuple[Form, ...] = ()
        best_gain = 0
        for span, inside in spaces:
            here = [t for t in inside if t.signal in left]
            gain = len(here) - len(Basis(t.sinks for t in here))
            if gain > best_gain:
                best, best_span, best_gain = here, span, gain
        if not best_gain:
            break
        made: list[_Bundle] = []
        known = Basis()
        for term in best:
            if known.add(term.sinks):
                made.append(_Bundle(best_span, term.sinks, {}))
            del left[term.signal]
        _absorb(best, made)
        bundles += made
    _absorb(list(left.values()), bundles)
    return bundles


def _absorb(left: Sequence[_Term], bundles: list[_Bundle]) -> None:
    """Products left over are put into bundles whose sinks add up to theirs."""
    for term in left:
        holding = [b for b in bundles if _holds(b.span, term.span)]
        chosen, rest = Coordinates(b.sinks for b in holding).of(term.sinks)
        if not rest:
            for i in bits(chosen):
                holding[i].signals[term.signal] = None


def _spaces(terms: Sequence[_Term]) -> Iterator[tuple[tuple[Form, ...], list[_Term]]]:
    """Spaces of at most four forms that two of the products span together, with all products in them."""
    seen = set()
    for a, b in combinations(terms, 2):
        span = Basis([*a.span, *b.span])
        rows = span.sorted_rows()
        if len(rows) <= _SPAN and rows not in seen:
            seen.add(rows)
            inside = [t for t in terms if _holds(rows, t.span)]
            if len(inside) > 1:
                yield rows, inside


def _holds(span: tuple[Form, ...], part: tuple[Form, ...]) -> bool:
    space = Basis(span)
    return not any(space.reduce(row) for row in part)


def _placed(problem: Problem, bundles: Sequence[_Bundle]) -> Problem:
    """The problem with each bundle's products replaced by one stack; those that none gives stay as they are."""
    network = problem.network
    forms = [s.form for s in problem.sinks]
    for one in bundles:
        made = _stack(network, one.span, list(one.signals))
        if made is None:
            continue
        change = made
        for signal in one.signals:
            change ^= 1 << signal
        for i in bits(one.sinks):
            forms[i] ^= change
    sinks = tuple(replace(s, form=f) for s, f in zip(problem.sinks, forms, strict=True))
    return replace(problem, sinks=sinks)


def _stack(network: Network, span: tuple[Form, ...], signals: Sequence[int]) -> Form | None:
    """A form of one stack that equals the sum of the products `signals`; None where there is none."""
    forms = list(light_basis(span))
    forms += [0] * (_SPAN - len(forms))
    values = {0: (1 << 16) - 1} | {-1 - i: _column(i) for i in range(_SPAN)}
    table = 0
    for signal in signals:
        product = (1 << 16) - 1
        for factor in network.cells[signal].factors:
            value = (1 << 16) - 1 if factor & ONE else 0
            for i in _coordinates(forms, factor & ~ONE):
                value ^= values[-1 - i]
            product &= value
        table ^= product
    choice = stacks_of_four()[_class_of(table)]
    if choice is None:
        return None
    kind, planes = choice
    factors, made = [], []
    for mask, constant in planes:
        form, value = constant, (1 << 16) - 1 if constant else 0
        for i in bits(mask):
            form ^= forms[i]
            value ^= values[-1 - i]
        factors.append(form)
        made.append(value)
    result = network.make(kind, factors)
    rest = table ^ (_exactly_one(made) if kind == EXACTLY_ONE else _product(made))
    result ^= rest & 1
    for i in range(_SPAN):
        if (rest ^ rest >> (1 << i)) & 1:
            result ^= forms[i]
    return result


def _coordinates(forms: Sequence[Form], form: Form) -> list[int]:
    chosen, rest = Coordinates(forms).of(form)
    assert not rest
    return bits(chosen)


def _column(i: int) -> int:
    return sum((x >> i & 1) << x for x in range(16))


def _product(values: Sequence[int]) -> int:
    total = (1 << 16) - 1
    for value in values:
        total &= value
    return total


def _exactly_one(values: Sequence[int]) -> int:
    one = more = 0
    for value in values:
        more |= one & value
        one |= value
    return one & ~more


Planes = tuple[tuple[int, int], ...]


@lru_cache(maxsize=1)
def stacks_of_four() -> tuple[tuple[str, Planes] | None, ...]:
    """For each of the 2048 functions of four variables up to affine ones (the bits of their Reed-Muller form of
    degree two and more) a stack of fewest toggles, as (mask of variables, constant); None for the 28 that none of
    up to five toggles gives."""
    values = np.array([_value(mask, constant) for mask, constant in _planes()], dtype=np.int64)
    ones, products = np.full((2048, 6), -1, dtype=np.int64), np.full((2048, 6), -1, dtype=np.int64)
    _fill(values, ones, products)
    planes = _planes()
    table: list[tuple[str, Planes] | None] = []
    for index in range(2048):
        size_one, size_product = int(ones[index, 5]), int(products[index, 5])
        if size_product > 0 and (size_one < 0 or size_product <= size_one):
            table.append((PRODUCT, tuple(planes[p] for p in products[index, :size_product])))
        elif size_one > 0:
            table.append((EXACTLY_ONE, tuple(planes[p] for p in ones[index, :size_one])))
        else:
            table.append(None)
    return tuple(table)


def _planes() -> list[tuple[int, int]]:
    masks = sorted(range(1, 16), key=lambda m: (m.bit_count(), m))
    return [(mask, constant) for mask in masks for constant in (0, 1)]


def _value(mask: int, constant: int) -> int:
    value = 0xFFFF if constant else 0
    for i in bits(mask):
        value ^= _column(i)
    return value


@njit(cache=True)
def _fill(values: Any, ones: Any, products: Any) -> None:
    num = len(values)
    chosen = np.zeros(6, dtype=np.int64)
    for size in range(2, _MOST_TOGGLES + 1):
        chosen[:size] = 0
        while True:
            one, more, every = np.int64(0), np.int64(0), np.int64(0xFFFF)
            for k in range(size):
                value = values[chosen[k]]
                more |= one & value
                one |= value
                every &= value
            _note(ones, _class_of(one & ~more), chosen, size)
            if size <= 4:
                _note(products, _class_of(every), chosen, size)
            place = size - 1
            while place >= 0 and chosen[place] == num - 1:
                place -= 1
            if place < 0:
                break
            chosen[place:size] = chosen[place] + 1


@njit(cache=True)
def _note(table: Any, index: Any, chosen: Any, size: int) -> None:
    if table[index, 5] < 0:
        table[index, :size] = chosen[:size]
        table[index, 5] = size


@njit(cache=True)
def _class_of(table: Any) -> Any:
    """The coefficients of degree two and more of a function's Reed-Muller form, packed."""
    word = np.int64(table)
    word ^= (word & 0x5555) << 1
    word ^= (word & 0x3333) << 2
    word ^= (word & 0x0F0F) << 4
    word ^= (word & 0x00FF) << 8
    index, place = np.int64(0), 0
    for x in range(16):
        if x & (x - 1):
            index |= (word >> x & 1) << place
            place += 1
    return index
