"""The stage from a Machine to its Logic: any synthesisable Amaranth design as registers and an XOR-AND graph."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

from hdl2grid.base.errors import InputError, nearest
from hdl2grid.design.machine import Machine
from hdl2grid.logic.amaranth_netlist import Reading, read_netlist, row_name
from hdl2grid.logic.cells import Netlist
from hdl2grid.logic.deep import run_deep
from hdl2grid.logic.hookup import Hookup
from hdl2grid.logic.lower import Lowering
from hdl2grid.logic.memory import check_size, read_data, written_rows
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.prepare import Domain, Prepared, prepare
from hdl2grid.logic.reduce import reduce_logic
from hdl2grid.logic.shapes import remembered_shapes
from hdl2grid.logic.xag import FALSE, TRUE, Literal, XagBuilder


@dataclass(frozen=True, eq=False)
class Elaboration:
    """A machine as logic, and the way to run the very same elaborated design in Amaranth's simulator.

    warnings: what the user should know: left-out statements, undriven signals, unused sources.
    constant, unused: the names of registers that are not in `logic`, since they never change or reach no output.
    hookup: for `hdl2grid.verify.hdl`.
    """

    machine: Machine = field(repr=False)
    logic: Logic
    warnings: tuple[str, ...]
    constant: tuple[str, ...]
    unused: tuple[str, ...]
    hookup: Hookup = field(repr=False)


def elaborate(machine: Machine) -> Elaboration:
    """Elaborates the component of `machine` once, and lowers it to bits.

    Raises InputError L001 to L014: see `hdl2grid/base/messages/L.toml`.
    """
    return run_deep(lambda: _elaborate(machine))


def _elaborate(machine: Machine) -> Elaboration:
    if not machine.ports() and not machine.source_names() and machine.panel is None:
        raise InputError(
            "L014", "the machine is empty: it has no ports, no sources and no panel", where=machine.source,
            hint="Give the component an output, so that there is something to see.",
        )  # fmt: skip
    with remembered_shapes():
        prepared = prepare(machine.component, machine.ports())
        reading = read_netlist(prepared, machine.ports(), lambda domain: _check_source(machine, domain))
    _check_sources(machine, prepared)
    logic, constant, unused = reduce_logic(_lower(machine, reading.netlist))
    warnings = [*prepared.notes, *_notes(machine, reading, logic, unused)]
    return Elaboration(
        machine=machine, logic=logic, warnings=tuple(warnings), constant=constant, unused=unused, hookup=reading.hookup
    )


def _check_source(machine: Machine, domain: Domain) -> None:
    if domain.name not in machine.clocks:
        raise InputError(
            "L008", f"clock domain '{domain.name}' has no source", where=domain.source or machine.source,
            hint=nearest(domain.name, machine.clocks)
            or f'Write clocks={{"{domain.name}": Ticker(seconds=1)}} in Machine(...).',
        )  # fmt: skip


def _check_sources(machine: Machine, prepared: Prepared) -> None:
    known = [domain.name for domain in prepared.domains]
    for name in machine.clocks:
        if name not in known:
            raise InputError(
                "L012", f"clocks= names '{name}', but the design has no such clock domain",
                where=machine.source,
                hint=nearest(name, known) or "The design has no registers; leave clocks= out.",
            )  # fmt: skip


def _lower(machine: Machine, netlist: Netlist) -> Logic:
    for memory in netlist.memories:
        check_size(memory)
    g = XagBuilder()
    known: dict[int, Literal] = {0: FALSE, 1: TRUE}
    inputs = _input_bits(machine, netlist, g, known)
    held = [*netlist.registers, *(register for read in netlist.reads for register in read.registers)]
    for register in held:
        known[register.output] = g.variable(register.name)
    rows = {
        index: [[g.variable(row_name(memory, row, bit)) for bit in range(memory.width)] for row in range(memory.depth)]
        for index, memory in enumerate(netlist.memories)
        if memory.writes
    }
    lowering = Lowering(netlist, g, known, rows)
    data: dict[int, Literal] = {}
    for register in netlist.registers:
        data[register.output] = lowering.net(register.data)
    for read in netlist.reads:
        words = read_data(lowering, read, [known[register.output] for register in read.registers])
        data.update(zip((register.output for register in read.registers), words, strict=True))
    registers = [
        RegisterBit(
            name=r.name,
            literal=known[r.output],
            data=data[r.output],
            init=r.init,
            domain=r.domain,
            resettable=r.resettable,
            source=r.source,
            keep_code=r.keep_code,
        )
        for r in held
    ]
    registers += [bit for index in rows for bit in _row_bits(lowering, index)]
    outputs = tuple(OutputBit(o.name, lowering.net(o.net), o.source) for o in netlist.outputs)
    name = machine.name or type(machine.component).__name__
    domains = tuple(machine.clocks)
    return Logic(
        name=name,
        xag=g.freeze(),
        domains=domains,
        has_reset=machine.reset is not None,
        inputs=inputs,
        registers=tuple(registers),
        outputs=outputs,
    )


def _input_bits(machine: Machine, netlist: Netlist, g: XagBuilder, known: dict[int, Literal]) -> tuple[InputBit, ...]:
    levels = machine.initial_levels()
    bits = []
    for bit in netlist.inputs:
        known[bit.net] = g.variable(bit.name)
        bits.append(InputBit(bit.name, known[bit.net], levels[bit.name], bit.source))
    return tuple(bits)


def _row_bits(lowering: Lowering, index: int) -> Iterable[RegisterBit]:
    """The registers of a writable memory; each row must be written in one domain alone."""
    memory = lowering.netlist.memories[index]
    domains = sorted({write.domain for write in memory.writes})
    if len(domains) > 1:
        raise InputError(
            "L013", f"memory '{memory.name}' is written in several domains: {', '.join(domains)}",
            where=memory.source,
            hint="A register has one clock on the grid. Write the memory in one domain.",
        )  # fmt: skip
    rows: Sequence[Sequence[Literal]] = lowering.rows[index]
    after = written_rows(lowering, memory, rows, domains[0])
    for row, (held, taken) in enumerate(zip(rows, after, strict=True)):
        for bit in range(memory.width):
            init = memory.init[row] >> bit & 1
            name = row_name(memory, row, bit)
            yield RegisterBit(
                name=name,
                literal=held[bit],
                data=taken[bit],
                init=init,
                domain=domains[0],
                resettable=False,
                source=memory.source,
            )


def _notes(machine: Machine, reading: Reading, logic: Logic, unused: Sequence[str]) -> list[str]:
    """Warnings: registers left out, and sources that nothing uses."""
    notes = []
    if unused:
        shown = ", ".join(unused[:6]) + (", ..." if len(unused) > 6 else "")
        notes.append(f"{len(unused)} register bits reach no output and are left out: {shown}")
    live = {register.domain for register in logic.registers}
    notes += [f"source '{name}' is used by nothing" for name in machine.clocks if name not in live]
    if machine.reset is not None and not any(register.resettable for register in logic.registers):
        notes.append("source 'reset' is used by nothing: no register of the machine can be reset")
    roots = [o.literal for o in logic.outputs] + [r.data for r in logic.registers]
    support = set(logic.xag.support(roots))
    notes += [f"source '{bit.name}' is used by nothing" for bit in logic.inputs if bit.literal >> 1 not in support]
    return notes
