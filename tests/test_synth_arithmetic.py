"""Arithmetic: few stacks, equal to its source, and no pulse lost. Machines of benchmarks/arithmetic.py."""

from __future__ import annotations

import sys
from itertools import product
from pathlib import Path

import pytest
from synth_support import compare, sources_of, walk

sys.path.insert(0, str(Path(__file__).parent.parent / "benchmarks"))

import arithmetic

from hdl2grid.synth.levels import LevelProgram
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import EXACTLY_ONE, Network
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards

QUICK = SynthParams(search_steps=2000, flat_steps=100_000)


@pytest.mark.parametrize("kind", arithmetic.KINDS, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("width", [1, 2, 5])
def test_every_kind_keeps_time(kind: object, width: int) -> None:
    logic = kind(width)  # type: ignore[operator]
    made = synthesise(logic, sources_of(logic), QUICK)
    compare(logic, made.circuit, walk(logic, 400, width))
    assert all(verdict.is_safe for verdict in prove_hazards(made.circuit))


@pytest.mark.parametrize(
    ("kind", "width", "most"),
    [
        # A carry is one stack a bit (Boyar, Peralta: one AND a bit, the first two bits need none or one), and
        # the strobe of each bit but the first two comes one buffer later.
        (arithmetic.accumulator, 12, 11 + 10),
        (arithmetic.accumulator, 16, 15 + 14),
        (arithmetic.subtract_from, 16, 15 + 14),
        (arithmetic.adder, 12, 12 + 11),
    ],
)
def test_long_carries_take_two_stacks_a_bit(kind: object, width: int, most: int) -> None:
    logic = kind(width)  # type: ignore[operator]
    made = synthesise(logic, sources_of(logic), QUICK)
    report = made.report
    assert report.stacks - report.registers - report.resets <= most
    compare(logic, made.circuit, walk(logic, 400, width))
    assert all(verdict.is_safe for verdict in prove_hazards(made.circuit))


def test_a_majority_is_one_stack() -> None:
    network = Network(3, 12)
    form = network.majority(2, 4, 8)
    assert [cell.kind for cell in network.cells.values()] == [EXACTLY_ONE]
    values = {1: 0b10101010, 2: 0b11001100, 3: 0b11110000}
    assert network.evaluate([form], values, 255) == [0b11101000]
    assert network.majority(2, 2, 8) == 2
    assert network.majority(2, 3, 8) == 8


def test_level_programs_against_all_values() -> None:
    """Small programs against the cheapest of all values up to 4."""
    for seed in range(30):
        rng = __import__("random").Random(seed)
        program = LevelProgram()
        for _ in range(5):
            program.variable(rng.randint(0, 1), 0)
        for _ in range(4):
            u, v = rng.sample(range(5), 2)
            program.bound(max(u, v), min(u, v), rng.randint(-1, 1))
        for v in range(4):
            # A wait above each variable, as signals have: the cost is bounded below.
            latest = program.variable(0, 1)
            program.cost[v] -= 1
            program.bound(latest, v, 0)
            program.bound(latest, rng.randrange(5), rng.randint(-1, 1))
        found = program.solve()
        assert all(found[u] >= found[v] + c for u, v, c in program.above)
        best = None
        for values in product(range(5), repeat=5):
            if any(x < low for x, low in zip(values, program.least, strict=False)):
                continue
            if any(values[u] < values[v] + c for u, v, c in program.above if u < 5 and v < 5):
                continue
            latest = [
                max([0, *(values[v] + c for u, v, c in program.above if u == k)]) for k in range(5, len(program.least))
            ]
            cost = sum(c * x for c, x in zip(program.cost, [*values, *latest], strict=True))
            best = cost if best is None else min(best, cost)
        assert sum(c * x for c, x in zip(program.cost, found, strict=True)) == best
