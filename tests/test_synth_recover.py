"""Structure found again in tables: counts, carries, comparisons; figures from the literature as bounds."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest

from hdl2grid.synth.network import ONE, Form, Network
from hdl2grid.synth.rewrite.covers import _expand, table_variable
from hdl2grid.synth.rewrite.recover_structure import recovered
from hdl2grid.synth.rewrite.symmetric import count_bits


def number(word: tuple[int, ...]) -> int:
    return sum(bit << i for i, bit in enumerate(word))


def flat(network: Network, count: int, function: Callable[..., int]) -> tuple[Form, int]:
    """A function as an exclusive sum of cubes over signals 1 .. count, and its table."""
    table = sum(int(function(*(x >> i & 1 for i in range(count)))) << x for x in range(1 << count))
    form = 0
    for cube in _expand(table, count, {}):
        form ^= network.product([1 << v + 1 ^ (0 if bit else 1) for v, bit in cube]) if cube else ONE
    return form, table


# What a count of n literals takes: n less the ones of n in binary (J. Boyar, R. Peralta, "Tight bounds for the
# multiplicative complexity of symmetric functions", 2008); a carry and a step of a comparison take one each.
CASES: tuple[tuple[str, int, Callable[..., int], int], ...] = (
    ("majority of 7", 7, lambda *x: sum(x) >= 4, 4),
    ("9sym", 9, lambda *x: 3 <= sum(x) <= 6, 7),
    ("symmetric, 10", 10, lambda *x: sum(x) in (2, 5, 6, 9), 10),
    ("symmetric, 6", 6, lambda *x: sum(x) in (2, 5), 5),
    ("one of 8", 8, lambda *x: sum(x) == 1, 1),
    ("at most one of 10", 10, lambda *x: sum(x) <= 1, 1),
    ("inverted inputs", 5, lambda *x: x[0] + (1 - x[1]) + x[2] + (1 - x[3]) + x[4] >= 3, 4),
    ("less", 12, lambda *x: number(x[:6]) < number(x[6:]), 6),
    ("at most, interleaved", 12, lambda *x: number(x[::2]) <= number(x[1::2]), 6),
    ("equal", 12, lambda *x: number(x[:6]) == number(x[6:]), 1),
    ("sum bit", 10, lambda *x: number(x[:5]) + number(x[5:]) >> 4 & 1, 4),
    ("carry", 10, lambda *x: number(x[:5]) + number(x[5:]) >> 5, 5),
    ("parity and carry", 9, lambda *x: sum(x) & 1 ^ x[0] & x[1], 1),
    ("one of four", 6, lambda *x: x[2 + number(x[:2])], 3),
    ("one of eight", 11, lambda *x: x[3 + number(x[:3])], 7),
)


@pytest.mark.parametrize(("count", "function", "most"), [c[1:] for c in CASES], ids=[c[0] for c in CASES])
def test_structure_is_found(count: int, function: Callable[..., int], most: int) -> None:
    network = Network(count, 12)
    form, table = flat(network, count, function)
    found = recovered(network, form)
    assert found is not None
    values = {i + 1: table_variable(i, count) for i in range(count)}
    assert network.evaluate([found], values, (1 << (1 << count)) - 1) == [table]
    assert len(network.cone([found])) <= most


def test_what_is_found_is_equal_for_random_functions() -> None:
    rng = random.Random(5)
    for count in (2, 3, 4, 5, 6):
        for _ in range(6):
            network = Network(count, 12)
            table = [rng.randint(0, 1) for _ in range(1 << count)]
            form, value = flat(network, count, lambda *x, table=table: table[number(x)])
            found = recovered(network, form)
            values = {i + 1: table_variable(i, count) for i in range(count)}
            if found is None:
                assert not network.support([form])
            else:
                assert network.evaluate([found], values, (1 << (1 << count)) - 1) == [value]


def test_counts_take_as_many_stacks_as_published() -> None:
    for count in range(1, 13):
        network = Network(count, 12)
        words = count_bits(network, [1 << i + 1 for i in range(count)])
        values = {i + 1: table_variable(i, count) for i in range(count)}
        found = network.evaluate(words, values, (1 << (1 << count)) - 1)
        for x in range(1 << count):
            assert sum((f >> x & 1) << b for b, f in enumerate(found)) == x.bit_count()
        assert len(network.cone(words)) == count - count.bit_count()
