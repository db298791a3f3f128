"""A board of buttons and pixels in given places, for single searches of the layout."""

from __future__ import annotations

from hdl2grid.layout.arrays import Board, Scratch, Shape, make_board, make_scratch, make_shape
from hdl2grid.layout.placement import index_tiles
from hdl2grid.layout.routing import rip_all
from hdl2grid.layout.units import stamp
from hdl2grid.nets.model import Cell, CellTile, Netlist, Signal, Sink
from hdl2grid.plan.model import Device

Tile = tuple[int, int]


def lamps(pairs: list[tuple[Tile, Tile]], blocks: list[Tile], size: Tile) -> tuple[Netlist, Shape, Board, Scratch]:
    """Buttons joined to pixels, each on its tile, and pixels without wire in the way; all nets in the first colour."""
    places = [tile for pair in pairs for tile in pair] + blocks
    devices = [Device(kind, 0, 0) for _ in pairs for kind in ("button", "pixel")] + [Device("pixel", 0, 0)] * len(
        blocks
    )
    netlist = Netlist(
        tuple(Cell(str(i), "pixel", 1, 1, (i,), False, ()) for i in range(len(places))),
        tuple(CellTile(i, 0, 0, device) for i, device in enumerate(devices)),
        tuple(Signal((str(2 * i),), (2 * i,)) for i in range(len(pairs))),
        tuple(Sink((2 * i + 1,), (i,)) for i in range(len(pairs))),
    )
    shape = make_shape(netlist)
    board = make_board(netlist, shape, *size)
    for cell, (x, y) in enumerate(places):
        board.x[cell], board.y[cell] = x, y
        stamp(board.grid, x, y, 1, 1, cell)
    index_tiles(shape, board)
    board.usage[:, 0] = 1
    rip_all(board)
    return netlist, shape, board, make_scratch(netlist, *size)
