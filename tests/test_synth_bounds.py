"""No result may beat a proved bound: the multiplicative complexity of standard functions, in two-input ANDs."""

from __future__ import annotations

import csv
import os
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest
from support.lockstep import compare, sources_of, walk

from hdl2grid.circuit.model import Circuit, Stack
from hdl2grid.logic import arithmetic as words
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import FALSE, XagBuilder
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise

DATA = os.environ.get("HDL2GRID_CHECK_DATA", "")
FREE = SynthParams(
    toggle_terms=999, register_terms=999, pixel_terms=999, keep_codes=True, search_steps=2000, espp_steps=200_000
)
Build = Callable[[XagBuilder, Sequence[int]], list[int]]


def loaded(width: int, build: Build) -> Logic:
    """A function of registers that a tick loads from switches."""
    b = XagBuilder()
    q, x = ([b.variable(f"{n}{i}") for i in range(width)] for n in "qx")
    outputs = build(b, q)
    bits = tuple(RegisterBit(f"q{i}", r, s, 0, "tick", False) for i, (r, s) in enumerate(zip(q, x, strict=True)))
    switches = tuple(InputBit(f"x{i}", s, 0) for i, s in enumerate(x))
    shown = tuple(OutputBit(f"y{i}", y) for i, y in enumerate(outputs))
    return Logic("bound", b.freeze(), ("tick",), False, switches, bits, shown)


def two_input_ands(circuit: Circuit) -> int:
    """Two-input ANDs that do for all plain stacks: n - 1 for a product of n. For 'exactly one' of n, 2 (n - 2): with
    `none` and `one` of the first k, `one'` is a multiplexer and `none'` an AND; a single AND where four toggles'
    parity is constant, because the function then is quadratic: a majority."""
    return sum(_ands(stack) for stack in circuit.stacks if stack.strobe is None)


def _ands(stack: Stack) -> int:
    count = len(stack.toggles)
    if stack.function not in ("XOR", "XNOR"):
        return count - 1
    parity: set[str] = set()
    for toggle in stack.toggles:
        parity ^= set(toggle.drivers)
    return 1 if count == 4 and not parity else max(0, 2 * (count - 2))


def weight(b: XagBuilder, q: Sequence[int]) -> list[int]:
    """The number of ones in binary, bit by bit as a flat sum of minterms."""
    sums = [FALSE] * len(q).bit_length()
    for k in range(1 << len(q)):
        cube = b.and_all([x ^ 1 ^ (k >> i & 1) for i, x in enumerate(q)])
        sums = [b.xor(s, cube) if k.bit_count() >> j & 1 else s for j, s in enumerate(sums)]
    return sums


def majority(b: XagBuilder, q: Sequence[int]) -> list[int]:
    total = FALSE
    for k in range(1 << len(q)):
        if 2 * k.bit_count() > len(q):
            total = b.xor(total, b.and_all([x ^ 1 ^ (k >> i & 1) for i, x in enumerate(q)]))
    return [total]


def carry_out(b: XagBuilder, q: Sequence[int]) -> list[int]:
    half = len(q) // 2
    return [words.add(b, [*q[:half], FALSE], [*q[half : 2 * half], FALSE], q[-1] if len(q) % 2 else FALSE)[-1]]


def multiplexer(b: XagBuilder, q: Sequence[int]) -> list[int]:
    if len(q) == 3:
        return [b.mux(q[0], q[1], q[2])]
    return [b.mux(q[0], b.mux(q[1], q[2], q[3]), b.mux(q[1], q[4], q[5]))]


CASES = [
    *((f"Hamming weight of {n} bits (all result bits)", n, weight) for n in range(3, 9)),
    ("majority of 3", 3, majority),
    ("majority of 5", 5, majority),
    ("2:1 multiplexer", 3, multiplexer),
    ("4:1 multiplexer", 6, multiplexer),
    ("2-bit adder carry out (no carry in)", 4, carry_out),
    ("2-bit adder carry out with carry in", 5, carry_out),
    ("3-bit adder carry out (no carry in)", 6, carry_out),
]


@pytest.mark.skipif(not DATA, reason="HDL2GRID_CHECK_DATA is not set")
@pytest.mark.parametrize(("name", "width", "build"), CASES, ids=[name for name, _, _ in CASES])
def test_two_input_ands_are_no_fewer_than_the_multiplicative_complexity(name: str, width: int, build: Build) -> None:
    # tables/multiplicative_complexity.csv (S4, S5: exact values, published).
    lines = (Path(DATA) / "tables/multiplicative_complexity.csv").read_text(encoding="utf-8").splitlines()
    rows = {row["function"]: row for row in csv.DictReader(line for line in lines if not line.startswith("#"))}
    assert rows[name]["kind"] == "exact" and int(rows[name]["inputs"]) == width
    least = int(rows[name]["ands"])
    logic = loaded(width, build)
    made = synthesise(logic, sources_of(logic), FREE)
    assert two_input_ands(made.circuit) >= least
    # A stack does at least what an AND does, so there is no need of more of them.
    assert made.report.products + made.report.exactly_ones <= least
    compare(logic, made.circuit, walk(logic, 200, 1))
