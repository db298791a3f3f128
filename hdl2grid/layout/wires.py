"""What lies on the tiles of a board: counts of wires by colour and way, and the pins of nets.

Directions are 0 east, 1 south, 2 west, 3 north.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from hdl2grid.layout.arrays import COLOURS, Board, Routes, Shape


@njit(cache=True)
def neighbour(tile: int, d: int, width: int, height: int) -> int:
    """The next tile in direction `d`, or -1 outside the grid."""
    x = tile % width
    if d == 0:
        return tile + 1 if x + 1 < width else -1
    if d == 2:
        return tile - 1 if x > 0 else -1
    if d == 1:
        return tile + width if tile + width < width * height else -1
    return tile - width if tile >= width else -1


@njit(cache=True)
def crosses(c: int, tile: int, board: Board) -> bool:
    on = board.ways_on
    return bool(on[c, tile, 0] == 1 and on[c, tile, 1] == 1 and on[c, tile, 2] == 0)


@njit(cache=True)
def lay(net: int, board: Board, sign: int) -> None:
    """Add (`sign` 1) or remove (-1) a routed net to what lies on the tiles."""
    c = net % COLOURS
    for i in range(board.length[net]):
        tile = board.route[net, i]
        if crosses(c, tile, board):
            board.crossings[tile] -= 1
        board.ways_on[c, tile, board.ways[net, i]] += sign
        if crosses(c, tile, board):
            board.crossings[tile] += 1


@njit(cache=True)
def lay_all(board: Board) -> None:
    board.ways_on[:, :, :] = 0
    board.crossings[:] = 0
    for net in range(board.length.shape[0]):
        lay(net, board, 1)


@njit(cache=True)
def room_for_routes(board: Board) -> Routes:
    """Room for all routes of the board; what stands in it means nothing until it is put there."""
    return Routes(
        np.empty_like(board.route), np.empty_like(board.ways), np.empty_like(board.length), np.empty_like(board.reached)
    )


@njit(cache=True)
def put_aside(net: int, board: Board, kept: Routes) -> None:
    size = board.length[net]
    kept.route[net, :size], kept.ways[net, :size] = board.route[net, :size], board.ways[net, :size]
    kept.length[net], kept.reached[net] = size, board.reached[net]


@njit(cache=True)
def bring_back(net: int, board: Board, kept: Routes) -> None:
    size = kept.length[net]
    board.route[net, :size], board.ways[net, :size] = kept.route[net, :size], kept.ways[net, :size]
    board.length[net], board.reached[net] = size, kept.reached[net]


@njit(cache=True)
def load(c: int, tile: int, board: Board) -> int:
    return int(board.ways_on[c, tile, 0] + board.ways_on[c, tile, 1] + board.ways_on[c, tile, 2])


@njit(cache=True)
def grid_tile(tile: int, shape: Shape, board: Board) -> int:
    cell = shape.cell_of[tile]
    return int((board.y[cell] + board.dy[tile]) * board.size[0] + board.x[cell] + board.dx[tile])


@njit(cache=True)
def pins_of(net: int, shape: Shape, board: Board, pins: Any) -> int:
    """Grid tiles that the net must join, drivers first; 0 if the net does not exist."""
    s, c = net // COLOURS, net % COLOURS
    if board.usage[s, c] == 0:
        return 0
    count = 0
    for k in range(shape.drive_start[s], shape.drive_start[s + 1]):
        pins[count] = grid_tile(shape.drive_tiles[k], shape, board)
        count += 1
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        v = shape.of_vars[j]
        if board.colour[v] == c:
            for k in range(shape.var_start[v], shape.var_start[v + 1]):
                pins[count] = grid_tile(shape.var_tiles[k], shape, board)
                count += 1
    return count
