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
class Site:
    """Where cells and wires may be: a floorplan as layout needs it. Without one, anything may be anywhere.

    `keep_out` are rectangles [x0, y0, x1, y1] of the grid, ends included, where nothing is laid; `pinned` are cells
    with their corner's place on the grid; `zone` (left, right, top, bottom: each None or a number of columns or rows
    counted from the panel cell's corner, the ends `right` and `bottom` excluded) is where all cells stand that are
    neither pinned nor the panel. `panel_at` is where in its cell the panel begins.
    """

    keep_out: tuple[tuple[int, int, int, int], ...] = ()
    pinned: tuple[tuple[int, int, int], ...] = ()
    zone: tuple[int | None, int | None, int | None, int | None] = (None, None, None, None)
    panel_at: tuple[int, int] = (0, 0)

    @property
    def is_absolute(self) -> bool:
        """Whether tiles of the grid are named, so that the plan must not be trimmed at its left and top."""
        return bool(self.keep_out or self.pinned)


@dataclass(frozen=True)
class Netlist:
    """Everything that placement, colouring and routing need to know of a circuit, its panel and its floorplan."""

    cells: tuple[Cell, ...]
    tiles: tuple[CellTile, ...]
    signals: tuple[Signal, ...]
    sinks: tuple[Sink, ...]
    site: Site = Site()

    @property
    def panel(self) -> int | None:
        """The number of the panel's cell, if there is one."""
        return next((number for number, cell in enumerate(self.cells) if cell.kind == "panel"), None)
