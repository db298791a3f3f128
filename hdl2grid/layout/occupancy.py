"""What lies on the tiles of a board: counts of wires by colour and way, and the pins of nets.

Directions are 0 east, 1 south, 2 west, 3 north.
"""

from __future__ import annotations

from typing import Any

from numba import njit

from hdl2grid.layout.arrays import COLOURS, Board, Placement, Routes, Shape


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
    """Whether two nets of one colour cross on a tile."""
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
    """Count what lies on the tiles anew, from all routes."""
    board.ways_on[:, :, :] = 0
    board.crossings[:] = 0
    for net in range(board.length.shape[0]):
        lay(net, board, 1)


@njit(cache=True)
def put_aside(net: int, board: Board, kept: Routes) -> None:
    """Copy the route of a net to `kept`."""
    size = board.length[net]
    kept.route[net, :size], kept.ways[net, :size] = board.route[net, :size], board.ways[net, :size]
    kept.length[net], kept.reached[net] = size, board.reached[net]
    kept.joint[net], kept.strokes[net], kept.bends[net] = board.joint[net], board.strokes[net], board.bends[net]


@njit(cache=True)
def bring_back(net: int, board: Board, kept: Routes) -> None:
    """Copy the route of a net from `kept`; what lies on the tiles is not changed."""
    size = kept.length[net]
    board.route[net, :size], board.ways[net, :size] = kept.route[net, :size], kept.ways[net, :size]
    board.length[net], board.reached[net] = size, kept.reached[net]
    board.joint[net], board.strokes[net], board.bends[net] = kept.joint[net], kept.strokes[net], kept.bends[net]


@njit(cache=True)
def keep_placement(board: Board, kept: Placement) -> None:
    """Copy places and colours to `kept`."""
    kept.x[:], kept.y[:], kept.dx[:], kept.dy[:] = board.x, board.y, board.dx, board.dy
    kept.colour[:] = board.colour


@njit(cache=True)
def put_placement(kept: Placement, board: Board) -> None:
    """Bring the cells and colours back; what lies on the grid has to be brought up to date then."""
    board.x[:], board.y[:], board.dx[:], board.dy[:] = kept.x, kept.y, kept.dx, kept.dy
    board.colour[:] = kept.colour


@njit(cache=True)
def load(c: int, tile: int, board: Board) -> int:
    """How many nets of a colour lie on a tile."""
    return int(board.ways_on[c, tile, 0] + board.ways_on[c, tile, 1] + board.ways_on[c, tile, 2])


@njit(cache=True)
def grid_tile(tile: int, shape: Shape, board: Board) -> int:
    """Where a tile of the netlist stands on the grid."""
    cell = shape.cell_of[tile]
    return int((board.y[cell] + board.dy[tile]) * board.size[0] + board.x[cell] + board.dx[tile])


@njit(cache=True)
def pins_of(net: int, shape: Shape, board: Board, pins: Any, common: bool) -> int:
    """Grid tiles that the net must join, drivers first; 0 if the net does not exist. With `common` only those that
    correspond in all copies of the block."""
    s, c = net // COLOURS, net % COLOURS
    if board.usage[s, c] == 0:
        return 0
    count = 0
    for k in range(shape.drive_start[s], shape.drive_start[s + 1]):
        pins[count] = grid_tile(shape.drive_tiles[k], shape, board)
        count += 1
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        v = shape.of_vars[j]
        if board.colour[v] == c and (not common or shape.lead_var[v] >= 0):
            for k in range(shape.var_start[v], shape.var_start[v + 1]):
                pins[count] = grid_tile(shape.var_tiles[k], shape, board)
                count += 1
    return count


@njit(cache=True)
def copies_of(net: int, shape: Shape, board: Board, nets: Any, offs: Any) -> int:
    """The nets that are laid like `net`, which is in the first copy of a block: itself and one in each other copy.

    They go to `nets`, their places from it, as differences of grid tiles, columns and rows, to `offs`; returns their
    number. It is 1 for any net that is laid by itself.
    """
    s, c = net // COLOURS, net % COLOURS
    nets[0] = net
    offs[0, 0] = offs[0, 1] = offs[0, 2] = 0
    if shape.sig_twin_start[s + 1] == shape.sig_twin_start[s] or board.loose[s] or board.usage[s, c] == 0:
        return 1
    bound = False
    for j in range(shape.of_start[s], shape.of_start[s + 1]):
        v = shape.of_vars[j]
        bound = bound or (board.colour[v] == c and shape.lead_var[v] >= 0)
    if not bound:
        return 1
    own = shape.cell_of[shape.drive_tiles[shape.drive_start[s]]]
    count = 1
    for j in range(shape.sig_twin_start[s], shape.sig_twin_start[s + 1]):
        twin = shape.sig_twins[j]
        cell = shape.cell_of[shape.drive_tiles[shape.drive_start[twin]]]
        nets[count] = COLOURS * twin + c
        offs[count, 1], offs[count, 2] = board.x[cell] - board.x[own], board.y[cell] - board.y[own]
        offs[count, 0] = offs[count, 2] * board.size[0] + offs[count, 1]
        count += 1
    return count


@njit(cache=True)
def blame_first(shape: Shape, board: Board, nets: Any, offs: Any) -> None:
    """Where a net that is laid like one of a first copy is bad, mark that one instead: they are laid together."""
    for s in range(shape.lead_sig.shape[0]):
        lead = shape.lead_sig[s]
        if lead != s:
            for c in range(COLOURS):
                if board.bad[COLOURS * s + c] and copies_of(COLOURS * lead + c, shape, board, nets, offs) > 1:
                    board.bad[COLOURS * s + c] = False
                    board.bad[COLOURS * lead + c] = True
