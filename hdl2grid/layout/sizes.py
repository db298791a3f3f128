"""Which sizes of the grid are tried, in which order, and what is done where its limits are in the way."""

from __future__ import annotations

from dataclasses import replace
from math import ceil, sqrt

import numpy as np

from hdl2grid.base.failure_report import FailureReport
from hdl2grid.base.target import MAX_GRID_SIDE
from hdl2grid.layout.arrays import Board
from hdl2grid.layout.attempt import attempt
from hdl2grid.layout.placement import PlaceParams
from hdl2grid.layout.restart import Restart
from hdl2grid.layout.shrink import cut_until, stirred
from hdl2grid.nets.model import Netlist

Step = tuple[int, int, float]
"""Free columns and rows around each cell, and the area as a multiple of what the cells need with them."""

STEPS: tuple[Step, ...] = (
    (3, 2, 1.25),
    (3, 2, 1.4),
    (4, 2, 1.3),
    (4, 3, 1.3),
    (4, 3, 1.5),
    (5, 4, 1.4),
    (6, 4, 1.5),
    (7, 5, 1.6),
    (9, 6, 1.7),
)
"""Sizes to try one after the other. More room at the pins helps more than more area. Guessed."""
MATCHED: tuple[Step, ...] = ((3, 3, 1.2), (3, 4, 1.3), (4, 5, 1.4))
"""The same for machines with repeated blocks, as long as these are to be laid alike. Guessed."""
TIGHT: tuple[Step, ...] = ((3, 1, 1.2), (2, 1, 1.35), (2, 1, 1.25))
"""Tried in this order where the limits of the grid rule out the others. Guessed."""
RIM = 30
"""Tiles that a grid has more than its step says, for the border of a small one. Guessed."""
TILT = 1.15
"""Width to height of a grid, where nothing speaks for another. Guessed."""
TILTS = (TILT, 1.5, 0.9)
"""The same for grids of other shapes, one after the other. Guessed."""
NUM_OTHERS = 4
"""The first of STEPS are tried on grids of other shapes: larger ones cost more."""
SIZE_STEPS = 40
"""Times that a size is made larger for tiles that a floorplan closes. Guessed."""
WIDER = (1.15, 1.3, 1.6)
"""What limits that allow no layout are stretched by, to cut one down to them. Guessed."""
DENSE = PlaceParams(gap_x=2, gap_y=1, margin=0)
"""The room that a cell is given on a tight grid, where there is enough."""


def first_legal(search: Restart, may_cut: bool = True) -> Board | None:
    """Grow until a layout is legal; where the limits are in the way, with `may_cut`, make it elsewhere and cut it.
    None where the limits do not allow it."""
    params, regime = search.params, search.regime
    if search.blocks:
        board = _first_matched(search) if params.first_size == 0 else None
        if board is not None or search.is_stopped:
            return board
        search.forget_matched_blocks()
    limited = params.is_limited
    first = 0 if limited else regime.first_step
    tried: set[tuple[tuple[int, int], int, int]] = set()
    for number, step in enumerate(STEPS + TIGHT * limited):
        if not params.first_size <= number - first < params.last_size:
            continue
        places = _places(search, step)
        size = _size_for(search, places, step)
        if size is None:
            search.failures.append(FailureReport(params.max_width, params.max_height, None))
            break
        key = size, places.gap_x, places.gap_y
        if search.is_stopped or search.is_hopeless or key in tried:
            search.is_hopeless = False
            continue
        tried.add(key)
        board = attempt(search, size, places, number, may_skip=regime.one_size or number < len(STEPS) - 1)
        if board is not None:
            return board
        if regime.one_size and not limited:
            break
    return _cut_to_limits(search) if limited and may_cut else None


def _first_matched(search: Restart) -> Board | None:
    """A legal layout whose repeated blocks are laid alike, or None."""
    for number, step in enumerate(MATCHED):
        places = _places(search, step)
        size = _size_for(search, places, step, TILT)
        if size is not None and not search.is_stopped:
            board = attempt(search, size, places, 50 + number)
            if board is not None:
                return board
    return None


def _cut_to_limits(search: Restart) -> Board | None:
    """A layout within wider limits, cut until it is within its own; None where that fails. The smallest size that
    was legal is kept in `least`."""
    limits = search.params.max_width, search.params.max_height
    for number, share in enumerate(WIDER):
        if search.is_stopped:
            return None
        width, height = (min(MAX_GRID_SIDE, ceil(share * limit)) for limit in limits)
        wider = replace(search.params, max_width=width, max_height=height)
        other = Restart(search.netlist, wider, search.regime, 1000 * (number + 1) + search.number, search.watch)
        board = first_legal(other, may_cut=False)
        search.num_placements += other.num_placements
        search.failures += [failure for failure in other.failures if failure.conflicts is not None]
        if board is None or not search.netlist.signals:
            continue
        board = cut_until(search, board, limits)
        if board.size[0] <= limits[0] and board.size[1] <= limits[1]:
            return board
        size = int(board.size[0]), int(board.size[1])
        if search.regime.dense_placement:
            within = min(size[0], limits[0]), min(size[1], limits[1])
            anew = attempt(search, within, DENSE, 2000 + number, board)
            if anew is not None:
                return anew
        if search.least is None or size[0] * size[1] < search.least[0] * search.least[1]:
            search.least = size
    return None


def another_than(search: Restart, model: Board) -> Board | None:
    """A legal layout like the one given, but stirred; or a tidy one on a grid of another shape, or None."""
    if not search.regime.is_tidy:
        return stirred(search, model)
    turn = search.number - 1
    steps = MATCHED if search.blocks else STEPS[:NUM_OTHERS]
    step = steps[turn % len(steps)]
    places = _places(search, step)
    size = _size_for(search, places, step, TILTS[turn % len(TILTS)])
    if size is None or search.is_stopped:
        return None
    return attempt(search, size, places, 100 * search.number)


def _places(search: Restart, step: Step) -> PlaceParams:
    """How cells are placed at a step."""
    has_failed = any(failure.conflicts is not None for failure in search.failures)
    places = search.regime.places_again if has_failed else search.regime.places
    return replace(places, gap_x=step[0], gap_y=step[1])


def _size_for(search: Restart, places: PlaceParams, step: Step, tilt: float | None = None) -> tuple[int, int] | None:
    """Width and height of the grid of a step, without the tiles that are closed, within the limits; None where the
    limits are too small. `tilt` is width to height."""
    area = _floor(search, places) * step[2] + RIM
    tilt = _tilt(search, area) if tilt is None else tilt
    margin = 2 * places.margin
    shape, pinned = search.shape, search.netlist.site.pinned
    least_w = max([int(w) + margin for w in shape.w] + [x + int(shape.w[c]) for c, x, _ in pinned], default=1)
    least_h = max([int(h) + margin for h in shape.h] + [y + int(shape.h[c]) for c, _, y in pinned], default=1)
    most_w, most_h = search.params.max_width, search.params.max_height
    if least_w > most_w or least_h > most_h:
        return None
    wanted = area
    for _ in range(SIZE_STEPS):
        width = min(most_w, max(least_w, round(sqrt(wanted * tilt))))
        height = min(most_h, max(least_h, ceil(wanted / width)))
        width = min(most_w, max(width, ceil(wanted / height)))
        lacking = area - (width * height - num_closed(search.netlist, width, height))
        if lacking <= 0 or (width, height) == (most_w, most_h):
            break
        wanted += max(1.0, lacking)
    return width, height


def _floor(search: Restart, places: PlaceParams) -> float:
    """Tiles that the cells need with their gaps, when packed without loss. Of an open panel only those count where
    the gap of its pixels lets no cell be."""
    netlist, gap_x, gap_y = search.netlist, places.gap_x, places.gap_y
    tiles = sum((c.width + gap_x) * (c.height + gap_y) for c in netlist.cells)
    if search.shape.is_open:
        panel = netlist.cells[search.shape.panel]
        tiles -= (panel.width + gap_x) * (panel.height + gap_y)
        near = np.zeros((panel.height + 2 * gap_y, panel.width + 2 * gap_x), np.bool_)
        for tile in panel.tiles:
            x, y = netlist.tiles[tile].dx, netlist.tiles[tile].dy
            near[y : y + 2 * gap_y + 1, x : x + 2 * gap_x + 1] = True
        tiles += int(near.sum())
    return tiles


def _tilt(search: Restart, area: float) -> float:
    """Width to height of a first grid of that area: around an open panel there is as much room on all sides."""
    if not search.shape.is_open:
        return TILT
    width, height = int(search.shape.w[search.shape.panel]), int(search.shape.h[search.shape.panel])
    half = (width + height) / 2
    beside = max(1.0, (sqrt(half**2 + max(0.0, area - width * height)) - half) / 2)
    return (width + 2 * beside) / (height + 2 * beside)


def num_closed(netlist: Netlist, width: int, height: int) -> int:
    """About how many tiles of a grid the floorplan closes to cells: keep-outs with a tile around them, and what lies
    beside the zone but for the panel itself."""
    site = netlist.site
    if not site.keep_out and site.zone == (None, None, None, None):
        return 0
    closed = np.zeros((height, width), np.bool_)
    panel = netlist.panel
    if panel is not None:
        left, right, top, bottom = site.zone
        cell = netlist.cells[panel]
        x = width - cell.width - 1 if left is None and right is not None else 1
        y = height - cell.height - 1 if top is None and bottom is not None else 1
        x, y = next(((px, py) for c, px, py in site.pinned if c == panel), (max(0, x), max(0, y)))
        closed[:, : max(0, x + left) if left is not None else 0] = True
        closed[: max(0, y + top) if top is not None else 0] = True
        if right is not None:
            closed[:, max(0, x + right) :] = True
        if bottom is not None:
            closed[max(0, y + bottom) :] = True
        closed[y : y + cell.height, x : x + cell.width] = False
    for x0, y0, x1, y1 in site.keep_out:
        closed[max(0, y0 - 1) : max(0, y1 + 2), max(0, x0 - 1) : max(0, x1 + 2)] = True
    return int(closed.sum())
