"""The netlist that layout works on: cells with their tiles, signals, and which sink needs which signal.

A *signal* is a set of drivers that always act together; a sink bears the XOR of its signals. Each signal becomes one
net or more: a net is a signal in one colour, with all of the signal's drivers and some of its sinks.
"""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.plan.model import Device


@dataclass(frozen=True)
class CellTile:
    """A device tile of cell number `cell`, at (`dx`, `dy`) from the cell's top left tile, holding `device`
    (whose own coordinates are meaningless until it is placed)."""

    cell: int
    dx: int
    dy: int
    device: Device


@dataclass(frozen=True)
class Cell:
    """A macro of device tiles that keep their places relative to each other.

    `kind` is "stack", "register" (a register and its reset side by side), "source", "panel" or "pixel".
    `tiles` are numbers into Netlist.tiles; `mirrorable` cells may be flipped left to right; the tiles of
    `exchangeable` (toggles of a stack) may trade places among each other.
    """

    name: str
    kind: str
    width: int
    height: int
    tiles: tuple[int, ...]
    mirrorable: bool
    exchangeable: tuple[int, ...]
    block: str = ""


@dataclass(frozen=True)
class Signal:
    """Drivers that every sink lists together or not at all; `tiles` are the drivers' tiles."""

    drivers: tuple[str, ...]
    tiles: tuple[int, ...]


@dataclass(frozen=True)
class Sink:
    """Tiles that take one decision of colour together: one toggle or strobe, or touching pixels of one bit."""

    tiles: tuple[int, ...]
    signals: tuple[int, ...]


@dataclass(frozen=True)
class Netlist:
    """Everything that placement, colouring and routing need to know of a circuit and its panel."""

    cells: tuple[Cell, ...]
    tiles: tuple[CellTile, ...]
    signals: tuple[Signal, ...]
    sinks: tuple[Sink, ...]
