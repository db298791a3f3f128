"""Long chains in two levels: look-ahead.

In a chain each cell reads the one before it: a comparison, a priority, a carry. Fed in one round each, its cells would
need a buffer for every input that waits. But a function of the next few inputs and of one signal h of the chain is
`a + b h`, where a and b read inputs only; and so is what comes after it, `a' + b' a + b' b h`. So a chain is cut into
segments, each with its own a and b, all of them one level deep; the second level has one product for each segment, of
the b of all segments after it. (A. Weinberger, J. Smith, "A logic for high-speed addition", 1958.)

An *expansion* is an exclusive sum of terms; a term is a flat of variables and some *hubs*. A hub is a function of
variables, or (where that does not do) any signal. Cells are multiplied out, fan-ins first; where a term would get too
wide, or the terms too many, the factors are *frozen*: flats beside the same hubs become one new hub.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.network import ONE, PRODUCT, ZERO, Form, Network
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.trials import Context, Trial, with_forms
from hdl2grid.synth.sinks import Problem

Flat = tuple[Form, ...]
"""Where these forms are all 0; rows reduced, ascending."""
Hubs = tuple[Form, ...]
"""Forms of which all are 1, ascending."""
Expansion = dict[tuple[Flat, Hubs], None]

_MOST_TERMS = 48
"""Terms of an expansion; above it factors are frozen (guessed)."""
_MOST_PAIRS = 4096
"""Pairs of terms multiplied at a time (guessed)."""
_DEEP = 4
"""Levels of cells from which a look-ahead is tried: fewer need few buffers (guessed)."""


def looked_ahead(problem: Problem, group: SinkGroup, context: Context) -> list[Trial]:
    """The group's forms in few levels, where they are in many."""
    network = context.whole.network
    forms = [context.whole.sinks[i].form for i in group.sinks]
    depth: dict[int, int] = {}
    for cell in network.cone(forms):
        read = [s for f in network.cells[cell].factors for s in bits(f & ~1)]
        depth[cell] = 1 + max((depth.get(s, 0) for s in read), default=0)
    if max(depth.values(), default=0) < _DEEP:
        return []
    made = look_ahead(network, forms, network.max_toggles)
    return [] if made is None else [with_forms(dict(zip(group.sinks, made, strict=True)))]


def look_ahead(network: Network, forms: Sequence[Form], width: int) -> list[Form] | None:
    """Forms that equal `forms`, in few levels; flats of variables have at most `width` factors. None where some cell is
    no product."""
    cells = network.cone(forms)
    if any(network.cells[c].kind != PRODUCT for c in cells):
        return None
    making = _LookAhead(network, min(width, network.max_toggles))
    for cell in cells:
        making.cells[cell] = making.multiplied([making.sum_of(f) for f in network.cells[cell].factors])
    return [making.placed(making.sum_of(form)) for form in forms]


class _LookAhead:
    def __init__(self, network: Network, width: int) -> None:
        self.network, self.width = network, width
        self.cells: dict[int, Expansion] = {}

    def sum_of(self, form: Form) -> Expansion:
        """A form's expansion, its affine part one flat of at most one row."""
        total: Expansion = {}
        affine = form & 1
        for s in bits(form & ~1):
            if s not in self.cells:
                affine ^= 1 << s
                continue
            for term in self.cells[s]:
                _add(total, term)
        return _tidied(total, affine)

    def multiplied(self, factors: list[Expansion]) -> Expansion:
        """The product of expansions; those that are too large for it are frozen, the widest first."""
        while True:
            found = self._product(factors)
            if found is not None:
                return found
            soft = [i for i, e in enumerate(factors) if any(len(flat) > 1 for flat, _ in e)]
            many = [i for i, e in enumerate(factors) if len(e) > 1]
            if soft:
                i = max(soft, key=lambda i: (max(len(flat) for flat, _ in factors[i]), -i))
                factors[i] = self._frozen(factors[i])
            elif many:
                i = max(many, key=lambda i: (len(factors[i]), -i))
                factors[i] = {((), (self.placed(factors[i]),)): None}
            else:  # variables and hubs, more than a term holds
                half = len(factors) // 2
                low, high = (self.placed(self._term(part)) for part in (factors[:half], factors[half:]))
                return {((), tuple(sorted({low, high}))): None}

    def _product(self, factors: Sequence[Expansion]) -> Expansion | None:
        total: Expansion = {((), ()): None}
        for factor in sorted(factors, key=len):
            if len(total) * len(factor) > _MOST_PAIRS:
                return None
            grown: Expansion = {}
            for (flat, hubs), (other, more) in product(total, factor):
                both = _meet(flat, other)
                if both is not None:
                    _add(grown, (both, tuple(sorted({*hubs, *more}))))
            total = _tidied(grown, 0)
            wide = any(len(flat) > self.width or len(hubs) >= self.network.max_toggles for flat, hubs in total)
            if wide or len(total) > _MOST_TERMS:
                return None
        return total

    def _term(self, factors: Sequence[Expansion]) -> Expansion:
        """The product of expansions of one term each, however wide."""
        forms = [self.placed(factor) for factor in factors]
        return {((), tuple(sorted(set(forms)))): None}

    def _frozen(self, terms: Expansion) -> Expansion:
        """The flats beside the same hubs as one hub more."""
        found: Expansion = {}
        for hubs, form in self._by_hubs(terms).items():
            if form != ZERO:
                _add(found, ((), hubs if form == ONE else tuple(sorted({*hubs, form}))))
        return found

    def _by_hubs(self, terms: Expansion) -> dict[Hubs, Form]:
        sums: dict[Hubs, Form] = {}
        for flat, hubs in terms:
            sums[hubs] = sums.get(hubs, ZERO) ^ self.network.product([row ^ 1 for row in flat])
        return sums

    def placed(self, terms: Expansion) -> Form:
        """The form of an expansion: a product for all flats beside the same hubs."""
        total = ZERO
        for hubs, form in self._by_hubs(terms).items():
            total ^= self.network.product([form, *hubs]) if hubs else form
        return total


def _add(terms: Expansion, term: tuple[Flat, Hubs]) -> None:
    if term in terms:
        del terms[term]
    else:
        terms[term] = None


def _tidied(terms: Expansion, affine: Form) -> Expansion:
    """The terms and an affine form; flats of at most one row beside the same hubs made one."""
    sums: dict[Hubs, Form] = {(): affine}
    found: Expansion = {}
    for flat, hubs in terms:
        if len(flat) > 1:
            found[flat, hubs] = None
        else:
            sums[hubs] = sums.get(hubs, ZERO) ^ (flat[0] ^ 1 if flat else ONE)
    for hubs, form in sums.items():
        if form != ZERO:
            found[() if form == ONE else (form ^ 1,), hubs] = None
    return found


def _meet(a: Flat, b: Flat) -> Flat | None:
    """Where both flats are; None where that is nowhere."""
    space = Basis(ignore=1)
    for row in (*a, *b):
        residue = space.reduce(row)
        if residue == 1:
            return None
        space.add(residue)
    return space.sorted_rows()
