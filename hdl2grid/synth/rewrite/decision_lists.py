"""Decision lists: priorities, comparisons with a constant, tests of ranges; in two levels.

A *decision list* asks literals one after the other, and the first that is 1 decides (R. Rivest, "Learning decision
lists", Machine Learning 2, 1987). With N_k the product that is 1 where the first k literals are 0, it is the exclusive
or of those N_k after which the decision changes. All N_k of all lists are made of the same segments: the literals are
put in one order, those that stand in most products first, and cut into segments as wide as a stack. What products have
in a segment is one stack, a level deep; products that differ in one segment only are added up there, and one stack of
the second level has the sum and the other segments.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from hdl2grid.base.rng import SplitMix64
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import ONE, PRODUCT, ZERO, Form, Network
from hdl2grid.synth.rewrite.equivalence import difference
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.trials import Context, Trial, with_forms
from hdl2grid.synth.sinks import Problem

Literals = frozenset[Form]
"""Forms of one variable and, maybe, the constant; the product is of all of them."""

Deciding = tuple[list[tuple[int, int]], int]
"""Literals (variable, value) that each decide alone; the decision."""

_LEAST_VARIABLES = 13
"""Functions of fewer variables fit one stack of 12 toggles a product, one level deep."""
_MOST_CHOICES = 7
"""Variables that choose between lists (guessed)."""
_QUARTER = 64
"""Levels simulated of each of the four kinds of `_pattern`; a multiple of 8 (guessed)."""
_MOST_TRIES = 12
"""Times that a list is looked for again with the levels that showed it wrong (guessed)."""


def as_decision_lists(problem: Problem, group: SinkGroup, context: Context) -> list[Trial]:
    """Those of the group's sinks that are decision lists, as such."""
    lists = decision_lists(context.whole.network, [context.whole.sinks[i].form for i in group.sinks])
    return [with_forms({group.sinks[k]: form for k, form in lists.items()})] if lists else []


def decision_lists(network: Network, forms: Sequence[Form]) -> dict[int, Form]:
    """Of the forms (by place) those that are decision lists of many variables, made anew."""
    if any(network.cells[c].kind != PRODUCT for c in network.cone(forms)):
        return {}
    found = {}
    for i, form in enumerate(forms):
        if network.support([form]).bit_count() >= _LEAST_VARIABLES:
            terms = _proved_terms(network, form)
            if terms is not None:
                found[i] = terms
    segments = _segments([p for terms in found.values() for p in terms], network.max_toggles)
    return {i: _placed(network, terms, segments) for i, terms in found.items()}


def _proved_terms(network: Network, form: Form) -> list[Literals] | None:
    """The products whose exclusive or is proved to be the form; None where none were found. Where what simulation says
    is wrong, levels that show it, and such as are like them, are simulated too."""
    free = bits(network.support([form]))
    rng = SplitMix64(len(free))
    samples = _Samples(4 * _QUARTER, {s: _pattern(rng) for s in free})
    for _ in range(_MOST_TRIES):
        terms = _terms(network, form, samples)
        if terms is None:
            return None
        made = _placed(network, terms, _segments(terms, network.max_toggles))
        different = difference(network, form, made)
        if different is None:
            return None
        if not different:
            return terms
        samples = samples.with_like(different, rng)
    return None


@dataclass(frozen=True)
class _Samples:
    """`count` (a multiple of 8) levels of each variable, as bits."""

    count: int
    of: dict[int, int]

    def with_like(self, levels: dict[int, int], rng: SplitMix64) -> _Samples:
        """With levels as given, and with those of all variables below or above some place, or of a few, changed."""
        free = list(self.of)
        more = dict.fromkeys(free, 0)
        for k in range(_QUARTER):
            place, kind = rng.below(len(free)), k % 3
            few = [rng.below(len(free)) for _ in range(2)]
            for i, s in enumerate(free):
                changed = i < place if kind == 0 else i > place if kind == 1 else i in few
                bit = levels[s] ^ (rng.bits(1) if changed and k else 0)
                more[s] |= bit << k
        return _Samples(self.count + _QUARTER, {s: self.of[s] | more[s] << self.count for s in free})


def _terms(network: Network, form: Form, samples: _Samples) -> list[Literals] | None:
    """The products whose exclusive or is the form, if it is a decision list, or a choice among a few: those after which
    its decision changes. By simulation: what is found is likely, no more."""
    free = list(samples.of)
    todo: list[dict[int, int]] = [{}]
    terms: list[Literals] = []
    chosen = 0

    def deciding(known: dict[int, int]) -> Deciding | None:
        return _deciding(network, form, [s for s in free if s not in known], known, samples)

    while todo:
        known = todo.pop()
        before = 0
        while True:
            found = deciding(known)
            value = 0 if found is None else found[1]
            if value != before:
                terms.append(frozenset(1 << s | 1 ^ bit for s, bit in known.items()))
            before = value
            if found is None or not found[0]:
                break
            known |= {s: 1 ^ bit for s, bit in found[0]}
        if found is None:
            between = next((s for s in free if s not in known and all(deciding({**known, s: b}) for b in (0, 1))), None)
            chosen += 1
            if between is None or chosen > _MOST_CHOICES:
                return None
            todo += [{**known, between: bit} for bit in (0, 1)]
    return terms


def _pattern(rng: SplitMix64) -> int:
    """Levels of a variable: a quarter each where it is 1 half of the time, rarely, nearly always, and hardly ever."""
    words = [rng.bits(_QUARTER) for _ in range(9)]
    rare, hardly = words[1] & words[2] & words[3], words[4] & words[5] & words[6] & words[7] & words[8]
    often = ~(words[2] & words[4] & words[7]) & (1 << _QUARTER) - 1
    return words[0] | rare << _QUARTER | often << 2 * _QUARTER | hardly << 3 * _QUARTER


def _deciding(
    network: Network, form: Form, free: Sequence[int], known: dict[int, int], samples: _Samples
) -> Deciding | None:
    """The literals (variable, value) each of which alone makes the form constant, all of them the same value, and that
    value; none of them where it is constant already. None where no literal does.

    All are simulated at once, each in a block of bits: block 2 i with `free[i]` = 0, block 2 i + 1 with `free[i]` = 1,
    and the last block with nothing but what is known.
    """
    size = samples.count
    block = (1 << size) - 1
    count = 2 * len(free) + 1
    ones = (1 << size * count) - 1
    every = ones // block
    values = {s: ones if bit else 0 for s, bit in known.items()}
    for i, s in enumerate(free):
        apart = block << size * 2 * i | block << size * (2 * i + 1)
        values[s] = samples.of[s] * every & ~apart | block << size * (2 * i + 1)
    result = network.evaluate([form], values, ones)[0].to_bytes(size * count // 8, "little")
    step = size // 8
    blocks = [result[k * step : (k + 1) * step] for k in range(count)]
    zero, one = bytes(step), block.to_bytes(step, "little")
    if blocks[-1] in (zero, one):
        return [], int(blocks[-1] == one)
    for value, wanted in ((0, zero), (1, one)):
        literals = [(s, bit) for i, s in enumerate(free) for bit in (0, 1) if blocks[2 * i + bit] == wanted]
        if literals:
            return literals, value
    return None


def _segments(products: Sequence[Literals], width: int) -> dict[Form, int]:
    """The segment of each literal."""
    counts = Counter(literal for p in dict.fromkeys(products) for literal in p)
    order = sorted(counts, key=lambda literal: (-counts[literal], literal))
    return {literal: place // width for place, literal in enumerate(order)}


def _placed(network: Network, terms: Sequence[Literals], segments: dict[Form, int]) -> Form:
    """The exclusive or of products, each cut at the segments; those that differ in their last segment only are one."""
    sums: dict[tuple[Form, ...], Form] = {}
    for product in terms:
        parts: dict[int, list[Form]] = {}
        for literal in sorted(product):
            parts.setdefault(segments[literal], []).append(literal)
        made = tuple(network.product(parts[k]) for k in sorted(parts)) or (ONE,)
        sums[made[:-1]] = sums.get(made[:-1], ZERO) ^ made[-1]
    total = ZERO
    for full, form in sums.items():
        total ^= network.product([*full, form]) if full else form
    return total
