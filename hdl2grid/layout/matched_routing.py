"""Route a net and those that are laid like it in the other copies of its block, as one."""

from __future__ import annotations

from typing import Any

from numba import njit

from hdl2grid.layout.arrays import ALONG_X, ALONG_Y, OTHER, Board, Scratch, Shape
from hdl2grid.layout.net_tree import (
    ALONE,
    ANEW,
    CROSS_X,
    CROSS_Y,
    PLAIN,
    Prices,
    finish,
    grow,
    mark_pins,
    prune,
    wipe,
)
from hdl2grid.layout.occupancy import pins_of

CROSSED = 4
"""Added to a way in a route that is being copied: the tile was entered as one that is crossed."""


@njit(cache=True)
def keep_inside(box: Any, board: Board, scratch: Scratch, copies: int, slack: int, apart: bool) -> None:
    """Widen the box by `slack`, but so that no copy of it leaves the grid, and, with `apart` and if the pins allow it,
    so that copies side by side or below each other have a line between them."""
    low_x = low_y = high_x = high_y = 0
    wide, tall = board.size[0], board.size[1]
    for k in range(copies):
        low_x, high_x = min(low_x, scratch.offs[k, 1]), max(high_x, scratch.offs[k, 1])
        low_y, high_y = min(low_y, scratch.offs[k, 2]), max(high_y, scratch.offs[k, 2])
        for j in range(k if apart else 0):
            dx, dy = abs(scratch.offs[k, 1] - scratch.offs[j, 1]), abs(scratch.offs[k, 2] - scratch.offs[j, 2])
            if dy == 0:
                wide = min(wide, dx - 1)
            if dx == 0:
                tall = min(tall, dy - 1)
    for axis in range(2):
        free = (wide if axis == 0 else tall) - (box[axis + 2] - box[axis] + 1)
        before = after = slack
        if 0 <= free < 2 * slack:
            before = free // 2
            after = free - before
        box[axis] -= before
        box[axis + 2] += after
    box[0], box[2] = max(box[0], -low_x), min(box[2], board.size[0] - 1 - high_x)
    box[1], box[3] = max(box[1], -low_y), min(box[3], board.size[1] - 1 - high_y)


@njit(cache=True)
def copy_tree(net: int, twin: int, count: int, step: int, board: Board) -> None:
    """Lay the first tiles of `twin` as those of `net`, `step` further; ways for now as there."""
    for i in range(count):
        board.route[twin, i] = board.route[net, i] + step
        board.ways[twin, i] = board.ways[net, i]
    board.length[twin] = count


@njit(cache=True)
def finish_copy(net: int, tree: int, shape: Shape, board: Board, scratch: Scratch, prices: Prices, slack: int) -> bool:
    """Join what only this copy of a net has to join to the `tree` tiles that all copies have."""
    n_pins = pins_of(net, shape, board, scratch.pins, False)
    left = mark_pins(n_pins, scratch, board.size[0])
    keep_inside(scratch.box, board, scratch, ALONE, slack, ANEW)
    for i in range(tree):
        way = board.ways[net, i]
        kind = PLAIN
        if way == ALONG_X + CROSSED:
            kind = CROSS_X
        elif way == ALONG_Y + CROSSED:
            kind = CROSS_Y
        scratch.mine[board.route[net, i]] = kind
    count, left = grow(net, tree, n_pins, left, board, scratch, prices, ALONE)
    board.joint[net] = tree if left == 0 else 0
    return finish(net, count, n_pins, left, board, scratch)


@njit(cache=True)
def route_bundle(
    copies: int, shape: Shape, board: Board, scratch: Scratch, prices: Prices, slack: int, keep: bool
) -> bool:
    """Route the nets `scratch.copies`, which have been taken up: what they have in common by one search for all of
    them, the rest one by one. With `keep` the sound part of the old common tree stays. False where not all pins were
    reached."""
    nets, offs, mine = scratch.copies, scratch.offs, scratch.mine
    net = nets[0]
    n_pins = pins_of(net, shape, board, scratch.pins, True)
    left = mark_pins(n_pins, scratch, board.size[0])
    keep_inside(scratch.box, board, scratch, copies, slack, keep)
    count = 0
    if keep and board.joint[net] > 0:
        count = prune(net, board, scratch, board.joint[net], copies)
    count, left = grow(net, count, n_pins, left, board, scratch, prices, copies)
    for i in range(count):
        kind = mine[board.route[net, i]]
        way = OTHER
        if kind == CROSS_X:
            way = ALONG_X + CROSSED
        elif kind == CROSS_Y:
            way = ALONG_Y + CROSSED
        board.ways[net, i] = way
    wipe(net, count, n_pins, board, scratch)
    if left > 0:
        return False
    for k in range(1, copies):
        copy_tree(net, nets[k], count, offs[k, 0], board)
    reached = True
    for k in range(copies):
        board.reached[nets[k]] = finish_copy(nets[k], count, shape, board, scratch, prices, slack)
        reached = reached and board.reached[nets[k]]
    return reached
