"""Layout: legal, repeatable, and honest about what does not fit; its parts against a general graph library."""

from __future__ import annotations

import random
from dataclasses import replace
from pathlib import Path

import networkx as nx
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hdl2grid.base.target import load_target
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, map_machine
from hdl2grid.layout.arrays import Board, make_scratch, make_shape
from hdl2grid.layout.assemble import assemble
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.grid_lines import with_line, without_line
from hdl2grid.layout.lay_out import LayoutFailed, lay_out
from hdl2grid.layout.placement import PlaceParams, tree_length
from hdl2grid.nets.form import form_nets, spread_toggles
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Plan
from hdl2grid.plan.rules import check_plan
from hdl2grid.plan.strokes import strokes_of
from hdl2grid.verify.lvs import compare

COLOURS = ("black", "orange", "blue", "violet")


@pytest.fixture(scope="module")
def dice():
    machine = load_machine("dice")
    mapped = map_machine(machine, Path("."), FlowOptions(load_target()))
    circuit = spread_toggles(mapped.circuit)
    return circuit, machine.panel_layout()


def plan_of(dice, **params: int) -> Plan:
    circuit, panel = dice
    netlist = form_nets(circuit, panel)
    layout = lay_out(netlist, LayoutParams(effort="quick", **params))
    return assemble(circuit, netlist, layout.board, panel, "default", COLOURS)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_layout_keeps_all_rules_and_equals_its_circuit(dice, seed: int) -> None:
    plan = plan_of(dice, seed=seed)
    assert check_plan(plan) == ()
    assert compare(plan, dice[0]) == ()


def test_the_same_seed_gives_the_same_bytes(dice) -> None:
    assert dump_plan(plan_of(dice, seed=4)) == dump_plan(plan_of(dice, seed=4))


def test_limits_are_kept_or_refused(dice) -> None:
    plan = plan_of(dice, max_width=30, max_height=24)
    assert plan.width <= 30 and plan.height <= 24
    with pytest.raises(LayoutFailed):
        plan_of(dice, max_width=8, max_height=8)


def test_lines_put_in_and_taken_out_leave_cells_apart(dice) -> None:
    circuit, panel = dice
    netlist = form_nets(circuit, panel)
    shape = make_shape(netlist)
    board = lay_out(netlist, LayoutParams(effort="quick")).board
    scratch = make_scratch(netlist, int(board.size[0]) + 1, int(board.size[1]) + 1)
    number = next(i for i, c in enumerate(netlist.cells) if c.kind == "panel")
    for axis in (0, 1):
        at = int((board.x if axis == 0 else board.y)[number])
        wider = with_line(shape, board, scratch, axis, max(1, at))
        assert wider.size[axis] == board.size[axis] + 1
        assert _cells_apart(netlist, wider)
        back = without_line(shape, wider, scratch, PlaceParams(gap_x=1, gap_y=1, margin=0), axis, max(1, at))
        assert isinstance(back, Board) and _cells_apart(netlist, back)


def _cells_apart(netlist, board: Board) -> bool:
    tiles = [
        (int(board.x[t.cell] + board.dx[i]), int(board.y[t.cell] + board.dy[i])) for i, t in enumerate(netlist.tiles)
    ]
    return len(set(tiles)) == len(tiles)


def test_tree_length_is_that_of_a_minimum_spanning_tree() -> None:
    """Against networkx's minimum_spanning_tree."""
    dice_ = random.Random(7)
    for _ in range(30):
        points = [(dice_.randrange(40), dice_.randrange(40)) for _ in range(dice_.randrange(2, 20))]
        graph = nx.Graph()
        for i, a in enumerate(points):
            for j in range(i):
                graph.add_edge(i, j, weight=abs(a[0] - points[j][0]) + abs(a[1] - points[j][1]))
        want = nx.minimum_spanning_tree(graph).size(weight="weight")
        xs = np.array([p[0] for p in points], np.int64)
        ys = np.array([p[1] for p in points], np.int64)
        assert tree_length(xs, ys, len(points), np.zeros(len(points), np.int64)) == want


tiles = st.sets(st.tuples(st.integers(0, 6), st.integers(0, 6)), min_size=1, max_size=25)


@given(tiles)
@settings(max_examples=150, derandomize=True, deadline=None)
def test_strokes_cover_the_tiles_and_no_other(some) -> None:
    strokes = strokes_of(dict.fromkeys(sorted(some)))
    covered = {(x, y) for a, b, c, d in strokes for x in range(a, c + 1) for y in range(b, d + 1)}
    assert covered == some
    assert all(a == c or b == d for a, b, c, d in strokes)


def test_a_crossover_tile_is_passed_the_way_it_is_crossed() -> None:
    way: dict[tuple[int, int], bool | None] = {(x, 2): None for x in range(5)}
    assert (0, 2, 4, 2) in strokes_of(way | {(2, 2): True})


def test_an_empty_circuit_of_one_lamp_is_laid(dice) -> None:
    circuit, _ = dice
    lamp = replace(
        circuit, sources=(), stacks=(), origin=(), pixels=(replace(circuit.pixels[0], drivers=()),), levels=()
    )
    netlist = form_nets(lamp, None)
    layout = lay_out(netlist, LayoutParams(effort="quick"))
    assert check_plan(assemble(lamp, netlist, layout.board, None, "default", COLOURS)) == ()


def test_stacks_of_a_tidy_layout_stand_in_rows(dice) -> None:
    """Feet of stacks stand in few rows in tidy style; the compact one is smaller."""
    circuit, panel = dice
    netlist = form_nets(circuit, panel)
    rows, areas = {}, {}
    for style in ("tidy", "compact"):
        board = lay_out(netlist, LayoutParams("quick", 2, style=style)).board
        feet = {int(board.y[i]) + c.height for i, c in enumerate(netlist.cells) if c.kind in ("stack", "register")}
        rows[style], areas[style] = len(feet), int(board.size[0] * board.size[1])
    assert rows["tidy"] < rows["compact"] and areas["compact"] < areas["tidy"]
