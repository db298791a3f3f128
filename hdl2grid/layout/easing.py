"""Ease the last conflicts of a large board: in a window around one, some sinks change colour at random, and all nets
are routed anew there. (Large neighbourhoods, searched by taking apart and repairing: P. Shaw, CP 1998.)

Between the pixels of a panel cells cannot give way, and where two pixels shut a third one in, several colours have to
change at once. Conflicts elsewhere are left alone meanwhile.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.layout.arrays import COLOURS, WATCH_STOP, WATCH_TRIES, Board, Scratch, Shape, copy_board
from hdl2grid.layout.colouring import set_colour, variable_clashes
from hdl2grid.layout.routing import RouteParams, route
from hdl2grid.layout.wires import grid_tile
from hdl2grid.rng import below

REACHES = (4, 6, 8)
"""Half the sides of windows, in tiles."""
MOST_CHANGES = 4
"""So many sinks of a window change colour at most; where more would clash on devices they do not."""
WINDOW = RouteParams(present=2.0, growth=1.15, most=60.0, raise_by=2.0, slack=20, recolour=1, rounds=20, stall=10)
"""How a window is routed."""


@dataclass(frozen=True)
class EaseParams:
    """Windows to try at most, and how many in a row in vain."""

    tries: int
    stall: int


def ease(
    shape: Shape, board: Board, scratch: Scratch, conflicts: int, params: EaseParams, rng: Any
) -> tuple[Board, int]:
    """Try windows while there are conflicts; returns the best board met, and the conflicts on it."""
    idle = 0
    for _ in range(params.tries):
        if conflicts == 0 or idle >= params.stall or shape.watch[WATCH_STOP]:
            break
        trial = copy_board(board)
        among = np.zeros(len(trial.length), np.bool_)
        reach = REACHES[below(rng, len(REACHES))]
        _disturb(rng, reach, below(rng, MOST_CHANGES + 1), shape, trial, scratch, among)
        left, _ = route(shape, trial, scratch, WINDOW, rng, among)
        shape.watch[WATCH_TRIES] += 1
        idle = 0 if left < conflicts else idle + 1
        if left <= conflicts:
            board, conflicts = trial, left
    return board, conflicts


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
def _change_some(rng: Any, inside: Any, changes: int, shape: Shape, board: Board, scratch: Scratch, among: Any) -> None:
    """Give some of the variables in a window another colour each, but for those whose nets are laid like others, and
    take their nets among those to be routed."""
    near = np.zeros(board.colour.shape[0], np.int64)
    count = 0
    for v in range(board.colour.shape[0]):
        if inside[grid_tile(shape.var_tiles[shape.var_start[v]], shape, board)]:
            near[count] = v
            count += 1
    for _ in range(changes if count > 0 else 0):
        v, b = near[below(rng, count)], below(rng, COLOURS)
        a, growth = board.colour[v], 0
        is_bound = shape.lead_var[v] >= 0 and not board.loose[shape.lead_sig[shape.signal_of[v]]]
        if a == b or is_bound:
            continue
        for c in (a, b):
            growth -= variable_clashes(v, c, shape, board, scratch.seen)
        set_colour(v, b, shape, board)
        for c in (a, b):
            growth += variable_clashes(v, c, shape, board, scratch.seen)
        if growth > 0:
            set_colour(v, a, shape, board)
        else:
            among[COLOURS * shape.signal_of[v] + a] = among[COLOURS * shape.signal_of[v] + b] = True


@njit(cache=True)
def _disturb(rng: Any, reach: int, changes: int, shape: Shape, board: Board, scratch: Scratch, among: Any) -> None:
    """Mark all nets of a window as bad, and its tiles as tiles where they clash: there they are ripped up. Nets of the
    same signals come `among` those that are routed, for they may take over sinks."""
    width, height = board.size[0], board.size[1]
    spot = _pick_spot(rng, board)
    inside = np.zeros(width * height, np.bool_)
    for y in range(max(0, spot // width - reach), min(height, spot // width + reach + 1)):
        for x in range(max(0, spot % width - reach), min(width, spot % width + reach + 1)):
            inside[y * width + x] = True
    _change_some(rng, inside, changes, shape, board, scratch, among)
    for net in range(board.length.shape[0]):
        for i in range(board.length[net]):
            if inside[board.route[net, i]]:
                among[net] = True
                break
    board.history[:, :] = 0.0
    for tile in range(width * height):
        if inside[tile]:
            for c in range(COLOURS):
                board.clash[c, tile] = True
    for s in range(board.usage.shape[0]):
        touched = False
        for net in range(COLOURS * s, COLOURS * s + COLOURS):
            board.bad[net] = board.bad[net] or among[net]
            touched = touched or among[net]
        among[COLOURS * s : COLOURS * s + COLOURS] = touched
