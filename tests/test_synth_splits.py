"""Functions of many variables: wide products share their parts, and sinks that read other variables are apart."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest
from synth_support import compare, sources_of, walk

from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import XagBuilder
from hdl2grid.partition import share_nets
from hdl2grid.synth.flatgroups import flat_groups
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.sinks import Problem, build
from hdl2grid.synth.splits import split_flats
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazards import find_hazards

sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))
from equivalence import circuit_functions, same_functions, source_functions

CONSTANT = 1 << 63
QUICK = SynthParams(keep_codes=True, search_steps=2000, flat_steps=200_000)


def one_hot(count: int, k: int) -> tuple[int, ...]:
    """Bit k is 1 and the others are 0; and a row that all have."""
    return tuple(1 << i | (CONSTANT if i == k else 0) for i in range(count)) + (1 << count,)


def stacks_of(parts: dict[tuple[int, ...], tuple[tuple[int, ...], ...]]) -> int:
    return len({(p[0] & ~CONSTANT,) if len(p) == 1 else p for cut in parts.values() for p in cut})


@pytest.mark.parametrize("count", (13, 17, 20, 23))
def test_parts_are_the_whole_and_fit(count: int) -> None:
    flats = [one_hot(count, k) for k in range(count)]
    parts = split_flats([*flats, one_hot(4, 1)], 12)
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
    assert stacks_of(split_flats(flats, 12)) == 2 + 1 + 8  # the sixteen, the two, and each single row once


def loaded(name: str, names: list[str], function: object) -> Logic:
    """A function of registers that a tick loads from switches."""
    b = XagBuilder()
    q = [b.variable(f"r_{n}") for n in names]
    x = [b.variable(n) for n in names]
    outs = function(b, dict(zip(names, q, strict=True)))  # type: ignore[operator]
    bits = tuple(RegisterBit(f"r_{n}", r, s, 0, "tick", False) for n, r, s in zip(names, q, x, strict=True))
    switches = tuple(InputBit(n, s, 0) for n, s in zip(names, x, strict=True))
    shown = tuple(OutputBit(f"y{i}", y) for i, y in enumerate(outs))
    return Logic(name, b.freeze(), ("tick",), False, switches, bits, shown)


def check(logic: Logic, most: int) -> None:
    made = synthesise(logic, sources_of(logic), QUICK)
    assert made.report.stacks - made.report.registers <= most
    assert find_hazards(made.circuit).is_safe_by_structure
    assert not share_nets(made.circuit, quick=True).crowded
    assert same_functions(source_functions(logic), circuit_functions(logic, made.circuit), logic)
    compare(logic, made.circuit, walk(logic, 200, 1))


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
    groups = list(flat_groups(problem))
    assert all(g.is_cut for g in groups)
    assert sorted(i for g in groups for i in g.sinks) == [
        i for i, s in enumerate(problem.sinks) if problem.network.cone([s.form])
    ]
    check(logic, 8 * 8)


def build_problem(logic: Logic) -> Problem:
    return build(logic, frozenset(), [], 12)
