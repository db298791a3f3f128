"""The arrays that the compiled kernels of layout share: what is fixed (Shape), what changes (Board), and scratch room.

Ragged rows are stored as (start, values): row i is values[start[i]:start[i + 1]]. A grid tile is the number
`y * width + x`. A *variable* is a pair (sink, signal): it takes one colour. Net number `4 * signal + colour` exists
when a variable of the signal has the colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt

from hdl2grid.layout.matched_blocks import MOST_COPIES, Repeat
from hdl2grid.layout.records import Record
from hdl2grid.nets.model import Netlist

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
COLOURS = 4
ALONG_X, ALONG_Y, OTHER = 0, 1, 2
"""What a net does on a tile: straight along x, straight along y, or a bend, a branch, an end, a pin."""
CLOSED = -2
"""In `Board.grid`: a tile where no movable cell may stand."""
WORST = 10.0
"""The greatest history of a tile, in tiles of wire, where nothing else is asked for. Guessed."""
FAR_OFF = 1 << 20
WATCH_STOP, WATCH_TRIES, WATCH_CONFLICTS, WATCH_WIDTH, WATCH_HEIGHT, WATCH_LEGAL, WATCH_COMPILING = range(7)
"""Places in `Shape.watch`: whether to stop, iterations done, conflicts, size of the grid, area of the best
legal layout, kernels being compiled. Long kernels leave their loop as soon as WATCH_STOP is not 0, with the best state
met."""


def new_watch() -> Ints:
    """A `watch` that nobody looks at."""
    return np.zeros(7, np.int64)


@dataclass(frozen=True, eq=False)
class Shape(Record):
    """A netlist that does not change while it is laid out."""

    w: Any  # cells: width, height, whether they may move, be mirrored
    h: Any
    movable: Any  # numbers of cells
    mirrorable: Any
    cell_of: Any  # tiles: their cell
    cell_start: Any  # cells: their tiles
    cell_tiles: Any
    swap_start: Any  # cells: their exchangeable tiles
    swap_tiles: Any
    sig_start: Any  # signals: all their tiles
    sig_tiles: Any
    of_cell_start: Any  # cells: the signals on them
    of_cell: Any
    signal_of: Any  # variables: their signal, their tiles
    var_start: Any
    var_tiles: Any
    drive_start: Any  # signals: their drivers' tiles, their variables
    drive_tiles: Any
    of_start: Any
    of_vars: Any
    on_start: Any  # tiles: the signals on them, with the variable, or -1 for a driver
    on_signal: Any
    on_var: Any
    panel: int  # number of the panel's cell, or -1
    is_open: int  # whether cells may stand between the pixels of the panel
    pinned: Any  # cells: whether they have a place of their own on the grid
    still: Any  # cells: whether repair leaves them where they are
    keep_out: Any  # rectangles (x0, y0, x1, y1), ends included
    zone: Any  # first and last column and row for cells that have no place, from the panel's corner
    watch: Any  # what a search tells while it runs, and whether it is to stop: see WATCH_...
    lead_cell: Any  # cells: the cell in the first copy of its block, or itself
    unit_start: Any  # cells: those that follow it in the other copies
    unit_cells: Any
    group: Any  # cells: the number of its repeat, or -1
    twin_start: Any  # tiles: those that correspond in the other copies
    twin_tiles: Any
    lead_sig: Any  # signals: the one in the first copy, or itself; those that follow it
    sig_twin_start: Any
    sig_twins: Any
    lead_var: Any  # variables: the one in the first copy, or -1 where it is in no repeat; those that follow it
    var_twin_start: Any
    var_twins: Any
    window: Any  # repeats: first and last column and row for the cells of the first copy, from the panel's corner
    block_of: Any  # cells: the number of its block, or -1
    block_start: Any  # blocks: their cells
    block_cells: Any


@dataclass(frozen=True, eq=False)
class Board(Record):
    """A layout in the making. `size` is [width, height]."""

    size: Any
    x: Any  # cells
    y: Any
    dx: Any  # tiles, from their cell's corner
    dy: Any
    grid: Any  # (height, width): the cell on a tile, or -1; a panel that is not open covers its whole rectangle
    tile_at: Any  # grid tiles: the netlist tile, or -1
    colour: Any  # variables
    usage: Any  # (signal, colour): number of variables
    route: Any  # (net, place in route): grid tiles
    ways: Any
    length: Any  # nets: tiles in use
    reached: Any
    bad: Any  # nets in conflict
    ways_on: Any  # (colour, grid tile, way): number of nets
    crossings: Any  # grid tiles: number of colours that cross there
    history: Any  # (colour, grid tile)
    clash: Any  # (colour, grid tile): something is illegal here
    rows: Any  # grid rows: whether stacks may have their feet here
    loose: Any  # signals: whether its nets are no longer laid as in the first copy (set for the first copy's signal)
    joint: Any  # nets: how many tiles, first in `route`, are laid alike in all copies
    strokes: Any  # nets: straight runs of wire
    bends: Any  # nets: tiles where it turns


@dataclass(frozen=True, eq=False)
class Routes(Record):
    """Routes put aside: as the fields of a Board."""

    route: Any
    ways: Any
    length: Any
    reached: Any
    joint: Any
    strokes: Any
    bends: Any


@dataclass(frozen=True, eq=False)
class Scratch(Record):
    """Room for the searches; no kernel relies on what another left here, but for `version` and `stamp`."""

    dist: Any
    prev: Any
    version: Any
    stamp: Any
    mine: Any
    target: Any
    queue: Any
    part: Any
    heap_cost: Any
    heap_state: Any
    pins: Any
    nets_on: Any
    ways_of: Any
    number: Any
    seen: Any
    buffer: Any
    box: Any
    offs: Any
    copies: Any
    paid: Any
    worst: Any  # the history of a tile never gets dearer than this, or searches would wander over the whole grid
    kept: Routes
    aside: Routes


def ragged(rows: Sequence[Sequence[int]]) -> tuple[Ints, Ints]:
    start = np.zeros(len(rows) + 1, np.int64)
    if rows:
        start[1:] = np.cumsum([len(row) for row in rows])
    return start, np.array([v for row in rows for v in row], np.int64)


def signal_tiles(netlist: Netlist) -> list[list[int]]:
    """For each signal the tiles of its drivers and of all sinks that need it."""
    members = [list(signal.tiles) for signal in netlist.signals]
    known = [set(row) for row in members]
    for sink in netlist.sinks:
        for signal in sink.signals:
            fresh = [t for t in sink.tiles if t not in known[signal]]
            members[signal].extend(fresh)
            known[signal].update(fresh)
    return members


def make_shape(
    netlist: Netlist, watch: Ints | None = None, repeats: Sequence[Repeat] = (), is_open: bool = False
) -> Shape:
    """The arrays of a netlist; its kernels tell and ask `watch`. Copies of the `repeats` are laid like their first.
    `is_open`: cells may stand between the pixels of the panel.

    Behind the last tile's row `on_start` has an empty one: that of the strange device that stands on all tiles of a
    keep-out.
    """
    cells, tiles, site = netlist.cells, netlist.tiles, netlist.site
    pairs = [(k, s) for k, sink in enumerate(netlist.sinks) for s in sink.signals]
    panel = -1 if netlist.panel is None else netlist.panel
    pinned = np.zeros(len(cells), np.bool_)
    pinned[[c for c, _, _ in site.pinned]] = True
    still = pinned.copy()
    if panel >= 0 and site.zone != (None, None, None, None):
        still[panel] = True
    members = signal_tiles(netlist)
    copies = _Copies(netlist, pairs, repeats)
    of_cell: list[list[int]] = [[] for _ in cells]
    for s, row in enumerate(members):
        for cell in sorted({tiles[t].cell for t in row}):
            of_cell[cell].append(s)
    of: list[list[int]] = [[] for _ in netlist.signals]
    on: list[list[tuple[int, int]]] = [[] for _ in tiles]
    for v, (k, s) in enumerate(pairs):
        of[s].append(v)
        for tile in netlist.sinks[k].tiles:
            on[tile].append((s, v))
    for s, signal in enumerate(netlist.signals):
        for tile in signal.tiles:
            on[tile].append((s, -1))
    return Shape(
        np.array([c.width for c in cells], np.int64),
        np.array([c.height for c in cells], np.int64),
        np.array([i for i in range(len(cells)) if i != panel and not pinned[i] and copies.lead_cell[i] == i], np.int64),
        np.array([c.mirrorable for c in cells], np.bool_),
        np.array([t.cell for t in tiles], np.int64),
        *ragged([c.tiles for c in cells]),
        *ragged([c.exchangeable for c in cells]),
        *ragged(members),
        *ragged(of_cell),
        np.array([s for _, s in pairs], np.int64),
        *ragged([netlist.sinks[k].tiles for k, _ in pairs]),
        *ragged([signal.tiles for signal in netlist.signals]),
        *ragged(of),
        *ragged([*([s for s, _ in row] for row in on), []]),
        np.array([v for row in on for _, v in row], np.int64),
        panel,
        int(is_open),
        pinned,
        still,
        np.array(site.keep_out, np.int64).reshape(-1, 4),
        np.array([_far(limit, number) for number, limit in enumerate(site.zone)], np.int64),
        new_watch() if watch is None else watch,
        np.array(copies.lead_cell, np.int64),
        *ragged(copies.units),
        np.array(copies.group, np.int64),
        *ragged(copies.tiles),
        np.array(copies.lead_sig, np.int64),
        *ragged(copies.signals),
        np.array(copies.lead_var, np.int64),
        *ragged(copies.variables),
        np.array([_window(netlist, repeat) for repeat in repeats], np.int64).reshape(-1, 4),
        *_blocks(netlist),
    )


def _window(netlist: Netlist, repeat: Repeat) -> tuple[int, int, int, int]:
    """Where the first copy of a block has to stand so that copies beside it do not reach into each other: as wide as
    they are apart, less one column, around the pixels that it lights."""
    window = [-FAR_OFF, FAR_OFF, -FAR_OFF, FAR_OFF]
    if not repeat.offsets:
        return -FAR_OFF, FAR_OFF, -FAR_OFF, FAR_OFF
    tiles = [
        netlist.tiles[t]
        for k, _ in repeat.variables[0]
        for t in netlist.sinks[k].tiles
        if netlist.cells[netlist.tiles[t].cell].kind == "panel"
    ]
    places = ((0, 0), *repeat.offsets)
    for axis, shown in ((0, [t.dx for t in tiles]), (1, [t.dy for t in tiles])):
        steps = [abs(a[axis] - b[axis]) for a, b in combinations(places, 2) if a[1 - axis] == b[1 - axis]]
        room = min(steps, default=0) - 1
        spare = room - (max(shown) - min(shown) + 1)
        if steps and spare >= 0:
            window[2 * axis] = min(shown) - spare // 2
            window[2 * axis + 1] = window[2 * axis] + room - 1
    return window[0], window[1], window[2], window[3]


def _blocks(netlist: Netlist) -> tuple[Ints, Ints, Ints]:
    rows: dict[str, list[int]] = {}
    for number, cell in enumerate(netlist.cells):
        if cell.block:
            rows.setdefault(cell.block, []).append(number)
    blocks = [row for row in rows.values() if len(row) > 1]
    block_of = np.full(len(netlist.cells), -1, np.int64)
    for number, row in enumerate(blocks):
        block_of[row] = number
    return block_of, *ragged(blocks)


class _Copies:
    """What follows what, from repeats; `pairs` are the variables as (sink, signal)."""

    def __init__(self, netlist: Netlist, pairs: Sequence[tuple[int, int]], repeats: Sequence[Repeat]) -> None:
        number = {pair: v for v, pair in enumerate(pairs)}
        self.lead_cell = list(range(len(netlist.cells)))
        self.units: list[list[int]] = [[] for _ in netlist.cells]
        self.group = [-1] * len(netlist.cells)
        self.tiles: list[list[int]] = [[] for _ in netlist.tiles]
        self.lead_sig = list(range(len(netlist.signals)))
        self.signals: list[list[int]] = [[] for _ in netlist.signals]
        self.lead_var = [-1] * len(pairs)
        self.variables: list[list[int]] = [[] for _ in pairs]
        for group, repeat in enumerate(repeats):
            for column in zip(*repeat.cells, strict=True):
                self.units[column[0]] = list(column[1:])
                for cell in column:
                    self.lead_cell[cell], self.group[cell] = column[0], group
            for column in zip(*repeat.tiles, strict=True):
                self.tiles[column[0]] = list(column[1:])
            for column in zip(*repeat.signals, strict=True):
                self.signals[column[0]] = list(column[1:])
                for signal in column:
                    self.lead_sig[signal] = column[0]
            for row in zip(*repeat.variables, strict=True):
                numbers = [number[pair] for pair in row]
                self.variables[numbers[0]] = numbers[1:]
                for v in numbers:
                    self.lead_var[v] = numbers[0]


def _far(limit: int | None, number: int) -> int:
    return limit if limit is not None else FAR_OFF if number % 2 else -FAR_OFF


def make_board(netlist: Netlist, shape: Shape, width: int, height: int) -> Board:
    """An empty board: no cell placed but those that are pinned, nothing routed."""
    nets, room = _routes_shape(netlist)
    count = len(netlist.cells)
    board = Board(
        np.zeros(2, np.int64),
        np.zeros(count, np.int64),
        np.zeros(count, np.int64),
        np.array([t.dx for t in netlist.tiles], np.int64),
        np.array([t.dy for t in netlist.tiles], np.int64),
        np.zeros((0, 0), np.int64),
        np.zeros(0, np.int64),
        np.zeros(len(shape.signal_of), np.int64),
        np.zeros((len(netlist.signals), COLOURS), np.int64),
        np.zeros((nets, room), np.int32),
        np.zeros((nets, room), np.int8),
        np.zeros(nets, np.int64),
        np.zeros(nets, np.bool_),
        np.zeros(nets, np.bool_),
        np.zeros((COLOURS, 0, 3), np.int16),
        np.zeros(0, np.int16),
        np.zeros((COLOURS, 0)),
        np.zeros((COLOURS, 0), np.bool_),
        np.zeros(0, np.bool_),
        np.zeros(len(netlist.signals), np.bool_),
        np.zeros(nets, np.int64),
        np.zeros(nets, np.int64),
        np.zeros(nets, np.int64),
    )
    for t in range(len(netlist.tiles)):
        for twin in shape.twin_tiles[shape.twin_start[t] : shape.twin_start[t + 1]]:
            board.dx[twin], board.dy[twin] = board.dx[t], board.dy[t]
    for cell, x, y in netlist.site.pinned:
        board.x[cell], board.y[cell] = x, y
    return fresh_board(board, width, height)


def fresh_board(board: Board, width: int, height: int) -> Board:
    """A copy of the board for a grid of another size, where nothing stands or lies on the grid yet."""
    area = width * height
    return replace(
        copy_board(board),
        size=np.array([width, height], np.int64),
        grid=np.full((height, width), -1, np.int64),
        tile_at=np.full(area, -1, np.int64),
        ways_on=np.zeros((COLOURS, area, 3), np.int16),
        crossings=np.zeros(area, np.int16),
        history=np.zeros((COLOURS, area)),
        clash=np.zeros((COLOURS, area), np.bool_),
        rows=np.ones(height, np.bool_),
    )


def make_scratch(netlist: Netlist, width: int, height: int, worst: float = WORST) -> Scratch:
    """Scratch room for a grid of that size; no tile's history gets dearer than `worst`."""
    area = width * height
    most = max([len(row) for row in signal_tiles(netlist)], default=1) + 4
    nets, room = _routes_shape(netlist)
    return Scratch(
        np.zeros(9 * area),
        np.zeros(9 * area, np.int32),
        np.zeros(9 * area, np.int64),
        np.zeros(1, np.int64),
        np.zeros(area, np.int8),
        np.zeros(area, np.int8),
        np.zeros(area + 1, np.int64),
        np.zeros(area, np.int64),
        np.zeros(80 * area + 64),
        np.zeros(80 * area + 64, np.int32),
        np.zeros(most, np.int64),
        np.zeros((COLOURS, area, 2), np.int32),
        np.zeros((COLOURS, area, 2), np.int8),
        np.zeros((COLOURS, area), np.int16),
        np.zeros(4 * most + 64, np.int64),
        np.zeros((3, most), np.int64),
        np.zeros(4, np.int64),
        np.zeros((MOST_COPIES, 3), np.int64),
        np.zeros(MOST_COPIES, np.int64),
        np.zeros(1),
        np.array([worst]),
        _room_for_routes(nets, room),
        _room_for_routes(nets, room),
    )


def _routes_shape(netlist: Netlist) -> tuple[int, int]:
    """The number of nets, and of tiles that a route may have."""
    longest = max([len(row) for row in signal_tiles(netlist)], default=0)
    return COLOURS * len(netlist.signals), 400 + 40 * longest


def _room_for_routes(nets: int, room: int) -> Routes:
    return Routes(
        np.zeros((nets, room), np.int32),
        np.zeros((nets, room), np.int8),
        np.zeros(nets, np.int64),
        np.zeros(nets, np.bool_),
        np.zeros(nets, np.int64),
        np.zeros(nets, np.int64),
        np.zeros(nets, np.int64),
    )


def copy_board(board: Board) -> Board:
    return Board(*(array.copy() for array in board))


def restore(board: Board, kept: Board) -> None:
    """Bring a board back to what a copy of it was."""
    for array, old in zip(board, kept, strict=True):
        array[...] = old
