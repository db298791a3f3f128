"""Reads off a board in conflict what is in the way (`hdl2grid.base.failure_report`)."""

from __future__ import annotations

import numpy as np

from hdl2grid.base.failure_report import FailureReport, Spot
from hdl2grid.layout.arrays import COLOURS, Board, Scratch, Shape
from hdl2grid.layout.routing import find_conflicts
from hdl2grid.nets.model import Netlist

MAX_SPOTS = 400
"""Tiles in conflict that a failure report lists at most. Guessed: a picture with more tells no more."""


def failure_of(netlist: Netlist, shape: Shape, board: Board, scratch: Scratch) -> FailureReport:
    """What is in the way on a board with conflicts. A net's name is that of its first driver."""
    width, height = int(board.size[0]), int(board.size[1])
    conflicts = int(find_conflicts(board, scratch, 0.0))
    used = (board.ways_on.sum(axis=2) > 0).sum(axis=0).reshape(height, width)
    standing = board.tile_at.reshape(height, width)
    strange = len(netlist.tiles)
    return FailureReport(
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
        names = tuple(netlist.signals[n // COLOURS].drivers[0] for n in sorted(nets))
        spots.append(Spot(tile % width, tile // width, colour, names))
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
                spots.append(Spot(x, y, colour, (netlist.signals[signal].drivers[0],), True))
    return spots
