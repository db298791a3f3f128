"""The mapped circuit: stacks, and for each sink the drivers whose pulses it gets. No places, no colours.

A *driver* is the name of a source or of a stack. In a round each driver that emits flips every toggle and
pixel that lists it and marks every strobe that lists it.
"""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.errors import SourceLine

FUNCTIONS = ("AND", "OR", "NAND", "NOR", "XOR", "XNOR")


@dataclass(frozen=True)
class Source:
    """A ticker (`period_s`, `running`), a button, or a switch (`on`), by its event's name."""

    kind: str
    name: str
    period_s: float | int | None = None
    running: bool | None = None
    on: bool | None = None


@dataclass(frozen=True)
class Toggle:
    """A toggle placed as `bit`, flipped by `drivers` (ascending, each at most once)."""

    bit: int
    drivers: tuple[str, ...]


@dataclass(frozen=True)
class Stack:
    """One gate with toggles, lowest first, and the drivers of its strobe (None: it has no strobe)."""

    name: str
    function: str
    toggles: tuple[Toggle, ...]
    strobe: tuple[str, ...] | None = None


@dataclass(frozen=True)
class Pixel:
    """One output bit: lit in the first state when `lit`, flipped by `drivers`."""

    signal: str
    lit: bool
    drivers: tuple[str, ...]


@dataclass(frozen=True)
class Origin:
    """What a stack stands for: the block it is part of, an HDL signal, and a source line where known."""

    block: str
    signal: str
    source: SourceLine | None = None


@dataclass(frozen=True)
class Circuit:
    """A whole machine, ready for forming nets. `origin[i]` belongs to `stacks[i]`.

    `levels` gives, for each HDL register bit and output bit whose code was kept, its drivers (whose pulses'
    parity is the bit's change since the first state) and its initial value.
    """

    name: str
    sources: tuple[Source, ...]
    stacks: tuple[Stack, ...]
    pixels: tuple[Pixel, ...]
    origin: tuple[Origin, ...]
    levels: tuple[Level, ...] = ()


@dataclass(frozen=True)
class Level:
    """How an HDL bit is read off the circuit: `initial` XOR the parity of all pulses of `drivers`."""

    signal: str
    drivers: tuple[str, ...]
    initial: int
