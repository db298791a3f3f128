"""Move cells on a board. A *unit* is a cell with the cells that follow it: those that stand in its place in the copies
of its block. All of a unit moves at once and by the same step, so that copies stay translates of each other."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from numba import njit

from hdl2grid.base.rng import below
from hdl2grid.layout.arrays import CLOSED, Board, Shape
from hdl2grid.layout.records import Record


@dataclass(frozen=True)
class Room(Record):
    """`gap_x`, `gap_y`: free columns and rows around every cell, corners included; `margin`: free border tiles."""

    gap_x: int = 2
    gap_y: int = 1
    margin: int = 1


@njit(cache=True)
def fits(cell: int, px: int, py: int, shape: Shape, board: Board, room: Room) -> bool:
    """Whether a cell that stands nowhere may stand at (px, py): on no closed tile, no other cell in its gap."""
    grid, w, h, margin = board.grid, shape.w[cell], shape.h[cell], room.margin
    height, width = grid.shape
    if px < margin or py < margin or px + w > width - margin or py + h > height - margin:
        return False
    for yy in range(max(0, py - room.gap_y), min(height, py + h + room.gap_y)):
        for xx in range(max(0, px - room.gap_x), min(width, px + w + room.gap_x)):
            other = grid[yy, xx]
            if other >= 0:
                return False
            if other == CLOSED and px <= xx < px + w and py <= yy < py + h:
                return False
    return True


@njit(cache=True)
def stamp(grid: Any, px: int, py: int, w: int, h: int, value: int) -> None:
    """Fill a rectangle."""
    for yy in range(py, py + h):
        for xx in range(px, px + w):
            grid[yy, xx] = value


@njit(cache=True)
def stamp_cell(cell: int, shape: Shape, board: Board, value: int) -> None:
    """Fill a cell's rectangle in `grid`; of an open panel its pixels only."""
    if cell == shape.panel and shape.is_open:
        for i in range(shape.cell_start[cell], shape.cell_start[cell + 1]):
            tile = shape.cell_tiles[i]
            board.grid[board.y[cell] + board.dy[tile], board.x[cell] + board.dx[tile]] = value
        return
    stamp(board.grid, board.x[cell], board.y[cell], shape.w[cell], shape.h[cell], value)


@njit(cache=True)
def move_to(shape: Shape, board: Board, a: int, px: int, py: int) -> None:
    """Move one cell, whatever is there."""
    stamp_cell(a, shape, board, -1)
    board.x[a], board.y[a] = px, py
    stamp_cell(a, shape, board, a)


@njit(cache=True)
def in_unit(a: int, k: int, shape: Shape) -> int:
    """Cell `k` of the unit of cell `a`: itself, then its followers."""
    return int(a if k == 0 else shape.unit_cells[shape.unit_start[a] + k - 1])


@njit(cache=True)
def unit_size(a: int, shape: Shape) -> int:
    """How many cells move with this one, itself included."""
    return int(1 + shape.unit_start[a + 1] - shape.unit_start[a])


@njit(cache=True)
def lift(a: int, shape: Shape, board: Board) -> None:
    """Take a unit off the grid."""
    for k in range(unit_size(a, shape)):
        stamp_cell(in_unit(a, k, shape), shape, board, -1)


@njit(cache=True)
def drop(a: int, dx: int, dy: int, shape: Shape, board: Board) -> None:
    """Put a lifted unit down, a step further."""
    for k in range(unit_size(a, shape)):
        cell = in_unit(a, k, shape)
        board.x[cell] += dx
        board.y[cell] += dy
        stamp_cell(cell, shape, board, cell)


@njit(cache=True)
def in_window(a: int, px: int, py: int, shape: Shape, board: Board) -> bool:
    """Whether a cell of a block's first copy keeps to the block's window, if it has one, at (px, py)."""
    group = shape.group[a]
    if group < 0 or shape.panel < 0:
        return True
    x, y = px - board.x[shape.panel], py - board.y[shape.panel]
    return bool(
        x >= shape.window[group, 0]
        and x + shape.w[a] - 1 <= shape.window[group, 1]
        and y >= shape.window[group, 2]
        and y + shape.h[a] - 1 <= shape.window[group, 3]
    )


@njit(cache=True)
def try_drop(a: int, dx: int, dy: int, shape: Shape, board: Board, room: Room) -> bool:
    """Put a lifted unit down, a step further, if it fits there, its first foot in a row; else leave it lifted."""
    foot = board.y[a] + dy + shape.h[a] - 1
    if shape.h[a] > 1 and (foot < 0 or foot >= board.rows.shape[0] or not board.rows[foot]):
        return False
    if not in_window(a, board.x[a] + dx, board.y[a] + dy, shape, board):
        return False
    size = unit_size(a, shape)
    for k in range(size):
        cell = in_unit(a, k, shape)
        px, py = board.x[cell] + dx, board.y[cell] + dy
        if not fits(cell, px, py, shape, board, room):
            for j in range(k):
                stamp_cell(in_unit(a, j, shape), shape, board, -1)
                board.x[in_unit(a, j, shape)] -= dx
                board.y[in_unit(a, j, shape)] -= dy
            return False
        board.x[cell] += dx
        board.y[cell] += dy
        stamp_cell(cell, shape, board, cell)
    return True


@njit(cache=True)
def shift(a: int, dx: int, dy: int, shape: Shape, board: Board, room: Room) -> bool:
    """Move a unit by a step if it fits there."""
    lift(a, shape, board)
    if try_drop(a, dx, dy, shape, board, room):
        return True
    drop(a, 0, 0, shape, board)
    return False


@njit(cache=True)
def shift_back(a: int, dx: int, dy: int, shape: Shape, board: Board) -> None:
    """Undo `shift`."""
    lift(a, shape, board)
    drop(a, -dx, -dy, shape, board)


@njit(cache=True)
def trade(a: int, b: int, feet: bool, shape: Shape, board: Board, room: Room, step: Any) -> bool:
    """Let two units trade places, heads or feet kept, if they fit; the step of `a` and that of `b` go to `step`."""
    if shape.group[a] != shape.group[b]:
        return False
    step[0], step[1] = board.x[b] - board.x[a], board.y[b] - board.y[a]
    step[2], step[3] = -step[0], -step[1]
    if feet:
        step[1] += shape.h[b] - shape.h[a]
        step[3] += shape.h[a] - shape.h[b]
    lift(a, shape, board)
    lift(b, shape, board)
    if try_drop(a, step[0], step[1], shape, board, room):
        if try_drop(b, step[2], step[3], shape, board, room):
            return True
        lift(a, shape, board)
        drop(a, -step[0], -step[1], shape, board)
    else:
        drop(a, 0, 0, shape, board)
    drop(b, 0, 0, shape, board)
    return False


@njit(cache=True)
def trade_back(a: int, b: int, shape: Shape, board: Board, step: Any) -> None:
    """Undo `trade`."""
    lift(a, shape, board)
    lift(b, shape, board)
    drop(a, -step[0], -step[1], shape, board)
    drop(b, -step[2], -step[3], shape, board)


@njit(cache=True)
def mirror(a: int, shape: Shape, board: Board) -> None:
    """Flip all cells of a unit left to right."""
    for k in range(unit_size(a, shape)):
        cell = in_unit(a, k, shape)
        for i in range(shape.cell_start[cell], shape.cell_start[cell + 1]):
            tile = shape.cell_tiles[i]
            board.dx[tile] = shape.w[cell] - 1 - board.dx[tile]


@njit(cache=True)
def pick_toggles(rng: Any, a: int, shape: Shape) -> tuple[int, int]:
    """Two exchangeable tiles of a cell, at random; equal where there is nothing to exchange."""
    first = shape.swap_start[a]
    count = shape.swap_start[a + 1] - first
    if count < 2:
        return -1, -1
    t1 = shape.swap_tiles[first + below(rng, count)]
    return t1, shape.swap_tiles[first + below(rng, count)]


@njit(cache=True)
def exchange(t1: int, t2: int, shape: Shape, board: Board) -> None:
    """Let two toggles of a stack trade places, and those that follow them."""
    board.dy[t1], board.dy[t2] = board.dy[t2], board.dy[t1]
    for k in range(shape.twin_start[t1 + 1] - shape.twin_start[t1]):
        a, b = shape.twin_tiles[shape.twin_start[t1] + k], shape.twin_tiles[shape.twin_start[t2] + k]
        board.dy[a], board.dy[b] = board.dy[b], board.dy[a]
