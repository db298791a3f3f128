"""Rectilinear Steiner trees: the least wire that joins the pins of a net where nothing is in the way.

Up to EXACT points the tree is a shortest one: dynamic programming over sets of points (S. E. Dreyfus, R. A. Wagner,
Networks 1, 1971) on the grid of the points' columns and rows, which holds a shortest tree (M. Hanan, SIAM J. Applied
Mathematics 14, 1966). Larger trees begin as minimum spanning trees. Then connected pieces of the tree that touch few
points are replaced by shortest trees of the points they touch, and points of the Hanan grid that make the spanning
tree shorter are put in (A. B. Kahng, G. Robins, IEEE Trans. CAD 11, 1992), until neither helps; the best of a few
beginnings counts. The same points give the same tree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import below
from hdl2grid.plan.extract import Extraction
from hdl2grid.plan.measure import net_tiles, spanning_tree
from hdl2grid.plan.model import Plan

EXACT = 12
"""Points up to which a tree is certainly a shortest one."""
PIECE = 7
"""Points that a piece of a larger tree may touch when it is replaced."""
TREE_LIMIT = 40
"""Tiles of a net up to which `least_wire` has a tree with branching points: larger ones take long."""
FAR = 1 << 60
STARTS = 6
"""How often a larger tree is begun: first from the spanning tree, then from those of points shaken a little."""
INSERT_LIMIT = 64
"""Trees of more points than this are not bettered by points of the Hanan grid, which takes n**4 steps a round."""


@dataclass(frozen=True)
class SteinerTree:
    """A tree over `points`: the given ones, each place once, in their order, then added ones. `edges` are pairs of
    numbers of points; an edge is as long as the distance in x plus that in y, and `length` is the sum."""

    points: tuple[tuple[int, int], ...]
    edges: tuple[tuple[int, int], ...]
    length: int


def steiner_tree(points: Sequence[tuple[int, int]], exact: int = EXACT) -> SteinerTree:
    """A short rectilinear tree that joins points with whole coordinates, a shortest one for `exact` points or fewer.

    Time and memory of the exact part grow with 3**n and 2**n; above 15 points that is not for use in a search.
    """
    places = list(dict.fromkeys((int(x), int(y)) for x, y in points))
    room = 2 * len(places) + 2
    xs, ys = np.zeros(room, np.int64), np.zeros(room, np.int64)
    for i, (x, y) in enumerate(places):
        xs[i], ys[i] = x, y
    edges = np.zeros((room, 2), np.int64)
    count = build(xs, ys, len(places), edges, exact)
    ends = [(int(a), int(b)) for a, b in edges[: count - 1]] if count else []
    nodes = tuple((int(x), int(y)) for x, y in zip(xs[:count], ys[:count], strict=True))
    length = sum(abs(nodes[a][0] - nodes[b][0]) + abs(nodes[a][1] - nodes[b][1]) for a, b in ends)
    return SteinerTree(nodes, tuple(ends), length)


def least_wire(plan: Plan, extraction: Extraction) -> int:
    """The wire of all nets in tiles, were each alone on the grid: the length of a short tree of its devices, and 1.

    To about half a percent, no layout of these devices can undercut it. Nets of more than TREE_LIMIT tiles count with
    their spanning tree.
    """
    joined = [net_tiles(plan, net) for net in extraction.nets]
    lengths = [steiner_tree(t).length if len(t) <= TREE_LIMIT else spanning_tree(t) for t in joined]
    return sum(lengths) + len(lengths)


@njit(cache=True)
def edges_length(xs: Any, ys: Any, edges: Any, count: int) -> int:
    """Length of the tree of `count` points."""
    total = 0
    for k in range(count - 1):
        a, b = edges[k]
        total += abs(xs[a] - xs[b]) + abs(ys[a] - ys[b])
    return total


@njit(cache=True)
def spanning(xs: Any, ys: Any, count: int, edges: Any, dist: Any, near: Any) -> int:
    """A minimum spanning tree (R. C. Prim, 1957) of the first `count` points; returns its length."""
    for i in range(1, count):
        dist[i] = abs(xs[i] - xs[0]) + abs(ys[i] - ys[0])
        near[i] = 0
    total = 0
    for k in range(count - 1):
        best, best_distance = -1, FAR
        for i in range(1, count):
            if 0 <= dist[i] < best_distance:
                best, best_distance = i, dist[i]
        total += best_distance
        edges[k, 0], edges[k, 1] = near[best], best
        dist[best] = -1
        for i in range(1, count):
            if dist[i] >= 0:
                d = abs(xs[i] - xs[best]) + abs(ys[i] - ys[best])
                if d < dist[i]:
                    dist[i], near[i] = d, best
    return total


@njit(cache=True)
def distinct(values: Any, count: int, out: Any) -> int:
    """The different values among the first `count`, in order, to `out`; returns how many."""
    size = 0
    for i in range(count):
        at = size
        while at > 0 and out[at - 1] > values[i]:
            at -= 1
        if at > 0 and out[at - 1] == values[i]:
            continue
        for k in range(size, at, -1):
            out[k] = out[k - 1]
        out[at] = values[i]
        size += 1
    return size


@njit(cache=True)
def spread(best: Any, cx: Any, cy: Any, nx: int, ny: int) -> None:
    """Lower each place's value to the least of any place's value plus the distance from there."""
    for y in range(ny):
        row = y * nx
        for x in range(1, nx):
            best[row + x] = min(best[row + x], best[row + x - 1] + cx[x] - cx[x - 1])
        for x in range(nx - 2, -1, -1):
            best[row + x] = min(best[row + x], best[row + x + 1] + cx[x + 1] - cx[x])
    for x in range(nx):
        for y in range(1, ny):
            best[y * nx + x] = min(best[y * nx + x], best[(y - 1) * nx + x] + cy[y] - cy[y - 1])
        for y in range(ny - 2, -1, -1):
            best[y * nx + x] = min(best[y * nx + x], best[(y + 1) * nx + x] + cy[y + 1] - cy[y])


@njit(cache=True)
def joined_at(best: Any, part: int, place: int) -> int:
    """The least length of two trees that share the points of `part` and meet at `place`."""
    least = FAR
    sub = (part - 1) & part
    while sub > part - sub:
        least = min(least, best[sub, place] + best[part - sub, place])
        sub = (sub - 1) & part
    return least


@njit(cache=True)
def shortest(xs: Any, ys: Any, count: int, edges: Any) -> int:
    """A shortest tree of `count` >= 2 different points. Added points are put behind them; returns all points' number.

    `best[part, place]` is the least length of a tree that joins a place of the Hanan grid with the points of `part`,
    a set of all points but the last. Trees are then read back from the table.
    """
    cx, cy = np.zeros(count, np.int64), np.zeros(count, np.int64)
    nx, ny = distinct(xs, count, cx), distinct(ys, count, cy)
    places = nx * ny
    at = np.zeros(count, np.int64)
    for i in range(count):
        at[i] = np.searchsorted(cy[:ny], ys[i]) * nx + np.searchsorted(cx[:nx], xs[i])
    full = (1 << (count - 1)) - 1
    best = np.full((full + 1, places), FAR, np.int64)
    for part in range(1, full + 1):
        if part & (part - 1) == 0:
            i = 0
            while part >> (i + 1) != 0:
                i += 1
            best[part, at[i]] = 0
        else:
            sub = (part - 1) & part
            while sub > part - sub:
                for p in range(places):
                    best[part, p] = min(best[part, p], best[sub, p] + best[part - sub, p])
                sub = (sub - 1) & part
        spread(best[part], cx, cy, nx, ny)
    node = np.full(places, -1, np.int64)
    for i in range(count):
        node[at[i]] = i
    parts, wheres = np.zeros(2 * count + 2, np.int64), np.zeros(2 * count + 2, np.int64)
    parts[0], wheres[0] = full, at[count - 1]
    stack, size, n_edges = 1, count, 0
    while stack > 0:
        stack -= 1
        part, here = parts[stack], wheres[stack]
        meet = -1
        if part & (part - 1) == 0:
            i = 0
            while part >> (i + 1) != 0:
                i += 1
            meet = at[i]
        else:
            for p in range(places):
                far = abs(cx[p % nx] - cx[here % nx]) + abs(cy[p // nx] - cy[here // nx])
                if best[part, p] + far == best[part, here] and joined_at(best, part, p) == best[part, p]:
                    meet = p
                    break
            sub = (part - 1) & part
            while best[sub, meet] + best[part - sub, meet] != best[part, meet]:
                sub = (sub - 1) & part
            parts[stack], wheres[stack] = sub, meet
            parts[stack + 1], wheres[stack + 1] = part - sub, meet
            stack += 2
        for p in (here, meet):
            if node[p] < 0:
                node[p] = size
                xs[size], ys[size] = cx[p % nx], cy[p // nx]
                size += 1
        if meet != here:
            edges[n_edges, 0], edges[n_edges, 1] = node[here], node[meet]
            n_edges += 1
    return size


@njit(cache=True)
def tidy_up(xs: Any, ys: Any, count: int, size: int, edges: Any) -> int:
    """Span all points anew and drop added points that are not needed: those of degree 1 or 2; returns the points left.

    The tree gets no longer by that.
    """
    dist, near = np.zeros(size, np.int64), np.zeros(size, np.int64)
    degree = np.zeros(size, np.int64)
    while True:
        spanning(xs, ys, size, edges, dist, near)
        degree[:size] = 0
        for k in range(size - 1):
            degree[edges[k, 0]] += 1
            degree[edges[k, 1]] += 1
        drop = -1
        for i in range(count, size):
            if degree[i] <= 2:
                drop = i
        if drop < 0:
            return size
        size -= 1
        xs[drop], ys[drop] = xs[size], ys[size]


@njit(cache=True)
def take_piece(start: int, twist: int, count: int, size: int, edges: Any, most: int, piece: Any, ends: Any) -> int:
    """Grow a connected piece of the tree from a point until it touches `most` points: given ones, or such that the
    tree goes on from there. `piece` tells which edges belong to it; the points touched go to `ends`.

    The piece grows edge by edge, in the edges' order from number `twist` on. Returns how many it touches.
    """
    degree, inside = np.zeros(size, np.int64), np.zeros(size, np.int64)
    for k in range(size - 1):
        degree[edges[k, 0]] += 1
        degree[edges[k, 1]] += 1
        piece[k] = False
    held = np.zeros(size, np.bool_)
    held[start] = True
    touched = 1
    grown = True
    while grown:
        grown = False
        for j in range(size - 1):
            k = (j + twist) % (size - 1)
            a, b = edges[k]
            if piece[k] or held[a] == held[b]:
                continue
            inner, outer = (a, b) if held[a] else (b, a)
            gone = inner >= count and inside[inner] + 1 == degree[inner]
            came = outer < count or degree[outer] > 1
            if touched - gone + came > most:
                continue
            touched += came - gone
            piece[k] = held[outer] = grown = True
            inside[inner] += 1
            inside[outer] += 1
    total = 0
    for i in range(size):
        if held[i] and (i < count or inside[i] < degree[i]):
            ends[total] = i
            total += 1
    return total


@njit(cache=True)
def replace_pieces(xs: Any, ys: Any, count: int, size: int, edges: Any, twist: int) -> int:
    """Replace pieces of the tree by shortest trees, one from each point; returns the number of points."""
    room = xs.shape[0]
    piece, ends = np.zeros(room, np.bool_), np.zeros(room, np.int64)
    px, py = np.zeros(2 * PIECE + 2, np.int64), np.zeros(2 * PIECE + 2, np.int64)
    fresh = np.zeros((2 * PIECE + 2, 2), np.int64)
    number = np.zeros(2 * PIECE + 2, np.int64)
    start = 0
    while start < size:
        many = take_piece(start, (twist * size) // 5, count, size, edges, PIECE, piece, ends)
        start += 1
        if many < 3:
            continue
        old = 0
        for k in range(size - 1):
            if piece[k]:
                old += abs(xs[edges[k, 0]] - xs[edges[k, 1]]) + abs(ys[edges[k, 0]] - ys[edges[k, 1]])
        for i in range(many):
            px[i], py[i] = xs[ends[i]], ys[ends[i]]
            number[i] = ends[i]
        total = shortest(px, py, many, fresh)
        if edges_length(px, py, fresh, total) >= old:
            continue
        left = 0
        for k in range(size - 1):
            if not piece[k]:
                edges[left] = edges[k]
                left += 1
        for i in range(many, total):
            number[i] = size + i - many
            xs[number[i]], ys[number[i]] = px[i], py[i]
        for k in range(total - 1):
            edges[left, 0], edges[left, 1] = number[fresh[k, 0]], number[fresh[k, 1]]
            left += 1
        size = tidy_up(xs, ys, count, size + total - many, edges)
    return size


@njit(cache=True)
def insert_points(xs: Any, ys: Any, count: int, size: int, edges: Any) -> int:
    """Put in points of the Hanan grid, always the one that makes the spanning tree shortest; returns the points."""
    room = xs.shape[0]
    dist, near = np.zeros(room, np.int64), np.zeros(room, np.int64)
    length = spanning(xs, ys, size, edges, dist, near)
    while size < room:
        best, best_x, best_y = length, 0, 0
        for i in range(count):
            for j in range(count):
                xs[size], ys[size] = xs[i], ys[j]
                total = spanning(xs, ys, size + 1, edges, dist, near)
                if total < best:
                    best, best_x, best_y = total, xs[i], ys[j]
        if best == length:
            break
        xs[size], ys[size] = best_x, best_y
        length = best
        size = tidy_up(xs, ys, count, size + 1, edges)
    spanning(xs, ys, size, edges, dist, near)
    return size


@njit(cache=True)
def better(xs: Any, ys: Any, count: int, edges: Any) -> int:
    """Better a tree of `count` points until nothing helps; returns the number of points."""
    size = count
    length = edges_length(xs, ys, edges, size)
    while True:
        for twist in range(5):
            size = replace_pieces(xs, ys, count, size, edges, twist)
        if count <= INSERT_LIMIT:
            size = insert_points(xs, ys, count, size, edges)
        now = edges_length(xs, ys, edges, size)
        if now >= length:
            return size
        length = now


@njit(cache=True)
def build(xs: Any, ys: Any, count: int, edges: Any, exact: int) -> int:
    """A short tree of the first `count` points, which differ; returns the number of points, added ones behind them.

    `xs`, `ys` and `edges` have room for 2 * count + 2 points.
    """
    if count < 2:
        return count
    if count <= exact:
        return shortest(xs, ys, count, edges)
    room = 4 * count + 2 * PIECE
    wx, wy, we = np.zeros(room, np.int64), np.zeros(room, np.int64), np.zeros((room, 2), np.int64)
    dist, near = np.zeros(room, np.int64), np.zeros(room, np.int64)
    extent = max(xs[:count].max() - xs[:count].min(), ys[:count].max() - ys[:count].min())
    rng = np.full(1, np.uint64(count), np.uint64)
    best, best_size = FAR, 0
    for start in range(STARTS):
        shake = max(1, start * extent // 12)
        for i in range(count):
            wx[i] = xs[i] + (below(rng, shake) - shake // 2 if start > 0 else 0)
            wy[i] = ys[i] + (below(rng, shake) - shake // 2 if start > 0 else 0)
        spanning(wx, wy, count, we, dist, near)
        wx[:count], wy[:count] = xs[:count], ys[:count]
        size = better(wx, wy, count, we)
        length = edges_length(wx, wy, we, size)
        if length < best:
            best, best_size = length, size
            xs[:size], ys[:size], edges[:size] = wx[:size], wy[:size], we[:size]
    return best_size
