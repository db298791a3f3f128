"""Where the nets of a panel leave it: a global routing between its pixels, before any cell has a place.

Inner pixels are reached along the lanes between the pixels. A lane's tiles bear two nets each on average: wires of one
colour must not touch, so every second tile bears one in each of four colours. All nets go the shortest ways out that
keep to this, by negotiated congestion (L. McMurchie, C. Ebeling, PathFinder, FPGA 1995) on whole nets instead of wires.
Cells that stand where their nets leave leave the lanes to others; and what does not fit here does not fit at all.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.layout.arrays import Ints
from hdl2grid.layout.net_tree import pop, push
from hdl2grid.nets.model import Cell, Netlist

A_TILE = 2
"""Nets that a tile bears on average. A pixel can bear more, but closes the tiles around it to other nets then."""
ROUNDS, PRESENT, GROWTH, RAISE = 40, 0.5, 1.3, 0.3
"""Rounds of negotiation; the price of a net too many on a tile, in tiles, how it grows, and what stays of it."""
ANOTHER = 12.0
"""Price of leaving the panel once more instead of branching inside, in tiles: outside the two ways meet again."""
MOST_EXITS = 64
RIM = 1
"""Free tiles around the panel, on which a net is outside."""


@dataclass(frozen=True)
class Exits:
    """For each signal that is on the panel the tiles of pixels nearest to where it leaves; `excess` is by how many nets
    tiles between the pixels are overfull, 0 where all fit."""

    tiles: dict[int, tuple[int, ...]]
    excess: int


@lru_cache(maxsize=4)
def find_exits(netlist: Netlist) -> Exits:
    """The exits of a netlist's panel; none where there is no panel."""
    panel = netlist.panel
    if panel is None:
        return Exits({}, 0)
    cell = netlist.cells[panel]
    width, height = cell.width + 2 * RIM, cell.height + 2 * RIM
    at = {tile: (netlist.tiles[tile].dy + RIM) * width + netlist.tiles[tile].dx + RIM for tile in cell.tiles}
    is_pixel = np.zeros(width * height, np.bool_)
    is_pixel[list(at.values())] = True
    pins: dict[int, list[int]] = defaultdict(list)
    for sink in netlist.sinks:
        if netlist.tiles[sink.tiles[0]].cell == panel:
            for signal in sink.signals:
                pins[signal] += [at[tile] for tile in sink.tiles]
    signals = sorted(pins)
    start = np.cumsum([0, *(len(pins[s]) for s in signals)])
    flat = np.array([tile for s in signals for tile in pins[s]], np.int64)
    left_at, excess = _negotiate(width, height, is_pixel, flat, start)
    near = {s: _nearest(cell, at, left_at[i], width) for i, s in enumerate(signals)}
    return Exits(near, int(excess))


def _nearest(cell: Cell, at: dict[int, int], left_at: Ints, width: int) -> tuple[int, ...]:
    """For each tile at which a net leaves the pixel's tile nearest to it, each once."""
    places = np.array([at[tile] for tile in cell.tiles])
    found = []
    for tile in left_at[left_at >= 0].tolist():
        far = np.abs(places % width - tile % width) + np.abs(places // width - tile // width)
        found.append(cell.tiles[int(far.argmin())])
    return tuple(dict.fromkeys(found))


@njit(cache=True)
def _way_out(
    first: int, inside: bool, width: int, height: int, is_pixel: Any, own: Any, tree: Any, price: Any, dist: Any,
    prev: Any, heap_cost: Any, heap_tile: Any,
) -> int:  # fmt: skip
    """The end of a cheapest way from a pixel to its net's `tree`, or to the rim, which costs ANOTHER unless the net is
    still `inside`; -1 where it is walled in. The way is left in `prev`."""
    dist[:] = np.inf
    dist[first], prev[first] = 0.0, -1
    size = push(heap_cost, heap_tile, 0, 0.0, first)
    out, out_cost = -1, np.inf
    while size > 0:
        far, tile = heap_cost[0], heap_tile[0]
        size = pop(heap_cost, heap_tile, size)
        if far > dist[tile]:
            continue
        if far >= out_cost:
            break
        if tree[tile]:
            return int(tile)
        x, y = tile % width, tile // width
        if x == 0 or y == 0 or x == width - 1 or y == height - 1:
            cost = far + (0.0 if inside else ANOTHER)
            if cost < out_cost:
                out, out_cost = tile, cost
            continue
        for to in (tile + 1, tile - 1, tile + width, tile - width):
            if (not is_pixel[to] or own[to]) and far + price[to] < dist[to]:
                dist[to], prev[to] = far + price[to], tile
                size = push(heap_cost, heap_tile, size, dist[to], to)
    return out


@njit(cache=True)
def _negotiate(width: int, height: int, is_pixel: Any, pins: Any, start: Any) -> Any:
    """Lead the nets out, whose pixels' tiles are `pins` from one `start` to the next, until no tile is overfull.
    Returns the tiles of the rim where each leaves, -1 behind them, and by how many nets tiles are overfull."""
    area, count = width * height, start.shape[0] - 1
    used, history, price = np.zeros(area, np.int64), np.zeros(area), np.ones(area)
    ways, length = np.zeros((count, area), np.int32), np.zeros(count, np.int64)
    exits = np.full((count, MOST_EXITS), -1, np.int64)
    own, tree = np.zeros(area, np.bool_), np.zeros(area, np.bool_)
    dist, prev = np.zeros(area), np.zeros(area, np.int64)
    heap_cost, heap_tile = np.zeros(5 * area), np.zeros(5 * area, np.int64)
    present, excess = PRESENT, 0
    for _ in range(ROUNDS):
        for s in range(count):
            for i in range(length[s]):
                used[ways[s, i]] -= 1
            for tile in range(area):
                price[tile] = 1.0 + history[tile] + present * max(0, used[tile] + 1 - A_TILE)
            length[s], many = 0, 0
            exits[s] = -1
            own[pins[start[s] : start[s + 1]]] = True
            for k in range(start[s], start[s + 1]):
                if tree[pins[k]] or many == MOST_EXITS:
                    continue
                end = _way_out(
                    pins[k], many == 0, width, height, is_pixel, own, tree, price, dist, prev, heap_cost, heap_tile
                )
                if end >= 0 and not tree[end]:
                    exits[s, many] = end
                    many += 1
                while end >= 0:
                    if not tree[end]:
                        tree[end] = True
                        ways[s, length[s]] = end
                        length[s] += 1
                    end = prev[end]
            for i in range(length[s]):
                tree[ways[s, i]] = False
                used[ways[s, i]] += 1
            own[pins[start[s] : start[s + 1]]] = False
        excess = 0
        for tile in range(area):
            if not is_pixel[tile] and used[tile] > A_TILE:
                excess += used[tile] - A_TILE
                history[tile] += RAISE * (used[tile] - A_TILE)
        if excess == 0:
            break
        present *= GROWTH
    return exits, excess
