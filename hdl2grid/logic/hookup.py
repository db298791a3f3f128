"""Where the bits of a machine are found in Amaranth's simulator: by signal, not by anything that lowering did."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from amaranth.hdl import Signal, Value


@dataclass(frozen=True)
class SignalBit:
    """Bit `bit` of an Amaranth signal (or, for an output, of a constant)."""

    signal: Value
    bit: int


@dataclass(frozen=True)
class RowBit:
    """Bit `bit` of row `row` of an Amaranth `MemoryData`."""

    memory: Any
    row: int
    bit: int


@dataclass(frozen=True)
class Hookup:
    """A prepared design and the way to its bits.

    design: what Amaranth's simulator runs; opaque.
    checked: the same design with its own Assert and Assume statements, for a machine's checks.
    clocks: domain -> the clock signal to pulse.
    inputs, outputs, registers: flat name -> place; registers are all there are, memory rows among them, also
        those that reach no output.
    resettable: the names of the registers that the machine's reset returns to their initial value.
    """

    design: Any
    checked: Any
    clocks: Mapping[str, Signal]
    inputs: Mapping[str, SignalBit]
    outputs: Mapping[str, SignalBit]
    registers: Mapping[str, SignalBit | RowBit]
    resettable: frozenset[str]
