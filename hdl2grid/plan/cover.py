"""The fewest straight strokes that cover given tiles.

Every tile lies on one maximal run along x and on one along y, so strokes are the nodes and tiles the edges of a
bipartite graph, and the fewest strokes are its smallest vertex cover, which a largest matching gives (D. Koenig,
Graphok es matrixok, Matematikai es Fizikai Lapok 38, 1931; J. E. Hopcroft, R. M. Karp, SIAM J. Computing 2, 1973).
"""

from __future__ import annotations

from collections.abc import Mapping

import networkx as nx

from hdl2grid.plan.model import Stroke

Tile = tuple[int, int]
_Runs = dict[Tile, int]


def fewest_strokes(needed: Mapping[Tile, bool | None], allowed: set[Tile] | None = None) -> tuple[Stroke, ...]:
    """The fewest strokes that cover all tiles of `needed` and otherwise only tiles of `allowed`, in reading order.

    A needed tile maps to None, or to a claim that a stroke must cover it along x (True) or along y (False).
    """
    usable = set(needed) | (allowed or set())
    across, runs_across = _runs(usable, 1, 0)
    down, runs_down = _runs(usable, 0, 1)
    chosen_across = {across[tile] for tile, way in needed.items() if way is True}
    chosen_down = {down[tile] for tile, way in needed.items() if way is False}
    graph = nx.Graph()
    for tile in sorted(needed, key=lambda t: (t[1], t[0])):
        a, d = across[tile], down[tile]
        if needed[tile] is None and a not in chosen_across and d not in chosen_down:
            graph.add_edge(a, len(runs_across) + d)
    for node in _smallest_cover(graph, len(runs_across)):
        chosen_across.add(node) if node < len(runs_across) else chosen_down.add(node - len(runs_across))
    strokes = [_trimmed(runs_across[i], needed) for i in chosen_across]
    strokes += [_trimmed(runs_down[i], needed) for i in chosen_down]
    return tuple(sorted(set(strokes), key=lambda s: (s[1], s[0], s[3], s[2])))


def _smallest_cover(graph: nx.Graph, num_across: int) -> list[int]:
    cover: list[int] = []
    for part in nx.connected_components(graph):
        piece = graph.subgraph(part)
        top = sorted(node for node in part if node < num_across)
        matching = nx.bipartite.hopcroft_karp_matching(piece, top)
        cover += sorted(nx.bipartite.to_vertex_cover(piece, matching, top))
    return cover


def _runs(tiles: set[Tile], dx: int, dy: int) -> tuple[_Runs, list[list[Tile]]]:
    """Maximal straight runs along one axis: each tile's run, and the runs."""
    where: _Runs = {}
    runs: list[list[Tile]] = []
    for x, y in sorted(tiles, key=lambda t: (t[1], t[0])):
        before = where.get((x - dx, y - dy))
        if before is None:
            where[x, y] = len(runs)
            runs.append([(x, y)])
        else:
            where[x, y] = before
            runs[before].append((x, y))
    return where, runs


def _trimmed(run: list[Tile], needed: Mapping[Tile, bool | None]) -> Stroke:
    inside = [i for i, tile in enumerate(run) if tile in needed]
    return (*run[inside[0]], *run[inside[-1]])
