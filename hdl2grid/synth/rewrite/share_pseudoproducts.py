"""Functions too large for exact one-level synthesis as few flats: all of a group's sinks share their stacks.

Everything is one level deep again, so no stack needs a buffer as long as the variables move together; where the
network as it stands, or the blocks' exact solutions, take fewer stacks with all their buffers, they stay.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import ONE, Form, Network
from hdl2grid.synth.rewrite.covers import TABLE_VARIABLES, Sum, Terms, cover, table_variable
from hdl2grid.synth.rewrite.decision_lists import decision_lists
from hdl2grid.synth.rewrite.hubs import hub_forms
from hdl2grid.synth.rewrite.lookahead import look_ahead
from hdl2grid.synth.rewrite.pseudoproducts import MOST_VARIABLES
from hdl2grid.synth.rewrite.recover_structure import recovered
from hdl2grid.synth.rewrite.sink_groups import FlatGroup, alone, flat_groups
from hdl2grid.synth.rewrite.split_products import split_flats
from hdl2grid.synth.sinks import Problem

Cost = Callable[[Problem], int]
Listed = tuple[tuple[tuple[int, ...], int], ...]
Known = dict[object, tuple[Listed, ...]]

_CHECKS = 256
_MOST_ROUNDS = 6
_MOST_SINGLES = 16
_HUB_SHARE = 20
_DEEP = 4


def share_flats(
    problem: Problem,
    whole: Problem,
    others: Sequence[Problem],
    cost: Cost,
    params: SynthParams,
    known: Known,
    hubs: bool = False,
    structure: bool = True,
) -> Problem:
    """`problem` with the sinks of each group mapped anew as exclusive sums of flats, where `cost` gets less.

    `whole` is the problem before its blocks were mapped: the functions are taken from there, and a block's
    solution may also be given up for the network as it was. `others` are the same sinks in other networks of cells
    (the same `Network`), which are tried as well. `known` keeps sums. With `hubs`, cells that many others read are
    also mapped on their own (see `hubs.py`); with `structure`, structure is looked for in tables. Groups that were cut
    from larger ones are looked at without the rest.
    """
    best, least = problem, cost(problem)
    groups = list(flat_groups(whole))
    params = replace(params, flat_steps=params.flat_steps // max(1, len(groups)))
    for group in groups:
        if _is_least(best, group.sinks):
            continue
        found = _mapped_anew(best, whole, others, group, cost, params, known, hubs, structure)
        if found != best and (price := cost(found)) < least:
            best, least = found, price
    return best


def _mapped_anew(
    best: Problem,
    whole: Problem,
    others: Sequence[Problem],
    group: FlatGroup,
    cost: Cost,
    params: SynthParams,
    known: Known,
    hubs: bool,
    structure: bool,
) -> Problem:
    """`best` with the group's sinks in the cheapest of all ways."""
    sinks = group.sinks
    least = cost(alone(best, group))
    plain = [[p.sinks[i].form for i in sinks] for p in (whole, *others)]
    structures = _structured(whole, sinks) if structure else []
    plain += [[found.get(i, whole.sinks[i].form) for i in sinks] for found in structures]
    if hubs:
        plain += [f for p in (whole, *others) for f in _with_hubs(p, sinks, params, known)]
    ahead = _looked_ahead(whole, sinks)
    plain += [] if ahead is None else [ahead]
    for forms in [*plain, *_flat_forms(whole, group, params, known)]:
        trial = _with_forms(best, sinks, forms)
        price = cost(alone(trial, group))
        if price < least:
            best, least = trial, price
    lists = decision_lists(whole.network, [whole.sinks[i].form for i in sinks])
    if lists:
        trial = _with_forms(best, [sinks[k] for k in lists], list(lists.values()))
        price = cost(alone(trial, group))
        if price < least:
            best, least = trial, price
    for found in structures:
        for i in found if len(found) <= _MOST_SINGLES else ():
            trial = _with_forms(best, [i], [found[i]])
            if trial != best and (price := cost(alone(trial, group))) < least:
                best, least = trial, price
    return best


def _looked_ahead(whole: Problem, group: Sequence[int]) -> list[Form] | None:
    """The group's forms in few levels, where they are in many."""
    network = whole.network
    forms = [whole.sinks[i].form for i in group]
    depth: dict[int, int] = {}
    for cell in network.cone(forms):
        read = [s for f in network.cells[cell].factors for s in bits(f & ~1)]
        depth[cell] = 1 + max((depth.get(s, 0) for s in read), default=0)
    if max(depth.values(), default=0) < _DEEP:
        return None
    return look_ahead(network, forms, network.max_toggles)


def _with_forms(problem: Problem, group: Sequence[int], forms: Sequence[Form]) -> Problem:
    sinks = list(problem.sinks)
    for i, form in zip(group, forms, strict=True):
        sinks[i] = replace(sinks[i], form=form)
    return replace(problem, sinks=tuple(sinks))


def _with_hubs(whole: Problem, group: Sequence[int], params: SynthParams, known: Known) -> Iterator[list[Form]]:
    """The group's forms with the cells that many others read made anew."""
    fewer = replace(params, flat_steps=params.flat_steps // _HUB_SHARE)

    def ways(network: Network, form: Form) -> list[Form]:
        signals = bits(network.support([form]))
        if len(signals) > MOST_VARIABLES:
            return []
        key = _structure(network, [form]), fewer.flat_steps, fewer.seed
        if key not in known:
            known[key] = tuple(_sums(network, [form], signals, fewer))
        made = [_placed(network, [form], signals, terms)[0] for terms in known[key]]
        structured = recovered(network, form)
        return made if structured is None else [*made, structured]

    yield from hub_forms(whole.network, [whole.sinks[i].form for i in group], ways)


def _structured(whole: Problem, group: Sequence[int]) -> list[dict[int, Form]]:
    """Forms for the sinks of a group in whose functions structure was found: one or two ways."""
    ways: list[dict[int, Form]] = []
    for loose in (True, False):
        found: dict[int, Form] = {}
        for i in group:
            form = recovered(whole.network, whole.sinks[i].form, loose)
            if form is not None and form != whole.sinks[i].form:
                found[i] = form
        if found and found not in ways:
            ways.append(found)
    return ways


def _is_least(problem: Problem, group: Sequence[int]) -> bool:
    """True where one level of cells takes no more than the dimension of what the group wants beyond affine."""
    network = problem.network
    forms = [problem.sinks[i].form for i in group]
    cells = network.cone(forms)
    if any(network.is_cell(s) for c in cells for f in network.cells[c].factors for s in bits(f)):
        return False
    signals = bits(network.support(forms))
    if len(signals) > TABLE_VARIABLES:
        return False
    ones = (1 << (1 << len(signals))) - 1
    values = {s: table_variable(i, len(signals)) for i, s in enumerate(signals)}
    affine = Basis([ones, *values.values()])
    vectors = network.evaluate(forms, values, ones)
    return len(cells) <= len(Basis(affine.reduce(v) for v in vectors))


def _flat_forms(whole: Problem, group: FlatGroup, params: SynthParams, known: Known) -> Iterator[list[Form]]:
    network = whole.network
    forms = [whole.sinks[i].form for i in group.sinks]
    signals = bits(network.support(forms))
    if len(signals) > MOST_VARIABLES:
        return
    key = _structure(network, forms), params.flat_steps, params.seed, group.is_cut
    if key not in known:
        known[key] = tuple(_sums(network, forms, signals, params, group.is_cut))
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
    narrow.walk(params.flat_steps, params.seed, True)
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
        own.walk(params.flat_steps // len(covers), params.seed, True)
        for flat, _ in own.listed():
            masks[flat] = masks.get(flat, 0) | 1 << t
    return tuple(sorted(masks.items(), key=lambda term: (len(term[0]), term)))


def _widened(terms: Terms, params: SynthParams) -> Terms:
    """Walks for as long as they find fewer terms, a few times at most."""
    wide = terms.copy()
    for number in range(_MOST_ROUNDS):
        before = wide.count
        wide.walk(params.flat_steps, params.seed + number, False)
        if wide.count == before and number:
            break
    return wide


def _placed(network: Network, forms: Sequence[Form], signals: Sequence[int], terms: Listed) -> list[Form]:
    """The terms as cells; forms that equal the given ones."""
    made = [0] * len(forms)
    parts = split_flats((flat for flat, _ in terms), network.max_toggles)
    for flat, mask in terms:
        cell = network.product([_product(network, part, signals) for part in parts.get(flat, (flat,))])
        for t in bits(mask):
            made[t] ^= cell
    return _with_affine_part(network, forms, made, signals)


def _product(network: Network, flat: Sequence[int], signals: Sequence[int]) -> Form:
    factors = []
    for row in flat:
        factor = ONE ^ (row >> 63)
        for i in bits(row & ~(1 << 63)):
            factor ^= 1 << signals[i]
        factors.append(factor)
    return network.product(factors)


def _with_affine_part(network: Network, forms: Sequence[Form], made: list[Form], signals: Sequence[int]) -> list[Form]:
    """Adds the affine function that each sum lacks, read off at the origin and the unit vectors; then checks."""
    count = len(signals)
    rng = random.Random(count)
    ones = (1 << count + 1 + _CHECKS) - 1
    values = {s: 1 << i | rng.getrandbits(_CHECKS) << count + 1 for i, s in enumerate(signals)}
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
