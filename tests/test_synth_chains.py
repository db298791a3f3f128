"""Chains in few levels: decision lists, choices among them, and look-ahead."""

from __future__ import annotations

import random

import pytest
from support.loaded import check, loaded

from hdl2grid.logic.xag import XagBuilder
from hdl2grid.synth.network import Form, Network
from hdl2grid.synth.rewrite.decision_lists import decision_lists
from hdl2grid.synth.rewrite.equivalence import difference
from hdl2grid.synth.rewrite.lookahead import look_ahead


def chain(network: Network, count: int, seed: int) -> Form:
    """A chain of ANDs and ORs, each with one more variable."""
    rng = random.Random(seed)
    form = 2
    for s in range(2, count + 1):
        literal = 1 << s | rng.getrandbits(1)
        form = network.product([form ^ 1, literal]) ^ 1 if rng.random() < 0.5 else network.product([form, literal])
    return form


@pytest.mark.parametrize("seed", range(6))
def test_chains_are_lists_and_stay_the_same_functions(seed: int) -> None:
    network = Network(40, 12)
    forms = [chain(network, 40, seed), chain(network, 30, seed + 100)]
    for made in (decision_lists(network, forms), dict(enumerate(look_ahead(network, forms, 12) or []))):
        assert sorted(made) == [0, 1]
        assert all(difference(network, forms[i], form) == {} for i, form in made.items())
        assert all(depth(network, form) <= 2 for form in made.values())


def depth(network: Network, form: Form) -> int:
    at: dict[int, int] = {}
    for cell in network.cone([form]):
        read = [s for s in at if any(f >> s & 1 for f in network.cells[cell].factors)]
        at[cell] = 1 + max((at[s] for s in read), default=0)
    return max(at.values(), default=0)


def test_what_is_no_list_is_none() -> None:
    network = Network(16, 12)
    majorities = [
        network.product([1 << s, 1 << s + 1]) ^ network.product([1 << s + 1, 1 << s + 2]) for s in (1, 4, 7, 10)
    ]
    parity = 0
    for form in majorities:
        parity ^= form
    assert decision_lists(network, [parity ^ 1 << 14]) == {}


def test_different_forms_are_told_by_levels() -> None:
    network = Network(6, 12)
    one, other = network.product([2, 4, 8]), network.product([2, 4, 8 ^ 1])
    levels = difference(network, one, other)
    assert levels is not None and levels[1] == levels[2] == 1
    assert difference(network, one ^ other, network.product([2, 4])) == {}


def test_a_priority_of_forty() -> None:
    """The number of the highest input that is 1: every prefix once, and a few sums of segments for each bit."""
    names = [f"a{i}" for i in range(40)]

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        number = [0] * 6
        for i in range(40):
            number = [b.mux(v[f"a{i}"], i >> k & 1, n) for k, n in enumerate(number)]
        return number

    check(loaded("priority", names, build), 60)


def test_a_range_of_numbers() -> None:
    """Whether 24 bits are at least one constant and at most another: two comparisons that share their first bits."""
    low, high = 0x1A2B3C, 0x1F0055
    names = [f"x{i}" for i in range(24)]

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        at_least, at_most = 1, 1
        for i in range(24):
            x = v[f"x{i}"]
            at_least = b.and_(x, at_least) if low >> i & 1 else b.or_(x, at_least)
            at_most = b.or_(x ^ 1, at_most) if high >> i & 1 else b.and_(x ^ 1, at_most)
        return [b.and_(at_least, at_most)]

    check(loaded("range", names, build), 40)


def test_products_of_more_factors_than_a_flat_has_rows() -> None:
    """As of a long counter's carries. No random levels show a lack of one."""
    names = [f"x{i}" for i in range(40)]

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        carries = [b.and_all([v[n] for n in names[:k]]) for k in range(2, 40)]
        return [b.xor(v[names[-1]], carry) for carry in carries]

    check(loaded("carries", names, build), 42)
