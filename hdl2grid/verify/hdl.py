"""The referee: the design itself in Amaranth's own simulator, event by event.

It shares with lowering nothing but the names of bits: levels are read from Amaranth's signals, and the events
are made there. Registers and outputs come out in the order of a `Logic`.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from amaranth.hdl import Const, Signal

from hdl2grid.logic.elaborate import Elaboration
from hdl2grid.logic.hookup import RowBit, SignalBit
from hdl2grid.logic.prepare import simulator_of

T = TypeVar("T")

Snapshot = tuple[int, ...]


class HdlSession:
    """A machine in Amaranth's simulator, between two events. Made by `run_hdl`.

    A domain's event is one pulse of its clock; an input's flips that bit; "reset" sets every register that can
    be reset to its initial value, whatever kind of reset its domain has, and leaves memories alone.
    """

    def __init__(self, elaboration: Elaboration, context: Any) -> None:
        self._engine = context._engine
        hookup, logic = elaboration.hookup, elaboration.logic
        self._clocks = {name: self._slot(signal) for name, signal in hookup.clocks.items()}
        self._idle = set(logic.domains) - set(self._clocks)
        self._inputs = {bit.name: self._place(hookup.inputs[bit.name]) for bit in logic.inputs}
        self._outputs = _Probe([self._place(hookup.outputs[bit.name]) for bit in logic.outputs])
        self._registers = _Probe([self._place(hookup.registers[bit.name]) for bit in logic.registers])
        self._cells = _cells([*(self._place(p) for p in hookup.registers.values()), *self._inputs.values()])
        can_be_reset = [hookup.registers[name] for name in hookup.registers if name in hookup.resettable]
        self._reset = _cells([self._place(place) for place in can_be_reset])
        self._has_reset = logic.has_reset
        for bit in logic.inputs:
            self._inputs[bit.name].set(bit.initial)
        self._engine.step_design()

    def state(self) -> Snapshot:
        """All registers, memory rows and inputs, also those that reach no output; for `restore`."""
        return tuple(cell.get() for cell in self._cells)

    def restore(self, snapshot: Snapshot) -> None:
        """Returns to a state that `state` gave, of this session or another of the same elaboration."""
        for cell, value in zip(self._cells, snapshot, strict=True):
            cell.set(value)
        self._engine.step_design()

    def levels(self) -> dict[str, int]:
        """The level of every switch, by its event's name."""
        return {name: place.get() for name, place in self._inputs.items()}

    def apply(self, event: str) -> None:
        """One event: a domain's tick, a press of "reset", or the flip of one input bit.

        Raises KeyError on a name that is none of these.
        """
        clock = self._clocks.get(event)
        if clock is not None:
            step = self._engine.step_design
            clock.update(1)
            step()
            clock.update(0)
            step()
            return
        if event in self._inputs:
            place = self._inputs[event]
            place.set(place.get() ^ 1)
        elif event == "reset" and self._has_reset:
            for cell in self._reset:
                cell.set(cell.initial())
        elif event not in self._idle:
            raise KeyError(event)
        self._engine.step_design()

    def outputs(self) -> tuple[int, ...]:
        """The output bits, in the order of `logic.outputs`."""
        return self._outputs.read()

    def registers(self) -> tuple[int, ...]:
        """The register bits, in the order of `logic.registers`."""
        return self._registers.read()

    def _slot(self, signal: Signal) -> Any:
        state = self._engine.state
        return state.slots[state.get_signal(signal)]

    def _place(self, place: SignalBit | RowBit) -> _Bit:
        if isinstance(place, RowBit):
            state = self._engine.state
            return _Bit(_Row(state.slots[state.get_memory(place.memory)], place.row), place.bit)
        if isinstance(place.signal, Const):
            return _Bit(_Fixed(place.signal), place.bit)
        assert isinstance(place.signal, Signal)
        return _Bit(_Word(self._slot(place.signal), place.signal), place.bit)


def run_hdl(elaboration: Elaboration, body: Callable[[HdlSession], T]) -> T:
    """The result of `body(session)`, called within a fresh simulation of the machine before its first event.

    What `body` raises comes out as it is.
    """
    results: list[T] = []

    async def testbench(context: Any) -> None:
        results.append(body(HdlSession(elaboration, context)))

    simulator = simulator_of(elaboration.hookup.design)
    simulator.add_testbench(testbench)
    simulator.run()
    return results[0]


class _Word:
    """A signal's whole value in the simulator, as an unsigned number under a mask."""

    def __init__(self, slot: Any, signal: Signal) -> None:
        self.slot, self.key = slot, id(slot)
        self._width, self._signed, self._init = len(signal), signal.shape().signed, signal.init

    def current(self) -> int:
        return int(self.slot.curr)

    def initial(self) -> int:
        return int(self._init)

    def update(self, value: int, mask: int) -> None:
        value = self.slot.next & ~mask | value & mask
        if self._signed:
            top = 1 << (self._width - 1)
            value = (value & (2 * top - 1) ^ top) - top
        self.slot.update(value)


class _Row:
    """One row of a memory in the simulator."""

    def __init__(self, slot: Any, row: int) -> None:
        self.slot, self.row, self.key = slot, row, (id(slot), row)

    def current(self) -> int:
        return int(self.slot.data[self.row])

    def initial(self) -> int:
        raise AssertionError("no reset reaches a memory")

    def update(self, value: int, mask: int) -> None:
        if (self.current() ^ value) & mask:
            self.slot.write(self.row, value, mask)


class _Fixed:
    """An output that is a constant."""

    def __init__(self, value: Const) -> None:
        self.value, self.key = value.value, id(value)

    def current(self) -> int:
        return int(self.value)

    initial = current

    def update(self, value: int, mask: int) -> None:
        raise AssertionError("a constant is set by nothing")


class _Bit:
    """One bit of a word."""

    def __init__(self, word: _Word | _Row | _Fixed, bit: int) -> None:
        self.word, self.bit = word, bit

    def get(self) -> int:
        return self.word.current() >> self.bit & 1

    def set(self, level: int) -> None:
        self.word.update(level << self.bit, 1 << self.bit)


class _Cell:
    """The bits of one word that hold state."""

    def __init__(self, word: _Word | _Row | _Fixed) -> None:
        self.word, self.mask = word, 0

    def get(self) -> int:
        return self.word.current() & self.mask

    def set(self, value: int) -> None:
        self.word.update(value, self.mask)

    def initial(self) -> int:
        return self.word.initial()


def _cells(bits: Sequence[_Bit]) -> list[_Cell]:
    """Bits joined into words, in the order of their first bits."""
    cells: dict[object, _Cell] = {}
    for bit in bits:
        cells.setdefault(bit.word.key, _Cell(bit.word)).mask |= 1 << bit.bit
    return list(cells.values())


class _Probe:
    """Reads many bits by reading each word once."""

    def __init__(self, bits: Sequence[_Bit]) -> None:
        words: dict[object, int] = {}
        self._words: list[Callable[[], int]] = []
        self._plan: list[tuple[int, int]] = []
        for bit in bits:
            if bit.word.key not in words:
                words[bit.word.key] = len(self._words)
                self._words.append(bit.word.current)
            self._plan.append((words[bit.word.key], bit.bit))

    def read(self) -> tuple[int, ...]:
        values = [current() for current in self._words]
        return tuple([values[word] >> bit & 1 for word, bit in self._plan])
