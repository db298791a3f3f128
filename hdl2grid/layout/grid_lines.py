"""Take a row or a column out of a layout, or put one in: cells close up or make room, wires are carried along."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below, unit
from hdl2grid.layout.arrays import FAR_OFF, Board, Ints, Scratch, Shape, fresh_board
from hdl2grid.layout.occupancy import lay_all
from hdl2grid.layout.placement import Box, PlaceParams, apart, in_order, index_tiles, stamp_all
from hdl2grid.layout.records import Record
from hdl2grid.layout.routing import find_conflicts


@dataclass(frozen=True, eq=False)
class Squeeze(Record):
    """What is to close up along one axis: starts and sizes of cells along it and across it; which of them are `pinned`,
    and so come to `home`; the gaps to be kept along and across; the `low` and `high` end of the room, both included.
    `out` is room for the new starts, `tight` for which cells stand in a chain that is too long."""

    start: Any
    size: Any
    cross: Any
    cross_size: Any
    pinned: Any
    home: Any
    out: Any
    tight: Any
    gap: int
    cross_gap: int
    low: int
    high: int


@njit(cache=True)
def close_up(cells: Squeeze, at: int) -> bool:
    """New places along one axis for cells that keep their order; those after `at` want to come one tile nearer.

    Cells whose ranges across the axis come within `cross_gap` keep `gap` tiles apart: first and last places are longest
    paths in the graph of these constraints (as in the compaction of symbolic layouts, Y. E. Cho, DAC 1985). False where
    there is no room.
    """
    start, size, cross, cross_size = cells.start, cells.size, cells.cross, cells.cross_size
    pinned, home, out, tight = cells.pinned, cells.home, cells.out, cells.tight
    gap, cross_gap, low = cells.gap, cells.cross_gap, cells.low
    n = start.shape[0]
    order = np.argsort(start, kind="mergesort")
    before = np.zeros((n, n), np.bool_)
    for i in range(n):
        c = order[i]
        for j in range(i):
            b = order[j]
            near = cross[b] < cross[c] + cross_size[c] + cross_gap and cross[c] < cross[b] + cross_size[b] + cross_gap
            before[b, c] = near and start[b] < start[c]
    first = np.full(n, low, np.int64)
    last = np.zeros(n, np.int64)
    for i in range(n):
        c = order[i]
        for j in range(i):
            if before[order[j], c]:
                first[c] = max(first[c], first[order[j]] + size[order[j]] + gap)
        if pinned[c]:
            first[c] = home[c]
    room = True
    for i in range(n - 1, -1, -1):
        c = order[i]
        last[c] = cells.high - size[c] + 1
        for j in range(i + 1, n):
            if before[c, order[j]]:
                last[c] = min(last[c], last[order[j]] - gap - size[c])
        if pinned[c]:
            last[c] = min(last[c], home[c])
        tight[c] = first[c] > last[c]
        room = room and not tight[c]
    if not room:
        return False
    for i in range(n):
        c = order[i]
        want = start[c] - 1 if start[c] > at and not pinned[c] else start[c]
        for j in range(i):
            if before[order[j], c]:
                want = max(want, out[order[j]] + size[order[j]] + gap)
        out[c] = home[c] if pinned[c] else max(low, min(last[c], want))
    return True


@njit(cache=True)
def move_routes(old: Board, new: Board, axis: int, at: int) -> None:
    """Copy all routes less the tiles of the line that goes."""
    width, slim = old.size[0], new.size[0]
    for n in range(old.length.shape[0]):
        count = 0
        for i in range(old.length[n]):
            x, y = old.route[n, i] % width, old.route[n, i] // width
            if (x if axis == 0 else y) == at:
                continue
            if axis == 0 and x > at:
                x -= 1
            if axis == 1 and y > at:
                y -= 1
            new.route[n, count] = y * slim + x
            new.ways[n, count] = old.ways[n, i]
            count += 1
        new.length[n] = count
        new.reached[n] = count > 0


def mark_for_mending(shape: Shape, board: Board, scratch: Scratch) -> None:
    """Bring the grid of a board with new places and routes up to date, and mark all its nets."""
    stamp_all(shape, board)
    index_tiles(shape, board)
    lay_all(board)
    find_conflicts(board, scratch, 0.0)
    board.bad[:] = (board.usage > 0).reshape(-1)
    board.joint[:] = 0


def _with_keep_outs(shape: Shape, board: Board, axis: int, gap: int, cross_gap: int) -> tuple[Ints, Ints, Ints, Ints]:
    """Starts and sizes along the axis, and across it, of all cells and then of the keep-outs; these are made smaller,
    so that a cell whose gap is kept stands one tile from them."""
    first, second = (0, 1) if axis == 0 else (1, 0)
    corner, extent = (board.x, board.y), (shape.w, shape.h)
    low, high = shape.keep_out[:, :2], shape.keep_out[:, 2:]
    less, cross_less = gap - 1, cross_gap - 1
    return (
        np.concatenate([corner[first], low[:, first] + less]),
        np.concatenate([extent[first], np.maximum(1, high[:, first] - low[:, first] + 1 - 2 * less)]),
        np.concatenate([corner[second], low[:, second] + cross_less]),
        np.concatenate([extent[second], np.maximum(1, high[:, second] - low[:, second] + 1 - 2 * cross_less)]),
    )


def _with_pixels(
    shape: Shape, board: Board, axis: int, at: int, lines: tuple[Ints, Ints, Ints, Ints], pinned: Any
) -> tuple[tuple[Ints, Ints, Ints, Ints], Ints, Any]:
    """The same with the pixels of an open panel behind them, which take one step with the panel if it comes after line
    `at`; where all that is pinned comes to; and what is. The panel itself is in nobody's way."""
    start, size, cross, cross_size = (line.copy() for line in lines)
    panel = shape.panel
    tiles = shape.cell_tiles[shape.cell_start[panel] : shape.cell_start[panel + 1]]
    along, across = (board.dx, board.dy) if axis == 0 else (board.dy, board.dx)
    ones = np.ones(len(tiles), np.int64)
    begin, end = start[panel] + along[tiles], cross[panel] + across[tiles]
    step = int(start[panel] > at)
    cross[panel] = -FAR_OFF
    pinned = np.concatenate([pinned, ones.astype(np.bool_)])
    pinned[panel] = True
    home = np.concatenate([start, begin])
    home[len(start) :] -= step
    home[panel] -= step
    grown = (np.concatenate(pair) for pair in ((start, begin), (size, ones), (cross, end), (cross_size, ones)))
    return tuple(grown), home, pinned  # type: ignore[return-value]


def step_units(shape: Shape, old: Board, new: Board, axis: int, at: int, step: int) -> None:
    """Move all units by a `step` along an axis whose first cell begins at line `at` or later (along y: has its foot
    there): rows of feet and copies of blocks stay what they are."""
    start = old.x if axis == 0 else old.y + shape.h - 1
    moves = (start >= at) & ~shape.pinned
    moves[shape.panel] &= bool(old.x[shape.panel] >= at if axis == 0 else old.y[shape.panel] >= at)
    (new.x if axis == 0 else new.y)[moves[shape.lead_cell]] += step


def _closed_tidily(shape: Shape, board: Board, places: PlaceParams, axis: int, at: int) -> Board | None:
    """A board with the cells' new places where line `at` has been taken out, or None."""
    size = [int(board.size[0]), int(board.size[1])]
    size[axis] -= 1
    if axis == 1 and board.rows[at] and not board.rows.all():
        return None
    new = fresh_board(board, *size)
    step_units(shape, board, new, axis, at + 1, -1)
    if axis == 1:
        new.rows[:] = np.delete(board.rows, at)
    else:
        new.rows[:] = board.rows
    if not all_apart(shape, new, places.gap_x, places.gap_y):
        return None
    inside = (new.x >= places.margin) & (new.y >= places.margin)
    inside &= (new.x + shape.w <= size[0] - places.margin) & (new.y + shape.h <= size[1] - places.margin)
    return new if (inside | shape.pinned).all() else None


def without_line(
    shape: Shape, board: Board, scratch: Scratch, places: PlaceParams, axis: int, at: int, is_tidy: bool = False
) -> Board | Ints:
    """The board without column (`axis` 0) or row (1) number `at`, with all nets marked to be mended; or, where the
    cells cannot close up, the numbers of those that stand in the way. With `is_tidy` cells move as in `step_units`."""
    size = [int(board.size[0]), int(board.size[1])]
    size[axis] -= 1
    if is_tidy:
        closed = _closed_tidily(shape, board, places, axis, at)
        if closed is None or not in_order(shape, closed):
            return np.zeros(0, np.int64)
        move_routes(board, closed, axis, at)
        mark_for_mending(shape, closed, scratch)
        return closed
    gaps = (places.gap_x, places.gap_y) if axis == 0 else (places.gap_y, places.gap_x)
    lines = _with_keep_outs(shape, board, axis, *gaps)
    count = len(board.x)
    home, pinned = lines[0].copy(), np.concatenate([shape.pinned, np.ones(len(lines[0]) - count, np.bool_)])
    if shape.is_open:
        lines, home, pinned = _with_pixels(shape, board, axis, at, lines, pinned)
    start, extent, cross, cross_extent = lines
    cells = Squeeze(
        start=start, size=extent, cross=cross, cross_size=cross_extent, pinned=pinned, home=home,
        out=np.zeros(len(pinned), np.int64), tight=np.zeros(len(pinned), np.bool_), gap=gaps[0], cross_gap=gaps[1],
        low=places.margin, high=size[axis] - 1 - places.margin,
    )  # fmt: skip
    if not close_up(cells, at):
        return np.flatnonzero(cells.tight[:count])
    new, out = fresh_board(board, *size), cells.out
    new.x[:], new.y[:] = (out[:count], board.y) if axis == 0 else (board.x, out[:count])
    if not in_order(shape, new):
        return np.zeros(0, np.int64)
    move_routes(board, new, axis, at)
    mark_for_mending(shape, new, scratch)
    return new


@njit(cache=True)
def stretch_routes(old: Board, new: Board, axis: int, at: int) -> None:
    """Copy all routes, tiles from `at` on one further, and bridge the new line."""
    width, wide = old.size[0], new.size[0]
    room = new.route.shape[1]
    line = np.zeros(old.size[0] + old.size[1], np.int64)
    for n in range(old.length.shape[0]):
        line[:] = 0
        count = 0
        for i in range(old.length[n]):
            x, y = old.route[n, i] % width, old.route[n, i] // width
            along, across = (x, y) if axis == 0 else (y, x)
            if along == at - 1:
                line[across] |= 1
            if along == at:
                line[across] |= 2
            if along >= at:
                along += 1
            new.route[n, count] = across * wide + along if axis == 0 else along * wide + across
            new.ways[n, count] = old.ways[n, i]
            count += 1
        for across in range(line.shape[0]):
            if line[across] == 3 and count < room:
                new.route[n, count] = across * wide + at if axis == 0 else at * wide + across
                new.ways[n, count] = axis
                count += 1
        new.length[n] = count
        new.reached[n] = old.reached[n]


def with_line(shape: Shape, board: Board, scratch: Scratch, axis: int, at: int, is_tidy: bool = False) -> Board | None:
    """The board with an empty column (`axis` 0) or row (1) put in before line `at`; cells that begin there or
    later move on, but for those that are pinned; with `is_tidy` as in `step_units`. All nets are marked to be mended.
    None where cells would come too near to each other or leave the floorplan's order."""
    size = [int(board.size[0]), int(board.size[1])]
    size[axis] += 1
    new = fresh_board(board, *size)
    start = new.x if axis == 0 else new.y
    if is_tidy:
        step_units(shape, board, new, axis, at, 1)
        new.rows[:] = np.insert(board.rows, at, False) if axis == 1 else board.rows
    else:
        start[(start >= at) & ~shape.pinned] += 1
    if not in_order(shape, new) or not all_apart(shape, new, 1, 1):
        return None
    stretch_routes(board, new, axis, at)
    mark_for_mending(shape, new, scratch)
    return new


@njit(cache=True)
def box_of(cell: int, shape: Shape, board: Board) -> Box:
    """Where a cell stands, and its size."""
    return board.x[cell], board.y[cell], shape.w[cell], shape.h[cell]


@njit(cache=True)
def apart_from_pixels(a: int, shape: Shape, board: Board, gap_x: int, gap_y: int) -> bool:
    """The same between a cell and all pixels of an open panel."""
    panel = shape.panel
    for i in range(shape.cell_start[panel], shape.cell_start[panel + 1]):
        tile = shape.cell_tiles[i]
        pixel = board.x[panel] + board.dx[tile], board.y[panel] + board.dy[tile], 1, 1
        if not apart(box_of(a, shape, board), pixel, gap_x, gap_y):
            return False
    return True


@njit(cache=True)
def all_apart(shape: Shape, board: Board, gap_x: int, gap_y: int) -> bool:
    """Whether so many columns and rows are free between any two cells, corners included. Cells that a floorplan has
    pinned stand as near to each other as it likes."""
    n = shape.w.shape[0]
    for a in range(n):
        for b in range(a):
            if shape.pinned[a] and shape.pinned[b]:
                continue
            if shape.is_open and (a == shape.panel or b == shape.panel):
                if not apart_from_pixels(a if b == shape.panel else b, shape, board, gap_x, gap_y):
                    return False
                continue
            if not apart(box_of(a, shape, board), box_of(b, shape, board), gap_x, gap_y):
                return False
    return True


def pick_gap(shape: Shape, board: Board, panel: int | None, rng: Any) -> tuple[int, int]:
    """Where a new line may help: beside a random tile that clashes, but not through the panel: (axis, number)."""
    width = int(board.size[0])
    tiles = np.flatnonzero(board.clash.any(axis=0))
    tile = int(tiles[below(rng, len(tiles))]) if len(tiles) else below(rng, len(board.tile_at))
    axis = below(rng, 2)
    at = (tile % width if axis == 0 else tile // width) + below(rng, 2)
    if panel is not None:
        first = int((board.x if axis == 0 else board.y)[panel])
        last = first + int((shape.w if axis == 0 else shape.h)[panel])
        if first < at < last:
            at = first if at - first < last - at else last
    return axis, max(1, min(int(board.size[axis]) - 1, at))


def pick_line(shape: Shape, board: Board, rng: Any) -> tuple[int, int]:
    """A row or column, at random, those with few wires along them more often, none through an open panel: (axis,
    number)."""
    width, height = int(board.size[0]), int(board.size[1])
    loads = (board.ways_on[:, :, 1] + board.ways_on[:, :, 2]).sum(0).reshape(height, width).sum(0)
    lines = (board.ways_on[:, :, 0] + board.ways_on[:, :, 2]).sum(0).reshape(height, width).sum(1)
    weights = np.concatenate([1.0 / (1.0 + loads) ** 1.5 / height, 1.0 / (1.0 + lines) ** 1.5 / width])
    if shape.is_open:
        x, y, panel = int(board.x[shape.panel]), int(board.y[shape.panel]), shape.panel
        weights[x : x + int(shape.w[panel])] = 0.0
        weights[width + y : width + y + int(shape.h[panel])] = 0.0
    pick = unit(rng) * float(weights.sum())
    number = int(np.searchsorted(np.cumsum(weights), pick))
    number = min(number, width + height - 1)
    return (0, number) if number < width else (1, number - width)
