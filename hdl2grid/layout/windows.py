"""Ease the last conflicts of a large board: in a window around one, some sinks get other colours, and all nets are
routed anew there. (Large neighbourhoods, searched by taking apart and repairing: P. Shaw, CP 1998.)

Between the pixels of a panel cells cannot give way, and where two pixels shut a third one in, several colours have to
change at once, and with them others on the same stacks. Conflicts elsewhere are left alone meanwhile.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from contextlib import nullcontext
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below
from hdl2grid.layout.arrays import COLOURS, WATCH_STOP, WATCH_TRIES, Board, Bools, Ints, Scratch, Shape, copy_board
from hdl2grid.layout.clash_free import ClashFree
from hdl2grid.layout.colouring import gather, set_colour
from hdl2grid.layout.occupancy import grid_tile
from hdl2grid.layout.routing import RouteParams, route

REACHES = (4, 6, 8)
"""Half the sides of windows, in tiles."""
MOST_WANTED = 2
"""So many sinks of a window are given other colours at most; those around them change with them."""
MOSTLY = 80
"""In how many of 100 windows colours change, and how often the first is that of a net in conflict."""
WINDOW = RouteParams(present=2.0, growth=1.15, most=60.0, raise_by=2.0, slack=20, recolour=1, rounds=20, stall=10)
"""How a window is routed."""


@dataclass(frozen=True)
class EaseParams:
    """Windows to try at most, and after how many in a row without improvement that ends. `solve`: sinks that must
    change colour with others are found by SAT; else nothing changes with them."""

    tries: int
    stall: int
    solve: bool = True


def ease(
    shape: Shape, board: Board, scratch: Scratch, conflicts: int, params: EaseParams, rng: Any
) -> tuple[Board, int]:
    """Try windows while there are conflicts; returns the best board met, and the conflicts on it."""
    idle = 0
    with ClashFree(shape, board) if params.solve else nullcontext() as colours:
        for _ in range(params.tries):
            if conflicts == 0 or idle >= params.stall or shape.watch[WATCH_STOP]:
                break
            trial = copy_board(board)
            among = np.zeros(len(trial.length), np.bool_)
            inside = _window(_pick_spot(rng, trial), REACHES[below(rng, len(REACHES))], trial)
            _recolour(rng, inside, colours, shape, trial, among)
            _rip(inside, trial, among)
            left, _ = route(shape, trial, scratch, WINDOW, rng, among)
            shape.watch[WATCH_TRIES] += 1
            idle = 0 if left < conflicts else idle + 1
            if left <= conflicts:
                board, conflicts = trial, left
    return board, conflicts


def _window(spot: int, reach: int, board: Board) -> Bools:
    """The tiles of the grid that are within `reach` columns and rows of one."""
    width, height = int(board.size[0]), int(board.size[1])
    inside = np.zeros((height, width), np.bool_)
    x, y = spot % width, spot // width
    inside[max(0, y - reach) : y + reach + 1, max(0, x - reach) : x + reach + 1] = True
    return inside.ravel()


def _recolour(rng: Any, inside: Bools, colours: ClashFree | None, shape: Shape, board: Board, among: Bools) -> None:
    """Give some of the variables in a window other colours, and take the nets that change among those to be routed.
    In MOSTLY cases one is on a net in conflict. So that no devices clash, others change with them: in the window and
    on the cells of the drivers, and where that does not suffice, anywhere."""
    near = np.flatnonzero(_is_near(inside, shape, board))
    if len(near) == 0 or below(rng, 100) >= MOSTLY:
        return
    wanted: dict[int, int] = {}
    bad = near[board.bad[COLOURS * shape.signal_of[near] + board.colour[near]]]
    for number in range(1 + below(rng, MOST_WANTED)):
        choice = bad if number == 0 and len(bad) and below(rng, 100) < MOSTLY else near
        v = int(choice[below(rng, len(choice))])
        wanted[v] = (int(board.colour[v]) + 1 + below(rng, COLOURS - 1)) % COLOURS
    fresh = _alone(wanted, shape, board) if colours is None else _together(wanted, near, colours, shape, board)
    if fresh is None:
        return
    for v in np.flatnonzero(fresh != board.colour).tolist():
        first = COLOURS * int(shape.signal_of[v])
        among[[first + int(board.colour[v]), first + int(fresh[v])]] = True
        set_colour(v, int(fresh[v]), shape, board)


def _alone(wanted: Mapping[int, int], shape: Shape, board: Board) -> Ints:
    """The board's colours with those `wanted`, also of what is laid alike."""
    fresh: Ints = board.colour.copy()
    kept = np.zeros(len(fresh), np.int64)
    for v, c in wanted.items():
        fresh[kept[: gather(v, False, shape, board, kept)]] = c
    return fresh


def _together(wanted: Mapping[int, int], near: Ints, colours: ClashFree, shape: Shape, board: Board) -> Ints | None:
    """Colours without clashes on devices, with those `wanted`; None where there are none."""
    signals = {int(shape.signal_of[v]) for v in wanted}
    free = np.union1d(near, _on_cells_driving(signals, shape))
    fresh = colours.nearest(board, wanted, np.setdiff1d(np.arange(len(board.colour)), free).tolist())
    return colours.nearest(board, wanted) if fresh is None else fresh


def _on_cells_driving(signals: Iterable[int], shape: Shape) -> Ints:
    """The variables on the cells that drive some signals."""
    drivers = [shape.drive_tiles[shape.drive_start[s] : shape.drive_start[s + 1]] for s in signals]
    cell_of_variable = shape.cell_of[shape.var_tiles[shape.var_start[:-1]]]
    return np.flatnonzero(np.isin(cell_of_variable, shape.cell_of[np.hstack(drivers)]))


@njit(cache=True)
def _is_near(inside: Any, shape: Shape, board: Board) -> Any:
    """Which variables have their first tile inside."""
    is_near = np.zeros(board.colour.shape[0], np.bool_)
    for v in range(board.colour.shape[0]):
        is_near[v] = inside[grid_tile(shape.var_tiles[shape.var_start[v]], shape, board)]
    return is_near


@njit(cache=True)
def _pick_spot(rng: Any, board: Board) -> int:
    """A tile where something clashes, or, where nothing does, one of a net that is bad."""
    count = 0
    spot = -1
    for c in range(COLOURS):
        for tile in range(board.clash.shape[1]):
            if board.clash[c, tile]:
                count += 1
                if below(rng, count) == 0:
                    spot = tile
    if spot >= 0:
        return spot
    count = 0
    for net in range(board.length.shape[0]):
        if board.bad[net] and board.length[net] > 0:
            count += 1
            if below(rng, count) == 0:
                spot = board.route[net, below(rng, board.length[net])]
    return spot


@njit(cache=True)
def _rip(inside: Any, board: Board, among: Any) -> None:
    """Mark all nets of a window as bad, and its tiles as tiles where they clash: there they are ripped up. Nets of the
    same signals come `among` those that are routed, for they may take over sinks."""
    for net in range(board.length.shape[0]):
        for i in range(board.length[net]):
            if inside[board.route[net, i]]:
                among[net] = True
                break
    board.history[:, :] = 0.0
    for tile in range(inside.shape[0]):
        if inside[tile]:
            for c in range(COLOURS):
                board.clash[c, tile] = True
    for s in range(board.usage.shape[0]):
        touched = False
        for net in range(COLOURS * s, COLOURS * s + COLOURS):
            board.bad[net] = board.bad[net] or among[net]
            touched = touched or among[net]
        among[COLOURS * s : COLOURS * s + COLOURS] = touched
