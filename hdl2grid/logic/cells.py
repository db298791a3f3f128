"""An elaborated design as cells over single-bit nets: what the reader of Amaranth's netlist hands to lowering.

A `Net` is an integer; 0 and 1 are the constants. Words are tuples of nets, lowest bit first.
"""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.errors import SourceLine

Net = int
Word = tuple[Net, ...]


@dataclass(frozen=True)
class Operator:
    """`op` is one of: ~ - + * & ^ | u// s// u% s% << u>> s>> b r& r^ r| == != u< s< u> s> u<= s<= u>= s>= m.

    Unary - and ~, the binary arithmetic and bitwise operators: operands and result of one width. Shifts: the
    first operand has the result's width. Comparisons: operands of one width, one bit out. "m": (select, if
    one, if zero). "b" is "r|".
    """

    op: str
    operands: tuple[Word, ...]
    outputs: Word
    source: SourceLine | None = None


@dataclass(frozen=True)
class Part:
    """`len(outputs)` bits of `value` from bit `offset * stride`; beyond its end, zeros or the sign."""

    value: Word
    signed: bool
    offset: Word
    stride: int
    outputs: Word
    source: SourceLine | None = None


@dataclass(frozen=True)
class Matches:
    """1 where `value` fits one of `patterns`, each a text of 0, 1 and - with the highest bit first."""

    value: Word
    patterns: tuple[str, ...]
    outputs: Word
    source: SourceLine | None = None


@dataclass(frozen=True)
class PriorityMatch:
    """Where `enable` is 1, the lowest of `inputs` that is 1; all else 0."""

    enable: Net
    inputs: Word
    outputs: Word
    source: SourceLine | None = None


@dataclass(frozen=True)
class Assignment:
    """Where `condition` is 1, the bits from `start` on become `value`."""

    condition: Net
    start: int
    value: Word


@dataclass(frozen=True)
class AssignmentList:
    """`default`, with each assignment carried out in turn."""

    default: Word
    assignments: tuple[Assignment, ...]
    outputs: Word
    source: SourceLine | None = None


@dataclass(frozen=True)
class AsyncRead:
    """The row of `memories[memory]` at `address`; a row that is not there reads as 0."""

    memory: int
    address: Word
    outputs: Word
    source: SourceLine | None = None


Cell = Operator | Part | Matches | PriorityMatch | AssignmentList | AsyncRead


@dataclass(frozen=True)
class Register:
    """One bit of state that drives `output` and takes `data` at each event of `domain`."""

    name: str
    output: Net
    data: Net
    init: int
    domain: str
    resettable: bool
    source: SourceLine | None = None
    keep_code: bool = False


@dataclass(frozen=True)
class SyncRead:
    """Registers that take the row at `address` where `enable` is 1. `transparent` lists the memory's write
    ports whose data shows through. Where `reset` is 1 and `enable` is 0 they return to their `init`; the
    `data` of these registers is not used."""

    memory: int
    address: Word
    enable: Net
    transparent: tuple[int, ...]
    registers: tuple[Register, ...]
    reset: Net = 0
    source: SourceLine | None = None


@dataclass(frozen=True)
class Write:
    """Bits of `data` go to the row at `address` where their `enable` is 1; a row that is not there is let be."""

    domain: str
    address: Word
    data: Word
    enable: Word


@dataclass(frozen=True)
class Memory:
    """`init` holds one unsigned number a row. Of writes in one event, later ports win."""

    name: str
    width: int
    init: tuple[int, ...]
    writes: tuple[Write, ...]
    source: SourceLine | None = None

    @property
    def depth(self) -> int:
        return len(self.init)


@dataclass(frozen=True)
class Input:
    """One bit of an input port."""

    name: str
    net: Net
    source: SourceLine | None = None


@dataclass(frozen=True)
class Output:
    """One bit of an output port."""

    name: str
    net: Net
    source: SourceLine | None = None


@dataclass(frozen=True)
class Netlist:
    """A flat design. Every net but the constants, inputs and register outputs is driven by one cell."""

    cells: tuple[Cell, ...]
    inputs: tuple[Input, ...]
    outputs: tuple[Output, ...]
    registers: tuple[Register, ...]
    reads: tuple[SyncRead, ...]
    memories: tuple[Memory, ...]
