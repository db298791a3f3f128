"""Layout by its parts: hand-made circuits as laid out, net forming loses nobody, single searches against networkx."""

from __future__ import annotations

import random
from itertools import combinations

import networkx as nx
import numpy as np
import pytest
from plans import COLOURS, PAIRS
from small_designs import elaboration

from hdl2grid.base.rng import seeded
from hdl2grid.circuit.model import Circuit
from hdl2grid.layout.arrays import ALONG_X, ALONG_Y, Board, Scratch, Shape, make_board, make_scratch, make_shape
from hdl2grid.layout.assemble import assemble
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.grid_lines import without_line
from hdl2grid.layout.lay_out import lay_out
from hdl2grid.layout.net_tree import route_net
from hdl2grid.layout.occupancy import lay_all
from hdl2grid.layout.placement import PlaceParams, apart, index_tiles, pack, place
from hdl2grid.layout.routing import RouteParams, find_conflicts, rip_all, route
from hdl2grid.layout.units import stamp
from hdl2grid.nets.form import form_nets
from hdl2grid.nets.model import Cell, CellTile, Netlist, Signal, Sink
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Device
from hdl2grid.plan.rules import check_plan
from hdl2grid.verify.lvs import compare
from hdl2grid.verify.prove import prove

BEND = 0.25
Tile = tuple[int, int]


def circuit_of(name: str) -> Circuit:
    return PAIRS[name][1]()


@pytest.mark.parametrize("name", PAIRS)
@pytest.mark.parametrize("seed", [1, 2])
def test_a_circuit_made_by_hand_is_laid_out(name: str, seed: int) -> None:
    circuit = circuit_of(name)
    netlist = form_nets(circuit, None)
    layout = lay_out(netlist, LayoutParams("quick", seed))
    plan = assemble(circuit, netlist, layout.board, None, "default", COLOURS)
    assert check_plan(plan) == () and compare(plan, circuit) == ()
    assert prove(elaboration(name), plan).result == "equal"
    assert layout.stats.wire_tiles == layout.board.length.sum()


def test_another_seed_gives_another_layout() -> None:
    circuit = circuit_of("counter")
    netlist = form_nets(circuit, None)
    boards = [lay_out(netlist, LayoutParams("quick", seed)).board for seed in (1, 1, 2)]
    texts = [dump_plan(assemble(circuit, netlist, board, None, "default", COLOURS)) for board in boards]
    assert texts[0] == texts[1] != texts[2]


@pytest.mark.parametrize("name", PAIRS)
def test_every_sink_keeps_exactly_its_drivers(name: str) -> None:
    circuit = circuit_of(name)
    netlist = form_nets(circuit, None)
    assert {t.device.name for s in netlist.signals for t in (netlist.tiles[i] for i in s.tiles)} <= {
        device.name for device in (*circuit.stacks, *circuit.sources)
    }
    for signal in netlist.signals:
        assert [netlist.tiles[tile].device.name for tile in signal.tiles] == list(signal.drivers)
    found = []
    for sink in netlist.sinks:
        drivers = [d for s in sink.signals for d in netlist.signals[s].drivers]
        assert len(set(drivers)) == len(drivers), "signals of one sink share no driver"
        found.append(sorted(drivers))
    wanted = [t.drivers for s in circuit.stacks for t in s.toggles] + [p.drivers for p in circuit.pixels]
    wanted += [s.strobe for s in circuit.stacks if s.strobe is not None]
    assert sorted(found) == sorted(sorted(drivers) for drivers in wanted if drivers)


def test_a_cut_line_leaves_the_gaps() -> None:
    netlist = form_nets(circuit_of("counter"), None)
    shape, places = make_shape(netlist), PlaceParams(gap_x=3, gap_y=2, moves_per_cell=500)
    board = make_board(netlist, shape, 30, 24)
    assert pack(shape, board, (0.5, 0.5), places)
    place(shape, board, places, 1)
    assert gaps_kept(shape, board, 3, 2)
    cuts = 0
    for axis, at in [(axis, at) for axis in (0, 1) for at in range(0, 20, 3)]:
        cut = without_line(shape, board, make_scratch(netlist, 30, 24), PlaceParams(gap_x=2, gap_y=1), axis, at)
        if isinstance(cut, Board):
            cuts += 1
            assert list(cut.size) == [30 - (axis == 0), 24 - (axis == 1)]
            assert gaps_kept(shape, cut, 2, 1)
    assert cuts >= 5


def gaps_kept(shape: Shape, board: Board, gap_x: int, gap_y: int) -> bool:
    boxes = list(zip(board.x, board.y, shape.w, shape.h, strict=True))
    inside = all(min(x, y) >= 1 and x + w < board.size[0] and y + h < board.size[1] for x, y, w, h in boxes)
    return inside and all(apart(*a, *b, gap_x, gap_y) for a, b in combinations(boxes, 2))


# -- single searches ----------------------------------------------------------------------------------------------


def lamps(pairs: list[tuple[Tile, Tile]], blocks: list[Tile], size: Tile) -> tuple[Netlist, Shape, Board, Scratch]:
    """Buttons joined to pixels, each on its tile, and pixels without wire in the way; all nets in the first colour."""
    places = [tile for pair in pairs for tile in pair] + blocks
    devices = [Device(kind, 0, 0) for _ in pairs for kind in ("button", "pixel")] + [Device("pixel", 0, 0)] * len(
        blocks
    )
    netlist = Netlist(
        tuple(Cell(str(i), "pixel", 1, 1, (i,), False, ()) for i in range(len(places))),
        tuple(CellTile(i, 0, 0, device) for i, device in enumerate(devices)),
        tuple(Signal((str(2 * i),), (2 * i,)) for i in range(len(pairs))),
        tuple(Sink((2 * i + 1,), (i,)) for i in range(len(pairs))),
    )
    shape = make_shape(netlist)
    board = make_board(netlist, shape, *size)
    for cell, (x, y) in enumerate(places):
        board.x[cell], board.y[cell] = x, y
        stamp(board.grid, x, y, 1, 1, cell)
    index_tiles(shape, board)
    board.usage[:, 0] = 1
    rip_all(board)
    return netlist, shape, board, make_scratch(netlist, *size)


def path_of(board: Board, net: int) -> list[Tile]:
    width = int(board.size[0])
    return [(int(t) % width, int(t) // width) for t in board.route[net, : board.length[net]]]


def cheapest(start: Tile, goal: Tile, blocks: set[Tile], size: Tile) -> float | None:
    """By networkx: 1 a tile and BEND for the first step and each turn; None where there is no way."""
    graph = nx.DiGraph()
    steps = [(1, 0), (0, 1), (-1, 0), (0, -1)]
    for x in range(size[0]):
        for y in range(size[1]):
            for d, (dx, dy) in enumerate(steps):
                to = x + dx, y + dy
                if to in blocks or not (0 <= to[0] < size[0] and 0 <= to[1] < size[1]):
                    continue
                for came in range(-1, 4):
                    if came < 0 or d != (came + 2) % 4:
                        graph.add_edge((x, y, came), (*to, d), weight=1 + BEND * (d != came))
    source = (*start, -1)
    if source not in graph:
        return None
    lengths = nx.single_source_dijkstra_path_length(graph, source)
    return min((lengths[node] for node in ((*goal, d) for d in range(4)) if node in lengths), default=None)


def test_a_search_finds_a_cheapest_way_round_devices() -> None:
    dice = random.Random(5)
    ways = 0
    for _ in range(120):
        size = dice.randrange(4, 13), dice.randrange(4, 13)
        tiles = [(x, y) for x in range(size[0]) for y in range(size[1])]
        start, goal, *blocks = dice.sample(tiles, 2 + dice.randrange(len(tiles) // 2))
        _, shape, board, scratch = lamps([(start, goal)], blocks, size)
        reached = route_net(0, shape, board, scratch, 1.0, BEND, 4.0, sum(size), False)
        best = cheapest(start, goal, set(blocks), size)
        assert reached == (best is not None)
        if best is None:
            continue
        ways += 1
        wire = path_of(board, 0)
        line = [start, *wire[:0:-1]]  # the way is written from its end
        steps = [(b[0] - a[0], b[1] - a[1]) for a, b in zip(line, line[1:], strict=False)]
        assert all(abs(dx) + abs(dy) == 1 for dx, dy in steps) and line[-1] == goal
        turns = sum(a != b for a, b in zip(steps, steps[1:], strict=False))
        assert len(steps) + BEND * (1 + turns) == pytest.approx(best)
    assert ways > 60


def test_a_wire_that_cuts_the_grid_is_crossed_straight() -> None:
    """A net from top to bottom in the same colour: the other can only cross it, and touches it nowhere else."""
    _, shape, board, scratch = lamps([((6, 0), (6, 8)), ((1, 4), (11, 4))], [(5, 4), (7, 4)], (13, 9))
    conflicts, _ = route(shape, board, scratch, RouteParams(), seeded(1))
    assert conflicts == 0
    upright, across = path_of(board, 0), path_of(board, 4)
    shared = set(upright) & set(across)
    assert len(shared) == 1
    (tile,) = shared
    assert board.ways[0, upright.index(tile)] == ALONG_Y and board.ways[4, across.index(tile)] == ALONG_X
    beside = [
        (a, b) for a in across for b in upright if abs(a[0] - b[0]) + abs(a[1] - b[1]) == 1 and tile not in (a, b)
    ]
    assert beside == []


def test_nets_that_want_the_same_tiles_settle() -> None:
    """Four pairs whose ends are crossed, in one colour: whatever two of them share is a straight crossing."""
    pairs = [((1, 2 + 3 * i), (14, 2 + 3 * (3 - i))) for i in range(4)]
    _, shape, board, scratch = lamps(pairs, [], (16, 14))
    conflicts, _ = route(shape, board, scratch, RouteParams(rounds=200, stall=100), seeded(3))
    assert conflicts == 0
    for a, b in combinations(range(4), 2):
        left, right = path_of(board, 4 * a), path_of(board, 4 * b)
        for tile in set(left) & set(right):
            kinds = {int(board.ways[4 * a, left.index(tile)]), int(board.ways[4 * b, right.index(tile)])}
            assert kinds == {ALONG_X, ALONG_Y}


def test_conflicts_are_counted_where_they_are() -> None:
    """Two wires side by side, laid by hand, touch on every tile that they run along."""
    _, shape, board, scratch = lamps([((1, 1), (6, 1)), ((1, 2), (6, 2))], [], (9, 5))
    for net, y in ((0, 1), (4, 2)):
        board.route[net, :6] = [9 * y + x for x in range(1, 7)]
        board.ways[net, :6] = ALONG_X
        board.length[net], board.reached[net] = 6, True
    lay_all(board)
    assert find_conflicts(board, scratch, 0.0) == 6
    assert board.bad[[0, 4]].all() and not np.delete(board.bad, [0, 4]).any()
    assert int(board.clash[0].sum()) == 12


def test_a_net_in_two_parts_is_a_conflict():
    """Whatever its router said: a wire with a hole counts as one with a pin that was not reached."""
    _, shape, board, scratch = lamps([((1, 1), (5, 1))], [], (8, 4))
    assert route_net(0, shape, board, scratch, 1.0, 0.25, 4.0, 4, False)
    board.reached[0] = True
    lay_all(board)
    assert find_conflicts(board, scratch, 0.0) == 0
    size = int(board.length[0])
    tiles = [(int(t), int(w)) for t, w in zip(board.route[0, :size], board.ways[0, :size], strict=True)]
    left = [(tile, way) for tile, way in tiles if tile != 8 + 3]
    assert len(left) == size - 1
    board.route[0, : size - 1], board.ways[0, : size - 1] = zip(*left, strict=True)
    board.length[0] = size - 1
    lay_all(board)
    assert find_conflicts(board, scratch, 0.0) == 4
    assert board.bad[0] and not board.reached[0]
