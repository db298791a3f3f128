"""Functions of registers that a tick loads from switches, and all that a mapping of them has to be."""

from __future__ import annotations

from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import XagBuilder
from hdl2grid.nets.partition import share_nets
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazards import find_hazards
from support.equivalence import circuit_functions, same_functions, source_functions
from support.lockstep import compare, sources_of, walk

QUICK = SynthParams(keep_codes=True, search_steps=2000, espp_steps=200_000)


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
    """At most so many stacks beside the registers; safe, within four colours, and the same functions."""
    made = synthesise(logic, sources_of(logic), QUICK)
    assert made.report.stacks - made.report.registers <= most
    assert find_hazards(made.circuit).is_safe_by_structure
    assert not share_nets(made.circuit, quick=True).crowded
    assert same_functions(source_functions(logic), circuit_functions(logic, made.circuit), logic)
    compare(logic, made.circuit, walk(logic, 200, 1))
