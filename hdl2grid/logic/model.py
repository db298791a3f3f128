"""The logic of a machine, flat and bit by bit: what elaboration hands to synthesis."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.errors import SourceLine
from hdl2grid.logic.xag import Literal, Xag


@dataclass(frozen=True)
class InputBit:
    """One switch. `name` is its event name ("hold", "word[0]"); `initial` its level before any event."""

    name: str
    literal: Literal
    initial: int
    source: SourceLine | None = None


@dataclass(frozen=True)
class RegisterBit:
    """One bit of state, clocked by the event `domain`; `data` is what it takes at that event.

    A press of `reset` sets it to `init` where `resettable`. `keep_code`: the user has chosen the code of its word.
    """

    name: str
    literal: Literal
    data: Literal
    init: int
    domain: str
    resettable: bool
    source: SourceLine | None = None
    keep_code: bool = False


@dataclass(frozen=True)
class OutputBit:
    """One bit of an output port under its flat name ("ones[3]")."""

    name: str
    literal: Literal
    source: SourceLine | None = None


@dataclass(frozen=True)
class Logic:
    """A whole machine as registers and combinational functions over one XOR-AND graph.

    The variables of `xag` are exactly the inputs and the registers. Events are the domains' names, "reset" if
    `has_reset`, and the inputs' names; one event happens at a time.
    """

    name: str
    xag: Xag
    domains: tuple[str, ...]
    has_reset: bool
    inputs: tuple[InputBit, ...]
    registers: tuple[RegisterBit, ...]
    outputs: tuple[OutputBit, ...]
