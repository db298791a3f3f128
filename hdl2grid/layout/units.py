"""Move cells on a board. A *unit* is a cell with the cells that follow it: those that stand in its place in the copies
of its block. All of a unit moves at once and by the same step, so that copies stay translates of each other."""

from __future__ import annotations

from typing import Any

from numba import njit

from hdl2grid.layout.arrays import CLOSED, Board, Shape


@njit(cache=True)
def fits(grid: Any, px: int, py: int, w: int, h: int, gap_x: int, gap_y: int, margin: int, a: int, b: int) -> bool:
    """Whether a cell of size w x h may stand at (px, py): on no closed tile, in its gap no cell but `a`, `b`."""
    height, width = grid.shape
    if px < margin or py < margin or px + w > width - margin or py + h > height - margin:
        return False
    for yy in range(max(0, py - gap_y), min(height, py + h + gap_y)):
        for xx in range(max(0, px - gap_x), min(width, px + w + gap_x)):
            other = grid[yy, xx]
            if other >= 0 and other != a and other != b:
                return False
            if other == CLOSED and px <= xx < px + w and py <= yy < py + h:
                return False
    return True


@njit(cache=True)
def stamp(grid: Any, px: int, py: int, w: int, h: int, value: int) -> None:
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
    return int(1 + shape.unit_start[a + 1] - shape.unit_start[a])


@njit(cache=True)
def lift(a: int, shape: Shape, board: Board) -> None:
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
def try_drop(a: int, dx: int, dy: int, shape: Shape, board: Board, gx: int, gy: int, margin: int) -> bool:
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
        if not fits(board.grid, px, py, shape.w[cell], shape.h[cell], gx, gy, margin, -1, -1):
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
def shift(a: int, dx: int, dy: int, shape: Shape, board: Board, gx: int, gy: int, margin: int) -> bool:
    """Move a unit by a step if it fits there."""
    lift(a, shape, board)
    if try_drop(a, dx, dy, shape, board, gx, gy, margin):
        return True
    drop(a, 0, 0, shape, board)
    return False


@njit(cache=True)
def shift_back(a: int, dx: int, dy: int, shape: Shape, board: Board) -> None:
    lift(a, shape, board)
    drop(a, -dx, -dy, shape, board)


@njit(cache=True)
def trade(
    a: int, b: int, feet: bool, shape: Shape, board: Board, gx: int, gy: int, margin: int, step: Any
) -> bool:  # fmt: skip
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
    if try_drop(a, step[0], step[1], shape, board, gx, gy, margin):
        if try_drop(b, step[2], step[3], shape, board, gx, gy, margin):
            return True
        lift(a, shape, board)
        drop(a, -step[0], -step[1], shape, board)
    else:
        drop(a, 0, 0, shape, board)
    drop(b, 0, 0, shape, board)
    return False


@njit(cache=True)
def trade_back(a: int, b: int, shape: Shape, board: Board, step: Any) -> None:
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
def exchange(t1: int, t2: int, shape: Shape, board: Board) -> None:
    """Let two toggles of a stack trade places, and those that follow them."""
    board.dy[t1], board.dy[t2] = board.dy[t2], board.dy[t1]
    for k in range(shape.twin_start[t1 + 1] - shape.twin_start[t1]):
        a, b = shape.twin_tiles[shape.twin_start[t1] + k], shape.twin_tiles[shape.twin_start[t2] + k]
        board.dy[a], board.dy[b] = board.dy[b], board.dy[a]
