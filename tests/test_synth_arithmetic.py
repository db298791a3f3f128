"""Arithmetic: few stacks, equal to its source, and no pulse lost. Machines of support/word_machines.py."""

from __future__ import annotations

import random
from dataclasses import replace
from itertools import product

import pytest
from support import word_machines
from support.lockstep import compare, sources_of, walk

from hdl2grid.logic import arithmetic as words
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import FALSE, XagBuilder
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import EXACTLY_ONE, Network
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.synth.timing.levels import LevelProgram
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards

QUICK = SynthParams(search_steps=2000, espp_steps=100_000)


@pytest.mark.parametrize("kind", word_machines.ARITHMETIC, ids=lambda kind: kind.__name__)
@pytest.mark.parametrize("width", [1, 4])
def test_every_kind_keeps_time(kind: object, width: int) -> None:
    logic = kind(width)  # type: ignore[operator]
    made = synthesise(logic, sources_of(logic), QUICK)
    compare(logic, made.circuit, walk(logic, 400, width))
    assert all(verdict.is_safe for verdict in prove_hazards(made.circuit))


def takes_at_most(most: int, kind: object, width: int) -> None:
    """In so many stacks without registers and resets, in step with its source, and safe."""
    logic = kind(width)  # type: ignore[operator]
    made = synthesise(logic, sources_of(logic), QUICK)
    report = made.report
    assert report.stacks - report.registers - report.resets <= most
    compare(logic, made.circuit, walk(logic, 400, width))
    assert all(verdict.is_safe for verdict in prove_hazards(made.circuit))


@pytest.mark.parametrize(
    ("kind", "width", "most"),
    [
        # A carry is one stack a bit (Boyar, Peralta: one AND a bit, the first two bits need none or one), and
        # the strobe of each bit but the first two comes one buffer later.
        (word_machines.accumulator, 12, 11 + 10),
        (word_machines.accumulator, 16, 15 + 14),
        (word_machines.subtract_from, 16, 15 + 14),
        (word_machines.adder, 12, 12 + 11),
    ],
)
def test_long_carries_take_two_stacks_a_bit(kind: object, width: int, most: int) -> None:
    takes_at_most(most, kind, width)


@pytest.mark.parametrize(
    ("kind", "width", "most"),
    [
        # A comparison as n flats, a choice a bit, and a round's wait a bit: 3 n and a little.
        (word_machines.maximum, 8, 26),
        # 16 products, 12 adders (Dadda, 1965), and what waits for the carries.
        (word_machines.multiplier, 4, 46),
    ],
)
def test_a_choice_and_a_product_of_words(kind: object, width: int, most: int) -> None:
    takes_at_most(most, kind, width)


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
        rng = random.Random(seed)
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


def mixed(seed: int) -> Logic:
    """Words that add, subtract, compare and count, in one or two domains, under enables that come from logic."""
    rng = random.Random(seed)
    g = XagBuilder()
    domains = ["a", "b"][: rng.choice((1, 1, 2))]
    width = rng.randint(2, 5)
    registers = [[g.variable(f"w{k}[{i}]") for i in range(width)] for k in range(rng.randint(1, 4))]
    switches = [g.variable(f"s[{i}]") for i in range(width)]
    enable = g.variable("en")
    zero = [FALSE] * width
    pool = [*registers, switches, zero, [1, *zero[1:]]]
    bits = []
    for k, word in enumerate(registers):
        x, y, domain = rng.choice(pool), rng.choice(pool), rng.choice(domains)
        kind = rng.randrange(6)
        if kind == 0:
            data = words.add(g, x, y)
        elif kind == 1:
            data = words.subtract(g, x, y)
        elif kind == 2:
            data = words.add(g, word, y)
        elif kind == 3:
            data = words.mux(g, words.less(g, x, y), x, y)
        elif kind == 4:
            data = [words.less(g, x, y), *word[:-1]]
        else:
            data = words.add(g, word, zero, 1)
        gate = rng.choice((None, enable, words.equal(g, x, rng.choice(pool)), words.less(g, y, rng.choice(pool))))
        data = data if gate is None else words.mux(g, gate, data, word)
        resettable, init = rng.random() < 0.85, rng.choice((0, 0, rng.randrange(1 << width)))
        for i, (q, d) in enumerate(zip(word, data, strict=True)):
            bits.append(RegisterBit(f"w{k}[{i}]", q, d, init >> i & 1, domain, resettable))
    total = words.add(g, rng.choice(pool), rng.choice(pool))
    outputs = [OutputBit(f"sum[{i}]", x) for i, x in enumerate(total)]
    outputs.append(OutputBit("less", words.less(g, rng.choice(pool), rng.choice(pool))))
    inputs = [InputBit(f"s[{i}]", x, rng.randint(0, 1)) for i, x in enumerate(switches)]
    inputs.append(InputBit("en", enable, 1))
    has_reset = rng.random() < 0.85
    return Logic("mixed", g.freeze(), tuple(domains), has_reset, tuple(inputs), tuple(bits), tuple(outputs))


@pytest.mark.parametrize("keep_codes", [True, False])
@pytest.mark.parametrize("seed", range(5))
def test_mixed_machines_keep_time_and_lose_nothing(seed: int, keep_codes: bool) -> None:
    logic = mixed(seed)
    made = synthesise(logic, sources_of(logic), replace(QUICK, keep_codes=keep_codes))
    compare(logic, made.circuit, walk(logic, 500, seed))
    assert all(verdict.is_safe for verdict in prove_hazards(made.circuit))
    # Hold: what a tick moves reaches no toggle before or with the strobe of that tick.
    assert not [s for s in find_hazards(made.circuit).suspects if s.kind == "data before its strobe"]
