"""The arrays that the compiled kernels of layout share: what is fixed (Shape), what changes (Board), and scratch room.

Ragged rows are stored as (start, values): row i is values[start[i]:start[i + 1]]. A grid tile is the number
`y * width + x`. A *variable* is a pair (sink, signal): it takes one colour. Net number `4 * signal + colour` exists
when a variable of the signal has the colour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt

from hdl2grid.layout.matched_blocks import MOST_COPIES, MatchedBlock
from hdl2grid.layout.records import Record
from hdl2grid.nets.model import Netlist

Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
COLOURS = 4
"""Colours of wire."""
ALONG_X, ALONG_Y, OTHER = 0, 1, 2
"""What a net does on a tile: straight along x, straight along y, or a bend, a branch, an end, a pin."""
CLOSED = -2
"""In `Board.grid`: a tile where no movable cell may stand."""
WORST = 10.0
"""The greatest history of a tile, in tiles of wire, where nothing else is asked for. Guessed."""
FAR_OFF = 1 << 20
"""A column or row beyond every grid."""
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
    group: Any  # cells: the number of its block, or -1
    twin_start: Any  # tiles: those that correspond in the other copies
    twin_tiles: Any
    lead_sig: Any  # signals: the one in the first copy, or itself; those that follow it
    sig_twin_start: Any
    sig_twins: Any
    lead_var: Any  # variables: the one in the first copy, or -1 where it is in no block; those that follow it
    var_twin_start: Any
    var_twins: Any
    window: Any  # blocks: first and last column and row for the cells of the first copy, from the panel's corner
    block_of: Any  # cells: the number of its block, or -1
    block_start: Any  # blocks: their cells
    block_cells: Any


@dataclass(frozen=True, eq=False)
class Placement(Record):
    """Where cells and their tiles stand, and which colours are chosen."""

    x: Any  # cells
    y: Any
    dx: Any  # tiles, from their cell's corner
    dy: Any
    colour: Any  # variables


@dataclass(frozen=True, eq=False)
class Routes(Record):
    """Where the nets lie."""

    route: Any  # (net, place in route): grid tiles
    ways: Any
    length: Any  # nets: tiles in use
    reached: Any
    joint: Any  # nets: how many tiles, first in `route`, are laid alike in all copies
    strokes: Any  # nets: straight runs of wire
    bends: Any  # nets: tiles where it turns


@dataclass(frozen=True, eq=False)
class Board(Placement, Routes):
    """A layout in the making. `size` is [width, height]."""

    size: Any
    grid: Any  # (height, width): the cell on a tile, or -1; a panel that is not open covers its whole rectangle
    tile_at: Any  # grid tiles: the netlist tile, or -1
    usage: Any  # (signal, colour): number of variables
    bad: Any  # nets in conflict
    ways_on: Any  # (colour, grid tile, way): number of nets
    crossings: Any  # grid tiles: number of colours that cross there
    history: Any  # (colour, grid tile)
    clash: Any  # (colour, grid tile): something is illegal here
    rows: Any  # grid rows: whether stacks may have their feet here
    loose: Any  # signals: whether its nets are no longer laid as in the first copy (set for the first copy's signal)


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


def ragged(start: str, values: str, rows: Sequence[Sequence[int]]) -> dict[str, Any]:
    """Two fields, by their names: where each row starts, and the values of all rows."""
    first = np.cumsum([0, *(len(row) for row in rows)], dtype=np.int64)
    return {start: first, values: np.array([v for row in rows for v in row], np.int64)}


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
    netlist: Netlist, watch: Ints | None = None, blocks: Sequence[MatchedBlock] = (), is_open: bool = False
) -> Shape:
    """The arrays of a netlist; its kernels tell and ask `watch`. Copies of the `blocks` are laid like their first.
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
    copies = _Copies(netlist, pairs, blocks)
    signals_on: list[list[int]] = [[] for _ in cells]
    for s, row in enumerate(members):
        for cell in sorted({tiles[t].cell for t in row}):
            signals_on[cell].append(s)
    of: list[list[int]] = [[] for _ in netlist.signals]
    on: list[list[tuple[int, int]]] = [[] for _ in tiles]
    for v, (k, s) in enumerate(pairs):
        of[s].append(v)
        for tile in netlist.sinks[k].tiles:
            on[tile].append((s, v))
    for s, signal in enumerate(netlist.signals):
        for tile in signal.tiles:
            on[tile].append((s, -1))
    movable = [i for i in range(len(cells)) if i != panel and not pinned[i] and copies.lead_cell[i] == i]
    return Shape(
        w=np.array([c.width for c in cells], np.int64),
        h=np.array([c.height for c in cells], np.int64),
        movable=np.array(movable, np.int64),
        mirrorable=np.array([c.mirrorable for c in cells], np.bool_),
        cell_of=np.array([t.cell for t in tiles], np.int64),
        **ragged("cell_start", "cell_tiles", [c.tiles for c in cells]),
        **ragged("swap_start", "swap_tiles", [c.exchangeable for c in cells]),
        **ragged("sig_start", "sig_tiles", members),
        **ragged("of_cell_start", "of_cell", signals_on),
        signal_of=np.array([s for _, s in pairs], np.int64),
        **ragged("var_start", "var_tiles", [netlist.sinks[k].tiles for k, _ in pairs]),
        **ragged("drive_start", "drive_tiles", [signal.tiles for signal in netlist.signals]),
        **ragged("of_start", "of_vars", of),
        **ragged("on_start", "on_signal", [*([s for s, _ in row] for row in on), []]),
        on_var=np.array([v for row in on for _, v in row], np.int64),
        panel=panel,
        is_open=int(is_open),
        pinned=pinned,
        still=still,
        keep_out=np.array(site.keep_out, np.int64).reshape(-1, 4),
        zone=np.array([_far(limit, number) for number, limit in enumerate(site.zone)], np.int64),
        watch=new_watch() if watch is None else watch,
        lead_cell=np.array(copies.lead_cell, np.int64),
        **ragged("unit_start", "unit_cells", copies.units),
        group=np.array(copies.group, np.int64),
        **ragged("twin_start", "twin_tiles", copies.tiles),
        lead_sig=np.array(copies.lead_sig, np.int64),
        **ragged("sig_twin_start", "sig_twins", copies.signals),
        lead_var=np.array(copies.lead_var, np.int64),
        **ragged("var_twin_start", "var_twins", copies.variables),
        window=np.array([_window(netlist, block) for block in blocks], np.int64).reshape(-1, 4),
        **_blocks(netlist),
    )


def _window(netlist: Netlist, block: MatchedBlock) -> tuple[int, int, int, int]:
    """Where the first copy of a block has to stand so that copies beside it do not reach into each other: as wide as
    they are apart, less one column, around the pixels that it lights."""
    window = [-FAR_OFF, FAR_OFF, -FAR_OFF, FAR_OFF]
    if not block.offsets:
        return -FAR_OFF, FAR_OFF, -FAR_OFF, FAR_OFF
    tiles = [
        netlist.tiles[t]
        for k, _ in block.variables[0]
        for t in netlist.sinks[k].tiles
        if netlist.cells[netlist.tiles[t].cell].kind == "panel"
    ]
    places = ((0, 0), *block.offsets)
    for axis, shown in ((0, [t.dx for t in tiles]), (1, [t.dy for t in tiles])):
        steps = [abs(a[axis] - b[axis]) for a, b in combinations(places, 2) if a[1 - axis] == b[1 - axis]]
        room = min(steps, default=0) - 1
        spare = room - (max(shown) - min(shown) + 1)
        if steps and spare >= 0:
            window[2 * axis] = min(shown) - spare // 2
            window[2 * axis + 1] = window[2 * axis] + room - 1
    return window[0], window[1], window[2], window[3]


def _blocks(netlist: Netlist) -> dict[str, Any]:
    """The fields of Shape that tell which cells are in which block."""
    rows: dict[str, list[int]] = {}
    for number, cell in enumerate(netlist.cells):
        if cell.block:
            rows.setdefault(cell.block, []).append(number)
    blocks = [row for row in rows.values() if len(row) > 1]
    block_of = np.full(len(netlist.cells), -1, np.int64)
    for number, row in enumerate(blocks):
        block_of[row] = number
    return {"block_of": block_of, **ragged("block_start", "block_cells", blocks)}


class _Copies:
    """What follows what, from blocks; `pairs` are the variables as (sink, signal)."""

    def __init__(self, netlist: Netlist, pairs: Sequence[tuple[int, int]], blocks: Sequence[MatchedBlock]) -> None:
        number = {pair: v for v, pair in enumerate(pairs)}
        self.lead_cell = list(range(len(netlist.cells)))
        self.units: list[list[int]] = [[] for _ in netlist.cells]
        self.group = [-1] * len(netlist.cells)
        self.tiles: list[list[int]] = [[] for _ in netlist.tiles]
        self.lead_sig = list(range(len(netlist.signals)))
        self.signals: list[list[int]] = [[] for _ in netlist.signals]
        self.lead_var = [-1] * len(pairs)
        self.variables: list[list[int]] = [[] for _ in pairs]
        for group, block in enumerate(blocks):
            for column in zip(*block.cells, strict=True):
                self.units[column[0]] = list(column[1:])
                for cell in column:
                    self.lead_cell[cell], self.group[cell] = column[0], group
            for column in zip(*block.tiles, strict=True):
                self.tiles[column[0]] = list(column[1:])
            for column in zip(*block.signals, strict=True):
                self.signals[column[0]] = list(column[1:])
                for signal in column:
                    self.lead_sig[signal] = column[0]
            for row in zip(*block.variables, strict=True):
                numbers = [number[pair] for pair in row]
                self.variables[numbers[0]] = numbers[1:]
                for v in numbers:
                    self.lead_var[v] = numbers[0]


def _far(limit: int | None, number: int) -> int:
    """A limit of the zone, or one beyond every grid: low ones (even `number`) and high ones in turn."""
    return limit if limit is not None else FAR_OFF if number % 2 else -FAR_OFF


def make_board(netlist: Netlist, shape: Shape, width: int, height: int) -> Board:
    """An empty board: no cell placed but those that are pinned, nothing routed."""
    count = len(netlist.cells)
    board = Board(
        x=np.zeros(count, np.int64),
        y=np.zeros(count, np.int64),
        dx=np.array([t.dx for t in netlist.tiles], np.int64),
        dy=np.array([t.dy for t in netlist.tiles], np.int64),
        colour=np.zeros(len(shape.signal_of), np.int64),
        usage=np.zeros((len(netlist.signals), COLOURS), np.int64),
        bad=np.zeros(COLOURS * len(netlist.signals), np.bool_),
        loose=np.zeros(len(netlist.signals), np.bool_),
        **_no_routes(netlist),
        **_empty_grid(width, height),
    )
    for t in range(len(netlist.tiles)):
        for twin in shape.twin_tiles[shape.twin_start[t] : shape.twin_start[t + 1]]:
            board.dx[twin], board.dy[twin] = board.dx[t], board.dy[t]
    for cell, x, y in netlist.site.pinned:
        board.x[cell], board.y[cell] = x, y
    return board


def fresh_board(board: Board, width: int, height: int) -> Board:
    """A copy of the board for a grid of another size, where nothing stands or lies on the grid yet."""
    return replace(copy_board(board), **_empty_grid(width, height))


def _empty_grid(width: int, height: int) -> dict[str, Any]:
    """The fields of Board that have the grid's size."""
    area = width * height
    return {
        "size": np.array([width, height], np.int64),
        "grid": np.full((height, width), -1, np.int64),
        "tile_at": np.full(area, -1, np.int64),
        "ways_on": np.zeros((COLOURS, area, 3), np.int16),
        "crossings": np.zeros(area, np.int16),
        "history": np.zeros((COLOURS, area)),
        "clash": np.zeros((COLOURS, area), np.bool_),
        "rows": np.ones(height, np.bool_),
    }


def make_scratch(netlist: Netlist, width: int, height: int, worst: float = WORST) -> Scratch:
    """Scratch room for grids of up to so many columns and rows; no tile's history gets dearer than `worst`."""
    area = width * height
    most = max([len(row) for row in signal_tiles(netlist)], default=1) + 4
    return Scratch(
        dist=np.zeros(9 * area),
        prev=np.zeros(9 * area, np.int32),
        version=np.zeros(9 * area, np.int64),
        stamp=np.zeros(1, np.int64),
        mine=np.zeros(area, np.int8),
        target=np.zeros(area, np.int8),
        queue=np.zeros(area + 1, np.int64),
        part=np.zeros(area, np.int64),
        heap_cost=np.zeros(80 * area + 64),
        heap_state=np.zeros(80 * area + 64, np.int32),
        pins=np.zeros(most, np.int64),
        nets_on=np.zeros((COLOURS, area, 2), np.int32),
        ways_of=np.zeros((COLOURS, area, 2), np.int8),
        number=np.zeros((COLOURS, area), np.int16),
        seen=np.zeros(4 * most + 64, np.int64),
        buffer=np.zeros((3, most), np.int64),
        box=np.zeros(4, np.int64),
        offs=np.zeros((MOST_COPIES, 3), np.int64),
        copies=np.zeros(MOST_COPIES, np.int64),
        paid=np.zeros(1),
        worst=np.array([worst]),
        kept=Routes(**_no_routes(netlist)),
        aside=Routes(**_no_routes(netlist)),
    )


def _no_routes(netlist: Netlist) -> dict[str, Any]:
    """The fields of Routes: no net is laid."""
    nets = COLOURS * len(netlist.signals)
    room = 400 + 40 * max([len(row) for row in signal_tiles(netlist)], default=0)
    return {
        "route": np.zeros((nets, room), np.int32),
        "ways": np.zeros((nets, room), np.int8),
        "reached": np.zeros(nets, np.bool_),
        **{name: np.zeros(nets, np.int64) for name in ("length", "joint", "strokes", "bends")},
    }


def copy_board(board: Board) -> Board:
    """A board with arrays of its own."""
    return Board(**{f.name: getattr(board, f.name).copy() for f in fields(board)})


def placement_of(board: Board) -> Placement:
    """A copy of the board's placement."""
    return Placement(**{f.name: getattr(board, f.name).copy() for f in fields(Placement)})


def restore(board: Board, kept: Board) -> None:
    """Bring a board back to what a copy of it was."""
    for array, old in zip(board, kept, strict=True):
        array[...] = old
