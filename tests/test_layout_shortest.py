"""The router's search against shortest paths by networkx, on random grids with devices, wires and colours.

The reference graph is built from the rules in docs/grid-model.md and the prices in docs/layout.md, not from the
router's arrays: its nodes are a tile with how it was entered, and its own account of what lies on the tiles.
"""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import dataclass, replace
from typing import Any

import networkx as nx
import numpy as np
import pytest
from support.lamps import lamps

from hdl2grid.layout.arrays import ALONG_X, ALONG_Y, COLOURS, OTHER, Board
from hdl2grid.layout.net_tree import Prices, route_net
from hdl2grid.layout.occupancy import lay_all

Tile = tuple[int, int]
STEPS = ((1, 0), (0, 1), (-1, 0), (0, -1))
BEND = 0.25


@dataclass(frozen=True)
class Case:
    """A grid with one pair to join in colour 0, devices in the way, and wires: (colour, tiles in order)."""

    size: Tile
    start: Tile
    goal: Tile
    devices: frozenset[Tile]
    wires: tuple[tuple[int, tuple[Tile, ...]], ...]
    history: dict[Tile, float]
    present: float
    cross: float

    def way(self, wire: tuple[Tile, ...], i: int) -> str:
        """What a wire does on its tile number i: "x" or "y" where it runs straight on, "" else."""
        if 0 < i < len(wire) - 1:
            (ax, ay), (bx, by) = wire[i - 1], wire[i + 1]
            return "x" if ay == by else "y" if ax == bx else ""
        return ""

    def ways(self) -> dict[tuple[int, Tile], Counter[str]]:
        """(colour, tile) -> what the wires do there."""
        found: dict[tuple[int, Tile], Counter[str]] = {}
        for colour, wire in self.wires:
            for i, tile in enumerate(wire):
                found.setdefault((colour, tile), Counter())[self.way(wire, i)] += 1
        return found


def random_case(dice: random.Random) -> Case:
    size = dice.randrange(5, 12), dice.randrange(5, 12)
    tiles = [(x, y) for x in range(size[0]) for y in range(size[1])]
    start, goal, *devices = dice.sample(tiles, 2 + dice.randrange(len(tiles) // 5))
    taken = {start, goal, *devices}
    wires = []
    for number in range(dice.randrange(3, 12)):
        walk = [dice.choice(tiles)]
        dx, dy = dice.choice(STEPS)
        if number == 0:
            walk, dx, dy = [(size[0] // 2, 0)], 0, 1
        for _ in range(dice.randrange(4, 14)):
            if dice.random() < 0.1:
                dx, dy = dice.choice([(dy, dx), (-dy, -dx)])
            walk.append((walk[-1][0] + dx, walk[-1][1] + dy))
        length = next((i for i, t in enumerate(walk) if t in taken or t not in tiles or t in walk[:i]), len(walk))
        if length:
            wires.append((dice.choice((0, 0, 1, 2)), tuple(walk[:length])))
    history = {tile: dice.choice((0.0, 0.0, 0.8, 3.0)) for tile in tiles}
    return Case(
        size,
        start,
        goal,
        frozenset(devices),
        tuple(wires),
        history,
        dice.choice((0.5, 1.0, 6.0)),
        dice.choice((1.0, 4.0)),
    )


def reference(case: Case) -> nx.DiGraph:
    """All steps of the wire to be laid: nodes are (tile, direction come from or None, whether it crosses there)."""
    ways = case.ways()
    nothing: Counter[str] = Counter()

    def load(tile: Tile, colour: int = 0) -> int:
        return ways.get((colour, tile), nothing).total()

    def crossed(tile: Tile) -> int:
        here = (ways.get((c, tile), nothing) for c in range(COLOURS))
        return sum(w["x"] == w["y"] == 1 and not w[""] for w in here)

    graph = nx.DiGraph()
    graph.add_node((case.start, None, False))
    agenda = [(case.start, None, False)]
    while agenda:
        node = agenda.pop()
        (x, y), came, crosses = node
        for step in STEPS:
            to = x + step[0], y + step[1]
            back = came is not None and step == (-came[0], -came[1])
            if back or (crosses and step != came) or to == case.start or to in case.devices:
                continue
            if not (0 <= to[0] < case.size[0] and 0 <= to[1] < case.size[1]):
                continue
            price = 1.0
            if step != came:
                price += BEND + case.present * crossed((x, y))
            if came is not None and not crosses:
                for side in STEPS:
                    if side not in (step, (-came[0], -came[1])):
                        price += case.present * load((x + side[0], y + side[1]))
            plain = price + case.history[to] + 2 * case.present * load(to)
            nodes = [((to, step, False), plain)]
            there = ways.get((0, to), nothing)
            if there.total() == 1 and there["y" if step[1] == 0 else "x"] == 1 and to != case.goal:
                turning = sum(ways.get((c, to), nothing)[""] for c in range(1, COLOURS))
                device = case.cross if not crossed(to) else 0.3 * case.cross
                nodes.append(((to, step, True), price + device + 2 * case.present * turning))
            for one, cost in nodes:
                if one not in graph:
                    agenda.append(one)
                graph.add_edge(node, one, weight=cost)
    return graph


def lay_case(case: Case) -> tuple[Any, Board, Any]:
    """The case on a board. The pair is net 0; its wires are nets of other signals without pins."""
    pairs = [(case.start, case.goal)]
    strange = sorted(case.devices)
    _, shape, board, scratch = lamps(pairs, strange, case.size)
    nets = COLOURS * (1 + len(case.wires))
    room = case.size[0] * case.size[1] + 400
    board = replace(
        board,
        route=np.zeros((nets, room), np.int32),
        ways=np.zeros((nets, room), np.int8),
        length=np.zeros(nets, np.int64),
    )
    for number, (colour, wire) in enumerate(case.wires, 1):
        net = COLOURS * number + colour
        for i, (x, y) in enumerate(wire):
            board.route[net, i] = y * case.size[0] + x
            board.ways[net, i] = {"x": ALONG_X, "y": ALONG_Y, "": OTHER}[case.way(wire, i)]
        board.length[net] = len(wire)
    for (x, y), dear in case.history.items():
        board.history[0, y * case.size[0] + x] = dear
    lay_all(board)
    return shape, board, scratch


def found_path(case: Case, board: Board) -> list[Tile]:
    tiles = [(int(t) % case.size[0], int(t) // case.size[0]) for t in board.route[0, : board.length[0]]]
    return [tiles[0], *tiles[:0:-1]]  # the way is written from its end


def price_of(path: list[Tile], graph: nx.DiGraph) -> float:
    """The least price of a way over exactly these tiles, whatever it does on them."""
    prices: dict[Any, float] = {(path[0], None, False): 0.0}
    for tile in path[1:]:
        further: dict[Any, float] = {}
        for node, price in prices.items():
            for to in graph.successors(node):
                if to[0] == tile:
                    cost = price + graph.edges[node, to]["weight"]
                    further[to] = min(cost, further.get(to, cost))
        prices = further
    return min((price for node, price in prices.items() if not node[2]), default=float("inf"))


@pytest.mark.parametrize("seed", range(4))
def test_no_path_is_cheaper(seed: int) -> None:
    dice = random.Random(seed)
    crossed = priced = 0
    for _ in range(90):
        case = random_case(dice)
        graph = reference(case)
        lengths, paths = nx.single_source_dijkstra(graph, (case.start, None, False))
        goals = [node for node in lengths if node[0] == case.goal]
        shape, board, scratch = lay_case(case)
        prices = Prices(case.present, BEND, case.cross)
        reached = route_net(0, shape, board, scratch, prices, sum(case.size), False)
        assert reached == bool(goals)
        if not goals:
            continue
        best = min(goals, key=lambda node: lengths[node])
        assert price_of(found_path(case, board), graph) == pytest.approx(lengths[best])
        crossed += any(node[2] for node in paths[best])
        priced += lengths[best] > len(paths[best]) + 2
    assert crossed >= 8 and priced >= 10, "the grids must be such that crossings and prices matter"
