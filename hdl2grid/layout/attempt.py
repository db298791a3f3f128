"""One size of the grid: place, colour, route and repair until a layout is legal, or give up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from math import ceil, sqrt

import numpy as np

from hdl2grid.base.failure_report import FailureReport
from hdl2grid.base.rng import below
from hdl2grid.layout.arrays import COLOURS, FAR_OFF, Board, Scratch, Shape, copy_board, make_board, signal_tiles
from hdl2grid.layout.colouring import choose_colours
from hdl2grid.layout.cost import stray_strokes
from hdl2grid.layout.dense_placement import place_densely
from hdl2grid.layout.failure_on_board import failure_of
from hdl2grid.layout.grid_lines import pick_gap, with_line
from hdl2grid.layout.matched_blocks import MatchedBlock
from hdl2grid.layout.panel_exits import find_exits
from hdl2grid.layout.placement import PlaceParams, pack, place
from hdl2grid.layout.regime import NEARLY
from hdl2grid.layout.repair import RepairParams, better
from hdl2grid.layout.restart import TIGHTEST, Restart
from hdl2grid.layout.routing import RouteParams, rip_all, route
from hdl2grid.layout.windows import EaseParams, ease
from hdl2grid.nets.model import Netlist

TALLER = 40
"""Times that a tidy grid is made higher until its cells fit. Guessed: by then it is ten times as high."""
LOOSEN = 24
"""Conflicts with which repeated nets may go their own ways: half as many turns loosen some. Guessed."""
TIGHTENING = 150
"""Tries of repair for bringing one of them back. Guessed."""
HOT = (12.0, 6.0, 3.0)
"""Temperatures, in tiles of wire, at which cells are brought onto a smaller grid, one after the other. Guessed."""
IDLE_REROUTES = 4
"""Times in a row that what is left is routed again without improvement, after which it ends. Guessed."""
FEW = 30
"""Conflicts up to which what is left is routed again, and windows are tried. Guessed."""
CHUNKS = 12
"""Chunks of repair (`Regime.chunk`), at most. Guessed: as many tries as in effort quick."""
LEAST_STALL = 300
"""Tries of repair in a row without improvement, at least, after which it ends. Guessed."""
LINE_TRIES = 8
"""Lines looked at for one that can be put in. Guessed."""
IDLE_LINES = 6
"""Lines put in without improvement, in a row, after which no other is. Guessed."""


def attempt(
    search: Restart,
    size: tuple[int, int],
    places: PlaceParams,
    number: int,
    model: Board | None = None,
    may_skip: bool = False,
) -> Board | None:
    """The best of some placements at one size, repaired and given more room; None unless legal. `number` tells its
    random placements from those of other attempts. With a `model`, whose cells are brought onto that size, it has to do
    with the room that there is. With `may_skip` nothing is repaired where conflicts are so many that more room is the
    better way."""
    may_widen = model is None
    best = _best_routed(search, size, places, number, model, may_skip)
    if best is None:
        search.failures.append(FailureReport(*size, None))
        return None
    conflicts, board = best
    scratch = search.scratch_for(board)
    if may_skip and conflicts > search.regime.worth:
        search.failures.append(failure_of(search.netlist, search.shape, board, scratch))
        return None
    if conflicts > NEARLY:
        board, conflicts = _settle(search, board, scratch, places, conflicts)
    if conflicts:
        conflicts = mend(search, board, scratch, places, search.effort.tries)
        if may_widen:
            board, conflicts = _widen(search, board, conflicts, places)
    if 0 < conflicts <= LOOSEN and search.blocks and not search.is_stopped:
        conflicts = _loosen(search, board, places)
        if may_widen:
            board, conflicts = _widen(search, board, conflicts, places)
    if conflicts == 0 and search.blocks and search.regime.matched_routing:
        board = _tighten(search, board)
    if conflicts and not search.is_stopped:
        search.failures.append(failure_of(search.netlist, search.shape, board, search.scratch_for(board)))
    return board if conflicts == 0 else None


def _best_routed(
    search: Restart, size: tuple[int, int], places: PlaceParams, number: int, model: Board | None, may_skip: bool
) -> tuple[int, Board] | None:
    """Of some placements at one size, routed, the one with fewest conflicts, and these; None where no cells fit. Some
    regimes repair each before they make another. With `may_skip` a hopeless one ends it."""
    regime, shape = search.regime, search.shape
    best: tuple[int, Board] | None = None
    enough = regime.enough_matched if search.blocks else regime.enough
    for turn in range(max(search.effort.seeds, regime.least_matched if search.blocks else 0)):
        seed = search.params.seed * 1_000_003 + 1000 * number + turn
        if model is None:
            board = _packed(search, size, places, turn)
            if board is not None:
                place(_led_out(search), board, places, seed)
        else:
            board = place_densely(shape, model, places, size, HOT[turn % len(HOT)], seed)
        if board is None and turn + 1 >= regime.packings:
            break
        if board is None:
            continue
        search.tell(board)
        search.num_placements += 1
        scratch = search.scratch_for(board)
        if not regime.matched_routing:
            board.loose[:] = True
        board.colour[:] = (shape.lead_sig[shape.signal_of] * 7 + turn) % COLOURS
        choose_colours(shape, board, scratch, regime.colours, seed)
        rip_all(board)
        conflicts, _ = route(shape, board, scratch, regime.routes, search.rng)
        if conflicts <= FEW:
            board, conflicts = _route_again(search, board, scratch, conflicts)
            if conflicts <= NEARLY:
                board, conflicts = _settle(search, board, scratch, places, conflicts)
        search.is_hopeless = conflicts > regime.hopeless
        if best is None or conflicts < best[0]:
            best = conflicts, board
        if conflicts <= enough or search.is_stopped or (may_skip and search.is_hopeless):
            break
    return best


def _packed(search: Restart, size: tuple[int, int], places: PlaceParams, turn: int) -> Board | None:
    """A board of about that size with all cells on it. A tidy one is made higher until they fit; where the limits
    forbid that, stacks need not stand in rows."""
    panel_at = _panel_at(search)
    width, height = size
    for _ in range(TALLER if search.regime.is_tidy else 1):
        board = make_board(search.netlist, search.shape, width, height)
        offsets = copy_offsets(search.netlist, search.blocks, places, (width, height), turn)
        if pack(search.shape, board, panel_at, places, offsets):
            return board
        if height < search.params.max_height:
            height = min(search.params.max_height, height + 1 + height // 16)
        elif width < search.params.max_width:
            width = min(search.params.max_width, width + 1 + width // 16)
        else:
            places = replace(places, is_tidy=False)
    return None


def _panel_at(search: Restart) -> tuple[float, float]:
    """Where the panel begins, in fractions of the free room: at random at the left or in the middle, and opposite to a
    zone beside it."""
    x, y = 0.2 + 0.1 * below(search.rng, 7), 0.1 * below(search.rng, 11)
    if search.regime.panel_in_middle:
        x, y = 0.5 + 0.2 * (x - 0.5), 0.5 + 0.1 * (y - 0.5)
    left, right, top, bottom = search.shape.zone
    x = 0.1 * x if left > -FAR_OFF else 1.0 - 0.1 * x if right < FAR_OFF else x
    y = 0.1 * y if top > -FAR_OFF else 1.0 - 0.1 * y if bottom < FAR_OFF else y
    return x, y


def copy_offsets(
    netlist: Netlist, blocks: Sequence[MatchedBlock], places: PlaceParams, size: tuple[int, int], turn: int
) -> dict[tuple[int, ...], tuple[int, int]]:
    """For the cells of each copy how far they stand from those of the first: as the panel says, or side by side or
    below each other, each copy in a square of its own."""
    offsets: dict[tuple[int, ...], tuple[int, int]] = {}
    for block in blocks:
        cells = [netlist.cells[c] for c in block.cells[0]]
        area = sum((c.width + places.gap_x) * (c.height + places.gap_y) for c in cells)
        side = max(ceil(1.1 * sqrt(area)), max(c.width + places.gap_x for c in cells))
        count = len(block.cells)
        for number, row in enumerate(block.cells[1:], 1):
            if block.offsets:
                offsets[row] = block.offsets[number - 1]
            elif turn % 2 == 0 and side * count < size[0]:
                offsets[row] = (number * side, 0)
            else:
                offsets[row] = (0, number * (side + 1))
    return offsets


def _led_out(search: Restart) -> Shape:
    """The shape by which cells are placed: where the panel's nets are led out first, as if they ended where they leave
    it."""
    exits = find_exits(search.netlist).tiles if search.regime.panel_exits else {}
    if not exits:
        return search.shape
    rows = []
    for s, row in enumerate(signal_tiles(search.netlist)):
        outside = [t for t in row if search.netlist.tiles[t].cell != search.shape.panel] if s in exits else row
        rows.append([*outside, *exits.get(s, ())])
    start = np.cumsum([0, *map(len, rows)])
    return replace(search.shape, sig_start=start, sig_tiles=np.array([t for row in rows for t in row], np.int64))


def _route_again(search: Restart, board: Board, scratch: Scratch, conflicts: int) -> tuple[Board, int]:
    """Route what is left in conflict again and again; returns the best board met and its conflicts."""
    idle = 0
    for _ in range(search.regime.reroutes):
        if conflicts == 0 or idle >= IDLE_REROUTES or search.is_stopped:
            break
        trial = copy_board(board)
        trial.history[:] = 0.0
        left, _ = route(search.shape, trial, scratch, search.regime.again, search.rng)
        idle = 0 if left < conflicts else idle + 1
        if left <= conflicts:
            board, conflicts = trial, left
    return board, conflicts


def _settle(search: Restart, board: Board, scratch: Scratch, places: PlaceParams, conflicts: int) -> tuple[Board, int]:
    """Windows and repair by turns; returns the best board met and its conflicts."""
    regime, tries = search.regime, search.effort.tries
    windows = EaseParams(tries // 10, tries // 24, regime.colours.solve)
    for _ in range(regime.settles):
        before = conflicts
        if regime.windows and 0 < conflicts <= FEW:
            board, conflicts = ease(search.shape, board, scratch, conflicts, windows, search.rng)
        if conflicts:
            conflicts = mend(search, board, scratch, places, tries // 4)
        if conflicts == 0 or conflicts == before or search.is_stopped:
            break
    return board, conflicts


def _loosen(search: Restart, board: Board, places: PlaceParams) -> int:
    """Let those nets go their own ways, copy by copy, that conflict where they are laid alike; returns the
    conflicts left."""
    scratch = search.scratch_for(board)
    conflicts = 0
    for _ in range(LOOSEN // 2):
        bad = np.unique(np.flatnonzero(board.bad) // COLOURS)
        board.loose[search.shape.lead_sig[bad]] = True
        conflicts = reroute(search, board, scratch, places, search.effort.tries // 4)
        if conflicts == 0:
            break
    return conflicts


def _tighten(search: Restart, board: Board) -> Board:
    """Lay nets alike again that have gone their own ways, where that leaves the layout legal."""
    scratch, shape = search.scratch_for(board), search.shape
    for s in np.flatnonzero(np.diff(shape.sig_twin_start) > 0).tolist():
        group = [s, *shape.sig_twins[shape.sig_twin_start[s] : shape.sig_twin_start[s + 1]].tolist()]
        nets = np.array([COLOURS * one + c for one in group for c in range(COLOURS)])
        if search.is_stopped or not (board.strokes[nets] * (board.joint[nets] == 0)).any():
            continue
        before = stray_strokes(shape, board)
        trial = copy_board(board)
        trial.loose[s] = False
        first = [COLOURS * s + int(c) for c in np.flatnonzero(board.usage[s])]
        trial.bad[:] = False
        trial.bad[first] = True
        trial.joint[nets] = 0
        left = reroute(search, trial, scratch, TIGHTEST, TIGHTENING)
        if left == 0 and stray_strokes(shape, trial) < before:
            board = trial
    return board


def _widen(search: Restart, board: Board, conflicts: int, places: PlaceParams) -> tuple[Board, int]:
    """Put in rows and columns where conflicts are left and repair again; returns the board and what is left."""
    idle = 0
    for _ in range(search.effort.lines):
        if conflicts == 0 or idle >= IDLE_LINES or search.is_stopped:
            break
        idle += 1
        wider = _with_some_line(search, board)
        if wider is None:
            continue
        search.tell(wider)
        left = reroute(search, wider, search.scratch_for(wider), places, search.effort.tries // 6)
        if left < conflicts:
            idle = 0
        if left <= conflicts:
            board, conflicts = wider, left
    return board, conflicts


def _with_some_line(search: Restart, board: Board) -> Board | None:
    """The board with one more row or column near a conflict, within the limits."""
    scratch, shape = search.scratch_for(board, 1), search.shape
    for _ in range(LINE_TRIES):
        axis, at = pick_gap(shape, board, shape.panel if shape.panel >= 0 else None, search.rng)
        if board.size[axis] < (search.params.max_width, search.params.max_height)[axis]:
            wider = with_line(shape, board, scratch, axis, at, search.regime.is_tidy)
            if wider is not None:
                return wider
    return None


def reroute(search: Restart, board: Board, scratch: Scratch, places: PlaceParams, tries: int) -> int:
    """Route what a new or a missing line has upset, and repair; returns the conflicts left."""
    left, _ = route(search.shape, board, scratch, search.regime.mending, search.rng)
    return mend(search, board, scratch, places, tries) if left else left


def mend(search: Restart, board: Board, scratch: Scratch, places: PlaceParams, tries: int) -> int:
    """Repair until nothing is illegal; returns the conflicts left. In chunks it begins again and again from the best
    state met, with no memory of conflicts."""
    chunk, left = search.regime.chunk, 1
    runs = [RepairParams(tries=tries, stall=max(LEAST_STALL, tries // 2))]
    if chunk is not None:
        runs = [RepairParams(tries=chunk, stall=chunk // 2)] * min(CHUNKS, ceil(tries / chunk))
    for params in runs:
        if chunk is not None:
            if left == 0 or search.is_stopped:
                break
            board.history[:] = 0.0
        left, _, _ = better(search.shape, board, scratch, params, places, RouteParams(), search.rng, True)
    return left
