"""Functions of many variables: wide products share their parts, and sinks that read other variables are apart."""

from __future__ import annotations

import pytest
from support.loaded import check, loaded

from hdl2grid.logic.model import Logic
from hdl2grid.logic.xag import XagBuilder
from hdl2grid.synth.rewrite.sink_groups import groups_of_sinks
from hdl2grid.synth.rewrite.split_products import split_pseudoproducts
from hdl2grid.synth.sinks import Problem, build

CONSTANT = 1 << 63


def one_hot(count: int, k: int) -> tuple[int, ...]:
    """Bit k is 1 and the others are 0; and a row that all have."""
    return tuple(1 << i | (CONSTANT if i == k else 0) for i in range(count)) + (1 << count,)


def stacks_of(parts: dict[tuple[int, ...], tuple[tuple[int, ...], ...]]) -> int:
    return len({(p[0] & ~CONSTANT,) if len(p) == 1 else p for cut in parts.values() for p in cut})


@pytest.mark.parametrize("count", (13, 17, 20, 23))
def test_parts_are_the_whole_and_fit(count: int) -> None:
    flats = [one_hot(count, k) for k in range(count)]
    parts = split_pseudoproducts([*flats, one_hot(4, 1)], 12)
    assert set(parts) == set(flats)
    for flat, cut in parts.items():
        assert sorted(row for part in cut for row in part) == sorted(flat)
        assert all(1 <= len(part) <= 12 for part in cut)
    assert stacks_of(parts) <= count + 3  # two stacks a flat in pieces of their own


def test_a_part_of_one_factor_serves_either_constant() -> None:
    common = tuple(1 << i for i in range(16))
    extra = (1 << 40, 1 << 41)
    flats = [(*common, 1 << 20 + k, *(extra if flip else ())) for k in range(8) for flip in (0, 1)]
    flats = [tuple(row ^ (CONSTANT if len(f) > 17 and row == f[16] else 0) for row in f) for f in flats]
    assert stacks_of(split_pseudoproducts(flats, 12)) == 2 + 1 + 8  # the sixteen, the two, and each single row once


def test_a_ring_of_states_that_may_stand_wrong() -> None:
    """States one-hot, decoded in full: next is `go ? (only the bit before is 1) : itself`. Per bit a product that
    holds, a wide one and a part of it; five parts for all."""
    count = 17
    names = [f"s{i}" for i in range(count)] + ["go", "on"]

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        found = []
        for k in range(count):
            before = b.and_all([v[f"s{i}"] ^ (i != (k - 1) % count) for i in range(count)])
            found.append(b.and_(v["on"], b.mux(v["go"], before, v[f"s{k}"])))
        return found

    check(loaded("ring", names, build), 3 * count + 5)


def test_a_read_port_of_eight_words() -> None:
    """Each bit is a choice among eight, a product each; the bits share only the address."""
    names = [f"w{k}{i}" for k in range(8) for i in range(8)] + ["a", "b", "c"]

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        def choice(low: str, others: tuple[str, ...], words: list[str]) -> int:
            if len(words) == 1:
                return v[words[0]]
            rest = others[1:]
            half = [choice(others[0] if others else "", rest, words[side::2]) for side in (0, 1)]
            return b.mux(v[low], half[1], half[0])

        return [choice("a", ("b", "c"), [f"w{k}{i}" for k in range(8)]) for i in range(8)]

    logic = loaded("port", names, build)
    problem = build_problem(logic)
    groups = list(groups_of_sinks(problem))
    assert all(g.is_cut for g in groups)
    assert sorted(i for g in groups for i in g.sinks) == [
        i for i, s in enumerate(problem.sinks) if problem.network.cone([s.form])
    ]
    check(logic, 8 * 8)


def build_problem(logic: Logic) -> Problem:
    return build(logic, frozenset(), [], 12)
