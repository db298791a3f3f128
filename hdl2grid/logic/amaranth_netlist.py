"""Reads Amaranth's private netlist (`amaranth.hdl._ir.build_netlist`, the cells of `amaranth.hdl._nir`) into
our own cells. No other file knows that netlist; `tests/test_logic_netlist.py` is its contract test."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from amaranth.hdl import Signal, Value
from amaranth.hdl._ir import build_netlist
from amaranth.hdl._nir import CombinationalCycle

from hdl2grid.base.errors import InputError, SourceLine
from hdl2grid.base.ports import Port, bit_name
from hdl2grid.base.userline import source_of
from hdl2grid.design.keep import KEEP_CODE
from hdl2grid.logic import cells as ours
from hdl2grid.logic.hookup import Hookup, RowBit, SignalBit
from hdl2grid.logic.prepare import Domain, Prepared, clock_port, reset_port, spoken, user_call


@dataclass(frozen=True)
class Reading:
    """The cells, the way to each bit in the simulator, and the domains that clock at least one register."""

    netlist: ours.Netlist
    hookup: Hookup
    used_domains: tuple[str, ...]


def read_netlist(prepared: Prepared, ports: Sequence[Port], sourced: Callable[[Domain], None]) -> Reading:
    """The netlist of a prepared design. `sourced` is called with each domain that clocks something, and raises
    where the machine has no source for it.

    Raises InputError L001 on a combinational loop, L003 to L008 on a clock or reset that cannot be had, L009
    on a cell that has no place on the grid, L011 where Amaranth refuses the design.
    """
    netlist = user_call(lambda: _build(prepared), "reading the design's netlist")
    return _Reader(netlist, prepared, ports, sourced).read()


def _build(prepared: Prepared) -> Any:
    try:
        return build_netlist(prepared.design)
    except CombinationalCycle as cycle:
        raise _loop(str(cycle)) from cycle


def _loop(report: str) -> InputError:
    """One message from Amaranth's account of a combinational loop: a line a step, with file and line."""
    steps = re.findall(r"^ {2}(.*):(\d+): (.*)$", report, re.MULTILINE)
    signals = [(path, line, step) for path, line, step in steps if step.startswith("signal ")]
    names = list(dict.fromkeys(spoken(step.split()[1]) for _, _, step in signals))
    shown = signals or steps
    where = SourceLine(shown[0][0], int(shown[0][1])) if shown else None
    through = " through " + ", ".join(f"'{name}'" for name in names[:6]) if names else ""
    way = "; ".join(f"{step} ({path}:{line})" for path, line, step in steps[:8])
    return InputError(
        "L001", f"combinational loop{through}", where=where,
        hint=f"A signal may depend on itself only by way of a register. The loop: {way}.",
    )  # fmt: skip


@dataclass
class _Reader:
    netlist: Any
    prepared: Prepared
    ports: Sequence[Port]
    sourced: Callable[[Domain], None]
    clock_of: dict[int, Domain] = field(default_factory=dict)
    resets: set[int] = field(default_factory=set)
    used: dict[str, Domain] = field(default_factory=dict)
    names: set[str] = field(default_factory=set)
    places: dict[str, SignalBit | RowBit] = field(default_factory=dict)
    resettable: set[str] = field(default_factory=set)
    owner: dict[int, tuple[Signal, int]] = field(default_factory=dict)
    memory_of: dict[int, int] = field(default_factory=dict)
    write_of: dict[int, int] = field(default_factory=dict)

    def read(self) -> Reading:
        self._find_clocks()
        self._find_owners()
        cells = self.netlist.cells
        memories = self._memories()
        registers = [r for i, c in enumerate(cells) if _kind(c) == "FlipFlop" for r in self._flipflop(i, c)]
        reads = [self._sync_read(i, c) for i, c in enumerate(cells) if _kind(c) == "SyncReadPort"]
        combinational = [cell for i, c in enumerate(cells) if (cell := self._cell(i, c)) is not None]
        netlist = ours.Netlist(
            cells=tuple(combinational),
            inputs=tuple(self._inputs()),
            outputs=tuple(self._outputs()),
            registers=tuple(registers),
            reads=tuple(reads),
            memories=tuple(memories),
        )
        clocks = {d.name: d.clock for d in self.prepared.domains if d.name in self.used}
        hookup = Hookup(
            design=self.prepared.design,
            checked=self.prepared.checked,
            clocks=clocks,
            inputs={name: place for name, place in self._port_bits(True)},
            outputs={name: place for name, place in self._port_bits(False)},
            registers=self.places,
            resettable=frozenset(self.resettable),
        )
        return Reading(netlist, hookup, tuple(clocks))

    # -- names and places ------------------------------------------------------------------------------------

    def _find_owners(self) -> None:
        """For each output of a register or read port, the very signal that it drives."""
        for late, net in self.netlist.connections.items():
            if net >= 2 and _kind(self.netlist.cells[net >> 16]) in ("FlipFlop", "SyncReadPort"):
                self.owner[int(net)] = self.netlist.late_to_signal[late]

    def _register_name(self, net: int, module: int) -> tuple[str, Signal | None, int]:
        owner = self.owner.get(net)
        if owner is None:
            return self._unique(f"register[{net >> 16}.{net & 0xFFFF}]"), None, 0
        signal, bit = owner
        port = next((p for p in self.ports if p.value is signal), None)
        if port is not None:
            return self._unique(bit_name(port.name, len(signal), bit)), signal, bit
        inside = self.netlist.modules[module]
        path = ".".join((*inside.name[1:], spoken(inside.signal_names.get(signal, signal.name))))
        return self._unique(bit_name(path, len(signal), bit)), signal, bit

    def _unique(self, name: str) -> str:
        candidate, count = name, 1
        while candidate in self.names:
            count += 1
            candidate = f"{name}#{count}"
        self.names.add(candidate)
        return candidate

    def _port_bits(self, inputs: bool) -> list[tuple[str, SignalBit]]:
        return [
            (bit.name, SignalBit(port.value, bit.index))
            for port in self.ports
            if port.is_input is inputs
            for bit in port.bits
        ]

    def _value_nets(self, value: Value) -> Iterable[int]:
        if isinstance(value, Signal):
            return (int(net) for net in self.netlist.signals[value])
        number = value.value  # a constant, as ports.py ensures
        return (number >> i & 1 for i in range(len(value)))

    def _inputs(self) -> list[ours.Input]:
        return [
            ours.Input(bit.name, net, bit.source)
            for port in self.ports
            if port.is_input and port.width
            for bit, net in zip(port.bits, self._value_nets(port.value), strict=True)
        ]

    def _outputs(self) -> list[ours.Output]:
        return [
            ours.Output(bit.name, self._net(net, port.source), bit.source)
            for port in self.ports
            if not port.is_input and port.width
            for bit, net in zip(port.bits, self._value_nets(port.value), strict=True)
        ]

    # -- clocks and resets -----------------------------------------------------------------------------------

    def _find_clocks(self) -> None:
        inputs = self.netlist.top.ports_i
        for index, domain in enumerate(self.prepared.domains):
            driven = clock_port(index) not in inputs
            if not driven:
                self.clock_of[int(self.netlist.signals[domain.clock][0])] = domain
            if domain.reset is not None and reset_port(index) in inputs:
                self.resets.add(int(self.netlist.signals[domain.reset][0]))
            if domain.used:
                self._check_domain(domain, driven)

    def _check_domain(self, domain: Domain, driven: bool) -> None:
        if driven:
            raise InputError(
                "L003", f"the clock of domain '{domain.name}' is driven by logic; a clock is a source's alone",
                where=domain.source,
                hint="Keep the registers in the source's domain and enable them: m.If(...), EnableInserter, "
                "or DomainRenamer to use the other domain itself.",
            )  # fmt: skip
        if not domain.rising:
            raise InputError(
                "L004", f"domain '{domain.name}' samples on the falling edge; an event is one rising edge",
                where=domain.source, hint='Use clk_edge="pos".',
            )  # fmt: skip
        if domain.name in self.used:
            raise InputError(
                "L006", f"two clock domains are called '{domain.name}'", where=domain.source,
                hint="Rename one of them; each needs a source of its own.",
            )  # fmt: skip
        self.sourced(domain)
        self.used[domain.name] = domain

    def _domain(self, clock: int, asynchronous_reset: int, source: SourceLine | None) -> Domain:
        """The domain of a register, once it is sure that its reset can be had."""
        domain = self.clock_of[clock]
        if asynchronous_reset not in (0, *self.resets):
            raise InputError(
                "L005", f"the asynchronous reset of domain '{domain.name}' is driven by logic",
                where=domain.source or source,
                hint="Use a synchronous reset (async_reset=False) or ResetInserter; the machine's reset button "
                "is asynchronous anyway.",
            )  # fmt: skip
        return domain

    def _net(self, net: Any, source: SourceLine | None) -> int:
        """A net as data: an undriven reset is 0 between events, a clock has no level."""
        number = int(net)
        if number in self.resets:
            return 0
        if number in self.clock_of:
            raise InputError(
                "L007", f"the clock of domain '{self.clock_of[number].name}' is used as data", where=source,
                hint="A clock has no level on the grid, only events. Use a register that toggles.",
            )  # fmt: skip
        return number

    def _word(self, value: Any, source: SourceLine | None) -> ours.Word:
        return tuple(self._net(net, source) for net in value)

    # -- registers and memories ------------------------------------------------------------------------------

    def _register(self, net: int, module: int, domain: Domain, data: int, init: int | None) -> ours.Register:
        name, signal, bit = self._register_name(net, module)
        if init is None:
            init = signal.init >> bit & 1 if signal is not None else 0
        resettable = domain.reset is not None and (signal is None or not signal.reset_less)
        if signal is not None:
            self.places[name] = SignalBit(signal, bit)
        if resettable:
            self.resettable.add(name)
        keep_code = signal is not None and bool(signal.attrs.get(KEEP_CODE))
        return ours.Register(name, net, data, init, domain.name, resettable, source_of(signal), keep_code)

    def _flipflop(self, index: int, cell: Any) -> list[ours.Register]:
        source = source_of(cell)
        domain = self._domain(int(cell.clk), int(cell.arst), source)
        return [
            self._register(index << 16 | bit, cell.module_idx, domain, self._net(data, source), cell.init >> bit & 1)
            for bit, data in enumerate(cell.data)
        ]

    def _sync_read(self, index: int, cell: Any) -> ours.SyncRead:
        source = source_of(cell)
        domain = self._domain(int(cell.clk), 0, source)
        registers = tuple(
            self._register(index << 16 | bit, cell.module_idx, domain, 0, None) for bit in range(cell.width)
        )
        reset = 0
        if domain.reset is not None and not domain.asynchronous:
            reset = self._net(self.netlist.signals[domain.reset][0], source)
        return ours.SyncRead(
            memory=self.memory_of[cell.memory],
            address=self._word(cell.addr, source),
            enable=self._net(cell.en, source),
            transparent=tuple(self.write_of[port] for port in cell.transparent_for),
            registers=registers,
            reset=reset,
            source=source,
        )

    def _memories(self) -> list[ours.Memory]:
        writes: dict[int, list[ours.Write]] = {}
        for index, cell in enumerate(self.netlist.cells):
            if _kind(cell) == "SyncWritePort":
                source = source_of(cell)
                domain = self._domain(int(cell.clk), 0, source)
                ports = writes.setdefault(cell.memory, [])
                self.write_of[index] = len(ports)
                data, enable = self._word(cell.data, source), self._word(cell.en, source)
                ports.append(ours.Write(domain.name, self._word(cell.addr, source), data, enable))
        memories: list[ours.Memory] = []
        instances = iter(self.prepared.memories)
        for index, cell in enumerate(self.netlist.cells):
            if _kind(cell) == "Memory":
                self.memory_of[index] = len(memories)
                memory = self._memory(cell, next(instances), tuple(writes.get(index, ())))
                memories.append(memory)
        return memories

    def _memory(self, cell: Any, instance: Any, writes: tuple[ours.Write, ...]) -> ours.Memory:
        data = instance._data
        if data.depth != cell.depth:
            raise AssertionError("memories and their cells come in one order")
        name = self._unique(".".join((*self.netlist.modules[cell.module_idx].name[1:], cell.name)))
        mask = (1 << cell.width) - 1
        memory = ours.Memory(name, cell.width, tuple(row & mask for row in cell.init), writes, source_of(cell))
        if writes:
            for row in range(memory.depth):
                for bit in range(memory.width):
                    self.places[row_name(memory, row, bit)] = RowBit(data, row, bit)
        return memory

    # -- combinational cells ---------------------------------------------------------------------------------

    def _cell(self, index: int, cell: Any) -> ours.Cell | None:
        kind, source = _kind(cell), source_of(cell)

        def word(value: Any) -> ours.Word:
            return self._word(value, source)

        def outputs(width: int) -> ours.Word:
            return tuple(index << 16 | bit for bit in range(width))

        if kind == "Operator":
            operands = tuple(word(value) for value in cell.inputs)
            return ours.Operator(cell.operator, operands, outputs(cell.width), source)
        if kind == "Part":
            return ours.Part(
                word(cell.value), cell.value_signed, word(cell.offset), cell.stride, outputs(cell.width), source
            )
        if kind == "Matches":
            return ours.Matches(word(cell.value), cell.patterns, outputs(1), source)
        if kind == "PriorityMatch":
            return ours.PriorityMatch(self._net(cell.en, source), word(cell.inputs), outputs(len(cell.inputs)), source)
        if kind == "AssignmentList":
            assignments = tuple(
                ours.Assignment(self._net(a.cond, source), a.start, word(a.value)) for a in cell.assignments
            )
            return ours.AssignmentList(word(cell.default), assignments, outputs(len(cell.default)), source)
        if kind == "AsyncReadPort":
            return ours.AsyncRead(self.memory_of[cell.memory], word(cell.addr), outputs(cell.width), source)
        if kind not in _HANDLED_ELSEWHERE:
            raise _no_place(kind, cell, source)
        return None


_HANDLED_ELSEWHERE = {"Top", "FlipFlop", "Memory", "SyncWritePort", "SyncReadPort"}


def row_name(memory: ours.Memory, row: int, bit: int) -> str:
    """The flat name of one bit of a memory's row: "scratch[3][0]", or "flags[3]" for rows of one bit."""
    return bit_name(f"{memory.name}[{row}]", memory.width, bit)


def _kind(cell: Any) -> str:
    return type(cell).__name__


def _no_place(kind: str, cell: Any, source: SourceLine | None) -> InputError:
    what = f"a cell of kind {kind} is unknown here"
    if kind == "Instance":
        what = f"the instance '{cell.name}' of '{cell.type}' is a black box"
    elif kind == "IOBuffer":
        what = "an I/O buffer stands for a pin of a chip"
    elif kind in ("AnyValue", "Initial"):
        what = "AnyConst, AnySeq and Initial are for formal verification"
    return InputError(
        "L009", f"{what}; it has no place on the grid", where=source,
        hint="Describe its function in Amaranth, and use the component's ports as inputs and outputs.",
    )  # fmt: skip
