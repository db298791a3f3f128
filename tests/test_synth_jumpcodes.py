"""Counters of any modulus: a shift register with one jump, one cell, proved minimal."""

from __future__ import annotations

import pytest
from support.lockstep import compare, sources_of, walk
from support.small_logic import Words

from hdl2grid.logic.model import Logic
from hdl2grid.synth.codes.jump_counters import most_bits_inside, primitive_polynomials
from hdl2grid.synth.synthesise import synthesise


def counter(modulus: int, shown: tuple[int, ...]) -> Logic:
    """In binary; a lamp for each state that is shown."""
    w = Words()
    width = (modulus - 1).bit_length()
    count = w.register("count", width, 0)
    data = w.mux(w.equals(count, modulus - 1), w.constant(0, width), w.plus_one(count))
    lamps = [w.equals(count, i) for i in shown]
    return w.logic("counter", {f"count[{i}]": x for i, x in enumerate(data)}, {"lamp": lamps})


def test_numbers_of_primitive_polynomials() -> None:
    # phi(2^r - 1) / r (OEIS A011260).
    assert [len(primitive_polynomials(r)) for r in range(2, 11)] == [1, 2, 2, 6, 6, 18, 16, 48, 60]


@pytest.mark.parametrize("modulus", [13, 36, 48, 63, 80, 100, 127, 365, 1000])
def test_a_counter_that_shows_its_last_takes_one_cell(modulus: int) -> None:
    logic = counter(modulus, (modulus - 1,))
    made = synthesise(logic, sources_of(logic))
    width = (modulus - 1).bit_length()
    assert made.report.stacks == 2 * width + 1
    assert [(c.stacks, c.bound, c.verdict) for c in made.report.codes] == [(2 * width + 1,) * 2 + ("proved minimal",)]
    compare(logic, made.circuit, ["sync"] * (2 * modulus + 3) + walk(logic, 300, 1))


@pytest.mark.parametrize("modulus", [32, 64, 128])
def test_where_all_codes_are_met_it_takes_two(modulus: int) -> None:
    logic = counter(modulus, (modulus - 1,))
    made = synthesise(logic, sources_of(logic))
    assert made.report.stacks == 2 * (modulus - 1).bit_length() + 2
    compare(logic, made.circuit, ["sync"] * (2 * modulus + 3) + walk(logic, 300, 1))


def test_a_counter_of_a_hundred_with_two_lamps_takes_two_cells() -> None:
    logic = counter(100, (99, 49))
    made = synthesise(logic, sources_of(logic))
    assert made.report.stacks == 2 * 7 + 2
    compare(logic, made.circuit, ["sync"] * 203 + walk(logic, 300, 1))


def test_a_counter_of_more_states_than_are_looked_at_keeps_its_code() -> None:
    logic = counter(2000, (1999,))
    made = synthesise(logic, sources_of(logic))
    assert not made.report.codes
    compare(logic, made.circuit, walk(logic, 300, 1))


def test_how_many_functions_can_be_sums_of_bits() -> None:
    # Ten states in four bits: a sum of bits is 1 in 2 to 8 of them.
    assert most_bits_inside([0b1, 0b1111], 10, 4) == 1
    assert most_bits_inside([0b1, 0b10], 10, 4) == 1
    assert most_bits_inside([0b1], 10, 4) == 0
    assert most_bits_inside([0b1], 10, 5) == 1
