"""Short rectilinear trees with branching points: exact for few tiles, iterated 1-Steiner and exact repair for many.

Only the crossings of the lines through the tiles can be needed as branching points (M. Hanan, On Steiner's problem with
rectilinear distance, SIAM J. Applied Mathematics 14, 1966).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

Ints = npt.NDArray[np.int64]
EXACT = 9
"""Up to so many tiles the tree is a shortest one: the work grows with 3 to their number."""
PIECE = 7
"""Leaves of the pieces of a large tree that are made as short as they can be."""
FAR = 1 << 50
ROUNDS = 30


def steiner_tree(xs: Ints, ys: Ints, exact: int = EXACT) -> tuple[Ints, Ints]:
    """Branching points of a short tree that joins the tiles (`xs`, `ys`): their columns and rows, to be joined with the
    tiles by a minimum spanning tree. A shortest tree for at most `exact` different tiles, at most 12."""
    corners = sorted(set(zip(xs.tolist(), ys.tolist(), strict=True)))
    px = np.array([x for x, _ in corners], np.int64)
    py = np.array([y for _, y in corners], np.int64)
    if len(px) <= 2:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    if len(px) <= exact:
        out = np.zeros((2, 2 * len(px)), np.int64)
        count = dreyfus_wagner(px, py, out)
        return out[0, :count].copy(), out[1, :count].copy()
    qx, qy = one_steiner(px, py)
    return improved(px, py, qx, qy)


def steiner_length(tiles: Sequence[tuple[int, int]], exact: int = EXACT) -> int:
    """Length of the tree of `steiner_tree`, in tiles of distance."""
    xs = np.array([x for x, _ in tiles], np.int64)
    ys = np.array([y for _, y in tiles], np.int64)
    if len(xs) < 2:
        return 0
    qx, qy = steiner_tree(xs, ys, exact)
    ax, ay = np.concatenate([xs, qx]), np.concatenate([ys, qy])
    return int(spanning(ax, ay, len(ax), np.zeros(len(ax), np.int64)))


@njit(cache=True)
def spanning(xs: Any, ys: Any, count: int, parent: Any) -> int:
    """Length of a minimum spanning tree (R. C. Prim, 1957), and for each point but the first the one it hangs on."""
    dist = np.full(count, FAR, np.int64)
    inside = np.zeros(count, np.bool_)
    at = 0
    inside[0] = True
    parent[0] = -1
    total = 0
    for _ in range(count - 1):
        best = -1
        for i in range(count):
            if not inside[i]:
                d = abs(xs[i] - xs[at]) + abs(ys[i] - ys[at])
                if d < dist[i]:
                    dist[i] = d
                    parent[i] = at
                if best < 0 or dist[i] < dist[best]:
                    best = i
        at = best
        inside[at] = True
        total += dist[at]
    return total


@njit(cache=True)
def spread(row: Any, gx: Any, gy: Any) -> None:
    """Make each node's value the least of all values plus the way from there: along columns, then along rows."""
    nx, ny = gx.shape[0], gy.shape[0]
    for j in range(ny):
        for i in range(1, nx):
            row[j * nx + i] = min(row[j * nx + i], row[j * nx + i - 1] + gx[i] - gx[i - 1])
        for i in range(nx - 2, -1, -1):
            row[j * nx + i] = min(row[j * nx + i], row[j * nx + i + 1] + gx[i + 1] - gx[i])
    for i in range(nx):
        for j in range(1, ny):
            row[j * nx + i] = min(row[j * nx + i], row[(j - 1) * nx + i] + gy[j] - gy[j - 1])
        for j in range(ny - 2, -1, -1):
            row[j * nx + i] = min(row[j * nx + i], row[(j + 1) * nx + i] + gy[j + 1] - gy[j])


@njit(cache=True)
def dreyfus_wagner(px: Any, py: Any, out: Any) -> int:
    """A shortest tree of different points, on Hanan's grid (S. E. Dreyfus, R. A. Wagner, Networks 1, 1971): its
    branching points go to `out`; returns their number."""
    n = px.shape[0]
    gx, gy = np.unique(px), np.unique(py)
    nx = gx.shape[0]
    nodes = nx * gy.shape[0]
    at = np.zeros(n, np.int64)
    for t in range(n):
        at[t] = np.searchsorted(gy, py[t]) * nx + np.searchsorted(gx, px[t])
    full = 1 << (n - 1)
    joined = np.full((full, nodes), FAR, np.int64)
    best = np.full((full, nodes), FAR, np.int64)
    for mask in range(1, full):
        row = joined[mask]
        low = mask & -mask
        if mask == low:
            t = 0
            while (1 << t) != mask:
                t += 1
            row[at[t]] = 0
        else:
            sub = (mask - 1) & mask
            while sub > 0:
                if sub & low:
                    rest = mask ^ sub
                    for v in range(nodes):
                        d = best[sub, v] + best[rest, v]
                        if d < row[v]:
                            row[v] = d
                sub = (sub - 1) & mask
        best[mask, :] = row
        spread(best[mask], gx, gy)
    return trace(px, py, gx, gy, at, joined, best, out)


@njit(cache=True)
def trace(px: Any, py: Any, gx: Any, gy: Any, at: Any, joined: Any, best: Any, out: Any) -> int:
    """Walks back through the tables of `dreyfus_wagner` and collects the points where parts were joined."""
    n, nx = px.shape[0], gx.shape[0]
    masks = np.zeros(4 * n, np.int64)
    places = np.zeros(4 * n, np.int64)
    masks[0], places[0] = (1 << (n - 1)) - 1, at[n - 1]
    size, count = 1, 0
    while size > 0:
        size -= 1
        mask, v = masks[size], places[size]
        if mask & (mask - 1) == 0:
            continue
        u = 0
        while joined[mask, u] + abs(gx[u % nx] - gx[v % nx]) + abs(gy[u // nx] - gy[v // nx]) != best[mask, v]:
            u += 1
        known = False
        for t in range(n):
            known = known or at[t] == u
        for k in range(count):
            known = known or (out[0, k] == gx[u % nx] and out[1, k] == gy[u // nx])
        if not known:
            out[0, count], out[1, count] = gx[u % nx], gy[u // nx]
            count += 1
        sub = (mask - 1) & mask
        while best[sub, u] + best[mask ^ sub, u] != joined[mask, u]:
            sub = (sub - 1) & mask
        masks[size], places[size] = sub, u
        masks[size + 1], places[size + 1] = mask ^ sub, u
        size += 2
    return count


@njit(cache=True)
def tidied(xs: Any, ys: Any, fixed: int, count: int) -> int:
    """Takes out branching points (those from number `fixed` on) that a minimum spanning tree joins to fewer than three
    others; returns the number of points left."""
    parent = np.zeros(xs.shape[0], np.int64)
    while True:
        spanning(xs, ys, count, parent)
        degree = np.zeros(count, np.int64)
        for i in range(1, count):
            degree[i] += 1
            degree[parent[i]] += 1
        kept = fixed
        for i in range(fixed, count):
            if degree[i] >= 3:
                xs[kept], ys[kept] = xs[i], ys[i]
                kept += 1
        if kept == count:
            return count
        count = kept


@njit(cache=True)
def one_steiner(px: Any, py: Any) -> Any:
    """Adds the crossing that shortens the spanning tree most, and in the same round all others that still do, until
    none does (A. B. Kahng, G. Robins, IEEE Trans. CAD 11, 1992: batched iterated 1-Steiner)."""
    n = px.shape[0]
    xs, ys = np.zeros(3 * n + 2, np.int64), np.zeros(3 * n + 2, np.int64)
    xs[:n], ys[:n] = px, py
    parent = np.zeros(3 * n + 2, np.int64)
    gx, gy = np.unique(px), np.unique(py)
    nx = gx.shape[0]
    nodes = nx * gy.shape[0]
    count = n
    gain = np.zeros(nodes, np.int64)
    for _ in range(ROUNDS):
        now = spanning(xs, ys, count, parent)
        for v in range(nodes):
            xs[count], ys[count] = gx[v % nx], gy[v // nx]
            gain[v] = now - spanning(xs, ys, count + 1, parent)
        order = np.argsort(-gain)
        added = False
        for k in range(nodes):
            v = order[k]
            if gain[v] <= 0 or count >= 3 * n:
                break
            xs[count], ys[count] = gx[v % nx], gy[v // nx]
            length = spanning(xs, ys, count + 1, parent)
            if now - length >= gain[v]:
                now = length
                count += 1
                added = True
        count = tidied(xs, ys, n, count)
        if not added:
            break
    return xs[n:count].copy(), ys[n:count].copy()


def improved(px: Ints, py: Ints, qx: Ints, qy: Ints) -> tuple[Ints, Ints]:
    """The tree with every piece of a few leaves made as short as it can be, until none gets shorter."""
    room = 4 * len(px) + 4
    xs, ys = np.zeros(room, np.int64), np.zeros(room, np.int64)
    count = len(px) + len(qx)
    xs[:count], ys[:count] = np.concatenate([px, qx]), np.concatenate([py, qy])
    count = int(improve(xs, ys, len(px), count))
    return xs[len(px) : count].copy(), ys[len(px) : count].copy()


@njit(cache=True)
def improve(xs: Any, ys: Any, fixed: int, count: int) -> int:
    """Around every point, the piece of the tree that has PIECE points of its own or at its rim is built anew exactly;
    returns the number of points of the shortest tree met."""
    room = xs.shape[0]
    parent = np.zeros(room, np.int64)
    piece = np.zeros(room, np.int64)
    inside = np.zeros(room, np.bool_)
    out = np.zeros((2, 4 * PIECE), np.int64)
    tx, ty = np.zeros(room, np.int64), np.zeros(room, np.int64)
    now = spanning(xs, ys, count, parent)
    better = True
    while better:
        better = False
        start = 0
        while start < count:
            size = grow_piece(start, xs, ys, fixed, count, parent, piece, inside)
            if size >= 4:
                ends = 0
                for k in range(size):
                    if piece[k] < fixed or is_rim(piece[k], count, parent, inside):
                        ends += 1
                cx, cy = np.zeros(ends, np.int64), np.zeros(ends, np.int64)
                ends = 0
                for k in range(size):
                    if piece[k] < fixed or is_rim(piece[k], count, parent, inside):
                        cx[ends], cy[ends] = xs[piece[k]], ys[piece[k]]
                        ends += 1
                made = dreyfus_wagner(cx, cy, out) if ends >= 3 else 0
                total = 0
                for i in range(count):
                    if i < fixed or not inside[i] or is_rim(i, count, parent, inside):
                        tx[total], ty[total] = xs[i], ys[i]
                        total += 1
                for k in range(made):
                    tx[total], ty[total] = out[0, k], out[1, k]
                    total += 1
                total = tidied(tx, ty, fixed, total)
                length = spanning(tx, ty, total, parent)
                if length < now:
                    now, count, better = length, total, True
                    xs[:count], ys[:count] = tx[:count], ty[:count]
                    start = -1
                spanning(xs, ys, count, parent)
            start += 1
    return count


@njit(cache=True)
def is_rim(i: int, count: int, parent: Any, inside: Any) -> bool:
    """Whether a point of the piece is joined to a point outside of it."""
    if parent[i] >= 0 and not inside[parent[i]]:
        return True
    outside = False
    for j in range(count):
        outside = outside or (parent[j] == i and not inside[j])
    return outside


@njit(cache=True)
def grow_piece(start: int, xs: Any, ys: Any, fixed: int, count: int, parent: Any, piece: Any, inside: Any) -> int:
    """The points nearest to `start` along the tree, as long as at most PIECE of them are tiles or at the rim."""
    inside[:] = False
    piece[0] = start
    inside[start] = True
    size = 1
    head = 0
    while head < size:
        at = piece[head]
        head += 1
        for j in range(count):
            near = parent[at] == j or parent[j] == at
            if near and not inside[j]:
                inside[j] = True
                ends = 0
                for k in range(size):
                    if piece[k] < fixed or is_rim(piece[k], count, parent, inside):
                        ends += 1
                if j < fixed or is_rim(j, count, parent, inside):
                    ends += 1
                if ends > PIECE:
                    inside[j] = False
                else:
                    piece[size] = j
                    size += 1
    return size
