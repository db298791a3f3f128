"""Functions too large for exact one-level synthesis as ESPPs of few terms: all of a group's sinks share their stacks.

Everything is one level deep again, so no stack needs a buffer as long as the variables move together; where the
network as it stands, or the blocks' exact solutions, take fewer stacks with all their buffers, they stay.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from hdl2grid.base.rng import SplitMix64
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import ONE, Form, Network
from hdl2grid.synth.rewrite.covers import Sum, Terms, cover
from hdl2grid.synth.rewrite.pseudoproducts import CONSTANT, MOST_VARIABLES
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.split_products import split_pseudoproducts
from hdl2grid.synth.rewrite.trials import Context, Known, Listed, Trial, with_forms
from hdl2grid.synth.sinks import Problem

_CHECKS = 256
"""Random levels under which a sum is compared with its function."""
_MOST_ROUNDS = 6
"""Walks one after the other while each finds fewer terms (guessed)."""


def as_sums(problem: Problem, group: SinkGroup, context: Context) -> Iterator[Trial]:
    """The group's sinks as ESPPs, in two or three ways."""
    forms = [context.whole.sinks[i].form for i in group.sinks]
    for made in sums_of(context.whole.network, forms, context.params, context.known, group.is_cut):
        yield with_forms(dict(zip(group.sinks, made, strict=True)))


def sums_of(
    network: Network, forms: Sequence[Form], params: SynthParams, known: Known, is_cut: bool = False
) -> Iterator[list[Form]]:
    """The forms as ESPPs; none where they have too many variables."""
    signals = bits(network.support(forms))
    if len(signals) > MOST_VARIABLES:
        return
    key = _structure(network, forms), params.espp_steps, params.seed, is_cut
    if key not in known:
        known[key] = tuple(_sums(network, forms, signals, params, is_cut))
    for terms in known[key]:
        yield _placed(network, forms, signals, terms)


def _structure(network: Network, forms: Sequence[Form]) -> object:
    cone = network.cone(forms)
    return tuple((c, network.cells[c]) for c in cone), tuple(forms)


def _sums(
    network: Network, forms: Sequence[Form], signals: Sequence[int], params: SynthParams, may_part: bool = False
) -> Iterator[Listed]:
    """Sums for all forms at once: factors kept short, and as few terms as can be found; with `may_part` each form by
    itself as well."""
    place = {s: i for i, s in enumerate(signals)}
    covers: list[Sum] = []
    masks: dict[tuple[int, ...], int] = {}
    for t, form in enumerate(forms):
        terms = cover(network, form, place)
        if terms is None:
            return
        covers.append(terms)
        for flat in terms:
            masks[flat] = masks.get(flat, 0) ^ 1 << t
    start = Terms(len(masks))
    for flat, mask in sorted(masks.items(), key=lambda item: (len(item[0]), item)):
        start.add(flat, mask)
    narrow = start.copy()
    narrow.walk(params.espp_steps, params.seed, True)
    yield tuple(narrow.listed())
    if may_part and len(forms) > 1:
        yield _apart(covers, params)
    best = min((_widened(t, params) for t in (start, narrow)), key=lambda t: t.count)
    yield tuple(best.listed())


def _apart(covers: Sequence[Sum], params: SynthParams) -> Listed:
    """A sum for each function alone: terms that two have in common are one by chance only, and no sum is long for the
    sake of another. Only for parts of large logic: codes of a small machine that look good so wire badly."""
    masks: dict[tuple[int, ...], int] = {}
    for t, terms in enumerate(covers):
        own = Terms(len(terms))
        for flat in sorted(terms, key=lambda flat: (len(flat), flat)):
            own.add(flat, 1)
        own.walk(params.espp_steps // len(covers), params.seed, True)
        for flat, _ in own.listed():
            masks[flat] = masks.get(flat, 0) | 1 << t
    return tuple(sorted(masks.items(), key=lambda term: (len(term[0]), term)))


def _widened(terms: Terms, params: SynthParams) -> Terms:
    """Walks for as long as they find fewer terms, a few times at most."""
    wide = terms.copy()
    for number in range(_MOST_ROUNDS):
        before = wide.count
        wide.walk(params.espp_steps, params.seed + number, False)
        if wide.count == before and number:
            break
    return wide


def _placed(network: Network, forms: Sequence[Form], signals: Sequence[int], terms: Listed) -> list[Form]:
    """The terms as cells; forms that equal the given ones."""
    made = [0] * len(forms)
    parts = split_pseudoproducts((flat for flat, _ in terms), network.max_toggles)
    for flat, mask in terms:
        cell = network.product([_product(network, part, signals) for part in parts.get(flat, (flat,))])
        for t in bits(mask):
            made[t] ^= cell
    return _with_affine_part(network, forms, made, signals)


def _product(network: Network, flat: Sequence[int], signals: Sequence[int]) -> Form:
    factors = []
    for row in flat:
        factor = ONE ^ bool(row & CONSTANT)
        for i in bits(row & ~CONSTANT):
            factor ^= 1 << signals[i]
        factors.append(factor)
    return network.product(factors)


def _with_affine_part(network: Network, forms: Sequence[Form], made: list[Form], signals: Sequence[int]) -> list[Form]:
    """Adds the affine function that each sum lacks, read off at the origin and the unit vectors; then checks."""
    count = len(signals)
    rng = SplitMix64(count)
    ones = (1 << count + 1 + _CHECKS) - 1
    values = {s: 1 << i | rng.bits(_CHECKS) << count + 1 for i, s in enumerate(signals)}
    wanted = network.evaluate(forms, values, ones)
    for t, (target, got) in enumerate(zip(wanted, network.evaluate(made, values, ones), strict=True)):
        gap = target ^ got
        origin = gap >> count & 1
        affine = origin
        for i, s in enumerate(signals):
            if (gap >> i & 1) != origin:
                affine |= 1 << s
        made[t] ^= affine
    if network.evaluate(made, values, ones) != wanted:
        raise AssertionError("an exclusive sum differs from its function")
    return made
