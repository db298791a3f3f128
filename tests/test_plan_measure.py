"""A plan's figures, against plans whose figures are counted by hand and trees of a general graph library."""

from __future__ import annotations

import random

import networkx as nx
from support.steiner import least_wire

from hdl2grid.plan.extract import extract
from hdl2grid.plan.measure import measure, spanning_tree
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show.report import layout_rows

COLOURS = ("black", "orange", "blue", "violet")


def plan_of(devices: list[Device], wires: tuple[tuple[tuple[int, int, int, int], ...], ...]) -> Plan:
    return Plan("by_hand", "default", COLOURS, 7, 5, tuple(devices), wires)


def test_a_bend_a_crossover_and_a_detour_by_hand() -> None:
    """Button (0,0) to pixel (4,2) round one bend, over the way of button (2,0) to pixel (2,4)."""
    devices = [
        Device("button", 0, 0, name="a"),
        Device("pixel", 4, 2, lit=True, signal="p"),
        Device("button", 2, 0, name="b"),
        Device("pixel", 2, 4, lit=True, signal="q"),
        Device("crossover", 2, 2, form="straight"),
    ]
    plan = plan_of(devices, (((0, 0, 0, 2), (0, 2, 4, 2), (2, 0, 2, 4)), (), (), ()))
    found = measure(plan)
    assert (found.nets, found.wire, found.wire_bound) == (2, 7 + 5, (6 + 1) + (4 + 1))
    assert (found.crossovers, found.strokes, found.bends, found.device_tiles) == (1, 3, 1, 4)
    assert found.area == 35 and found.wire_ratio == 1.0
    assert measure(plan, extract(plan)) == found
    assert least_wire(plan, extract(plan)) == found.wire_bound


def test_a_detour_counts() -> None:
    devices = [Device("button", 0, 0, name="a"), Device("pixel", 3, 0, lit=True, signal="p")]
    plan = plan_of(devices, ((), (), ((0, 0, 0, 1), (0, 1, 3, 1), (3, 0, 3, 1)), ()))
    found = measure(plan)
    assert (found.wire, found.wire_bound, found.bends) == (6, 4, 2) and found.wire_ratio == 1.5


def test_an_empty_plan_has_the_ratio_one() -> None:
    assert measure(plan_of([], ((), (), (), ()))).wire_ratio == 1.0


def test_spanning_trees_are_those_of_networkx() -> None:
    dice = random.Random(3)
    for _ in range(30):
        tiles = sorted({(dice.randrange(30), dice.randrange(30)) for _ in range(dice.randrange(1, 25))})
        graph = nx.Graph()
        graph.add_nodes_from(tiles)
        for i, a in enumerate(tiles):
            for b in tiles[:i]:
                graph.add_edge(a, b, weight=abs(a[0] - b[0]) + abs(a[1] - b[1]))
        assert spanning_tree(tiles) == nx.minimum_spanning_tree(graph).size(weight="weight")


def test_the_report_tells_them() -> None:
    devices = [Device("button", 0, 0, name="a"), Device("pixel", 3, 0, lit=True, signal="p")]
    rows = dict(layout_rows(plan_of(devices, ((), (), ((0, 0, 0, 1), (0, 1, 3, 1), (3, 0, 3, 1)), ())), 2))
    assert rows["wire of all nets, in tiles"] == "6" and rows["wire over its lower bound"] == "1.500"
    assert rows["bends"] == rows["repeaters"] == "2" and rows["nets"] == "1"
