"""Extraction against a plain flood fill, and by hand where crossovers meet."""

from __future__ import annotations

import random
import time

import pytest
from support.plans import COLOURS, PAIRS, counter_plan, make_plan

from hdl2grid.plan.extract import extract
from hdl2grid.plan.json_io import stroke_tiles
from hdl2grid.plan.model import Device, Plan, Stroke


def flood_nets(plan: Plan) -> set[frozenset[tuple[int, int, int, str]]]:
    """Nets by flood fill over a set of places: slow, and written without a look at plan/extract.py."""
    crossed = {(d.x, d.y) for d in plan.devices if d.kind == "crossover"}
    nets = set()
    for colour, strokes in enumerate(plan.wires):
        wired = {tile for stroke in strokes for tile in stroke_tiles(stroke)}
        todo = {(x, y, half) for x, y in wired for half in (("we", "ns") if (x, y) in crossed else ("",))}
        while todo:
            start = min(todo)
            todo.discard(start)
            net, edge = {start}, [start]
            while edge:
                x, y, half = edge.pop()
                steps = [(1, 0, "we"), (-1, 0, "we"), (0, 1, "ns"), (0, -1, "ns")]
                for dx, dy, axis in steps:
                    if half not in ("", axis):
                        continue
                    for there in ((x + dx, y + dy, ""), (x + dx, y + dy, axis)):
                        if there in todo:
                            todo.discard(there)
                            net.add(there)
                            edge.append(there)
            if len(net) > 1 or start[2] == "":
                nets.add(frozenset((x, y, colour, half) for x, y, half in net))
    return nets


def random_plan(seed: int) -> Plan:
    rng = random.Random(seed)
    width, height = rng.randint(1, 12), rng.randint(1, 12)
    tiles = [(x, y) for x in range(width) for y in range(height)]
    rng.shuffle(tiles)
    kinds = ["crossover", "crossover", "crossover", "pixel", "button", "gate", "toggle", "ticker"]
    devices = []
    for i, (x, y) in enumerate(tiles[: len(tiles) // 3]):
        kind = rng.choice(kinds)
        devices.append(Device(kind, x, y, name=f"d{i}" if kind not in ("crossover", "pixel", "toggle") else None))
    wires: dict[str, list[Stroke]] = {}
    for colour in COLOURS:
        for _ in range(rng.randint(0, 9)):
            x0, y0 = rng.randrange(width), rng.randrange(height)
            across = rng.random() < 0.5
            end = (rng.randrange(width), y0) if across else (x0, rng.randrange(height))
            wires.setdefault(colour, []).append((x0, y0, *end))
    return make_plan("random", (width, height), devices, [], **wires)


@pytest.mark.parametrize("seed", range(120))
def test_nets_are_those_of_a_flood_fill(seed: int) -> None:
    plan = random_plan(seed)
    found = extract(plan)
    assert {frozenset((x, y, n.colour, half) for x, y, half in n.places) for n in found.nets} == flood_nets(plan)
    order = [(net.colour, net.places[0][1], net.places[0][0]) for net in found.nets]
    assert order == sorted(order)
    for i, net in enumerate(found.nets):
        tiles = {(x, y) for x, y, _ in net.places}
        touching = {d for d, dev in enumerate(plan.devices) if (dev.x, dev.y) in tiles and dev.kind != "crossover"}
        sources = {d for d in touching if plan.devices[d].kind in ("gate", "ticker", "button")}
        tickers = {d for d in sources if plan.devices[d].kind == "ticker"} if len(sources) > 1 else set()
        assert net.drivers == tuple(sorted(sources))
        assert net.sinks == tuple(sorted(touching - sources | tickers))
        assert all(i in found.device_nets[d] for d in touching)


def test_counter_by_hand() -> None:
    plan = counter_plan()
    found = extract(plan)
    names = [(COLOURS[n.colour], tuple(plan.devices[d].name for d in n.drivers), len(n.sinks)) for n in found.nets]
    assert names == [
        ("black", ("sync",), 2),
        ("orange", ("r0",), 2),
        ("blue", ("r0",), 1),
        ("blue", ("r1",), 2),
        ("violet", ("and",), 1),
    ]
    assert found.net_at(6, 5, 2) is None, "two nets pass there"
    assert (found.net_at(6, 5, 2, "we"), found.net_at(6, 5, 2, "ns")) == (2, 3)
    assert found.net_at(0, 0, 0) is None
    assert [tuple(len(s.toggles) for s in found.stacks)] == [(1, 1, 2)]


def test_a_crossover_without_partner_keeps_its_halves_apart() -> None:
    plan = make_plan("x", (3, 3), [Device("crossover", 1, 1, form="straight")], [], black=[(1, 0, 1, 1), (0, 1, 1, 1)])
    nets = extract(plan).nets
    assert [net.places for net in nets] == [((1, 0, ""), (1, 1, "ns")), ((0, 1, ""), (1, 1, "we"))]


def test_two_crossovers_in_a_row_join_along_the_row() -> None:
    crossovers = [Device("crossover", x, 1, form="straight") for x in (1, 2)]
    wires = [(0, 1, 3, 1), (1, 0, 1, 2), (2, 0, 2, 2)]
    nets = extract(make_plan("x", (4, 3), crossovers, [], black=wires)).nets
    assert sorted(len(net.places) for net in nets) == [4, 6], "the columns touch above and below the row"
    removed = extract(make_plan("x", (4, 3), [], [], black=wires)).nets
    assert len(removed) == 1


def test_overlapping_and_backward_strokes_are_one_wire() -> None:
    nets = extract(make_plan("x", (5, 1), [], [], black=[(4, 0, 1, 0), (2, 0, 3, 0), (3, 0, 3, 0)])).nets
    assert [net.places for net in nets] == [tuple((x, 0, "") for x in range(1, 5))]


def test_a_delay_is_driver_and_sink() -> None:
    plan = make_plan(
        "x",
        (5, 1),
        [
            Device("button", 0, 0, name="b"),
            Device("delay", 1, 0, to=(3, 0), seconds=1),
            Device("pixel", 4, 0, lit=True),
        ],
        [],
        black=[(0, 0, 1, 0), (3, 0, 4, 0)],
    )
    found = extract(plan)
    assert [(net.drivers, net.sinks) for net in found.nets] == [((0,), (1,)), ((1,), (2,))]
    assert (found.device_nets[1], found.out_nets) == ((0,), {1: (1,)})


def test_empty_plan() -> None:
    assert extract(make_plan("x", (1, 1), [], [])).nets == ()


def test_a_full_grid_of_four_colours_is_quick() -> None:
    """100 x 100 tiles with comb-like wire in four colours. Only a gross slowdown fails here."""
    rows = [(0, y, 99, y) for y in range(0, 100, 2)]
    plan = make_plan("x", (100, 100), [], [], **{colour: [*rows, (0, 0, 0, 99)] for colour in COLOURS})
    extract(plan)
    best = min(_seconds(plan) for _ in range(5))
    assert len(extract(plan).nets) == 4
    assert best < 0.5


def _seconds(plan: Plan) -> float:
    start = time.perf_counter()
    extract(plan)
    return time.perf_counter() - start


def test_a_huge_grid_takes_no_room() -> None:
    plan = make_plan("x", (10_000, 10_000), [], [], violet=[(0, 0, 9_999, 0), (9_999, 0, 9_999, 9_999)])
    (net,) = extract(plan).nets
    assert len(net.places) == 19_999


def test_pairs_have_plain_stacks_and_strobes() -> None:
    for make, _ in PAIRS.values():
        plan = make()
        for stack in extract(plan).stacks:
            assert plan.devices[stack.gate].kind == "gate"
            assert stack.strobe is None or plan.devices[stack.strobe].kind == "strobe"
