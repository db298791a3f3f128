"""Why a size of the grid failed: the tiles in conflict, and the nets that want them."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from hdl2grid.layout.arrays import COLOURS, Board, Scratch, Shape
from hdl2grid.layout.routing import find_conflicts
from hdl2grid.netlist import Netlist

MAX_SPOTS = 400


@dataclass(frozen=True)
class Spot:
    """A tile that more than one net wants in one colour (its number), by the names of their drivers; or, where
    `is_cut_off`, a pin that its net does not reach."""

    x: int
    y: int
    colour: int
    drivers: tuple[tuple[str, ...], ...]
    is_cut_off: bool = False


@dataclass(frozen=True)
class Trouble:
    """A size that failed. `conflicts` is the least count reached, None where the cells did not even find places.

    `spots` are where it failed, at most MAX_SPOTS; `wires` has for each row the number of colours on each tile;
    `devices` are the tiles with devices, `closed` those of keep-outs.
    """

    width: int
    height: int
    conflicts: int | None
    spots: tuple[Spot, ...] = ()
    wires: tuple[tuple[int, ...], ...] = ()
    devices: tuple[tuple[int, int], ...] = ()
    closed: tuple[tuple[int, int], ...] = ()


def trouble_of(netlist: Netlist, shape: Shape, board: Board, scratch: Scratch) -> Trouble:
    """What is in the way on a board with conflicts."""
    width, height = int(board.size[0]), int(board.size[1])
    conflicts = int(find_conflicts(board, scratch, 0.0))
    used = (board.ways_on.sum(axis=2) > 0).sum(axis=0).reshape(height, width)
    standing = board.tile_at.reshape(height, width)
    strange = len(netlist.tiles)
    return Trouble(
        width,
        height,
        conflicts,
        tuple(_clashes(netlist, board, scratch, width) + _cut_off(netlist, shape, board, width))[:MAX_SPOTS],
        tuple(tuple(int(v) for v in row) for row in used),
        tuple((int(x), int(y)) for y, x in np.argwhere((standing >= 0) & (standing != strange))),
        tuple((int(x), int(y)) for y, x in np.argwhere(standing == strange)),
    )


def _clashes(netlist: Netlist, board: Board, scratch: Scratch, width: int) -> list[Spot]:
    """Clashing tiles; where one net alone lies there, it is too near to another on the next tile."""
    spots = []
    for tile, colour in np.argwhere(board.clash.T).tolist():
        nets = [int(n) for n in scratch.nets_on[colour, tile, : min(2, scratch.number[colour, tile])]]
        drivers = tuple(netlist.signals[n // COLOURS].drivers for n in sorted(nets))
        spots.append(Spot(tile % width, tile // width, colour, drivers))
    return spots


def _cut_off(netlist: Netlist, shape: Shape, board: Board, width: int) -> list[Spot]:
    spots = []
    for net in np.flatnonzero((board.length > 0) & ~board.reached).tolist():
        signal, colour = net // COLOURS, net % COLOURS
        for variable in shape.of_vars[shape.of_start[signal] : shape.of_start[signal + 1]]:
            if board.colour[variable] == colour:
                first = shape.var_tiles[shape.var_start[variable]]
                cell = shape.cell_of[first]
                x, y = int(board.x[cell] + board.dx[first]), int(board.y[cell] + board.dy[first])
                spots.append(Spot(x, y, colour, (netlist.signals[signal].drivers,), True))
    return spots
