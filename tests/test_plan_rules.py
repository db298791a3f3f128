"""Each layout rule: a plan that breaks it and nothing else, and the finding with its tile."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.plans import (
    PAIRS,
    blinker_plan,
    counter_plan,
    make_plan,
    with_devices,
    with_wire,
    without_device,
    without_wire,
)

from hdl2grid.plan.model import Device, Plan, SignalTap
from hdl2grid.plan.rules import check_devices, check_plan


@pytest.mark.parametrize("name", PAIRS)
def test_plans_made_by_hand_keep_all_rules(name: str) -> None:
    assert check_plan(PAIRS[name][0]()) == ()


def found(plan: Plan) -> list[tuple[str, tuple[int, int] | None, str | None]]:
    return [(f.code, f.tile, f.colour) for f in check_plan(plan)]


COUNTER = counter_plan()
BLINKER = blinker_plan()
BROKEN = [
    ("device outside", with_devices(COUNTER, Device("button", 10, 0, name="b")), [("R001", (10, 0), None)]),
    (
        "delay that ends outside",
        with_devices(COUNTER, Device("delay", 8, 0, to=(12, 0), seconds=1)),
        [("R001", (12, 0), None)],
    ),
    ("shared tile", with_devices(COUNTER, Device("pixel", 9, 5, lit=True)), [("R002", (9, 5), None)]),
    ("stroke outside", with_wire(COUNTER, "violet", (9, 8, 10, 8)), [("R003", (9, 8), "violet")]),
    ("diagonal stroke", with_wire(COUNTER, "violet", (0, 7, 1, 8)), [("R003", (0, 7), "violet")]),
    ("gate alone", with_devices(COUNTER, Device("gate", 0, 8, name="g")), [("R004", (0, 8), None)]),
    ("toggle on nothing", with_devices(COUNTER, Device("toggle", 0, 7, bit=0)), [("R005", (0, 7), None)]),
    ("toggle on a strobe", with_devices(COUNTER, Device("toggle", 2, 0, bit=0)), [("R005", (2, 0), None)]),
    ("strobe on nothing", with_devices(COUNTER, Device("strobe", 0, 7)), [("R006", (0, 7), None)]),
    ("strobe on a strobe", with_devices(COUNTER, Device("strobe", 2, 0)), [("R006", (2, 0), None)]),
    (
        "strobe over two toggles",
        with_devices(
            COUNTER,
            Device("gate", 0, 8, name="g"),
            Device("toggle", 0, 7, bit=0),
            Device("toggle", 0, 6, bit=0),
            Device("strobe", 0, 5),
        ),
        [("R007", (0, 5), None)],
    ),
    (
        "bent delay",
        with_devices(COUNTER, Device("delay", 0, 7, to=(1, 8), seconds=1)),
        [("R008", (0, 7), None)],
    ),
    (
        "delay over a device",
        with_devices(BLINKER, Device("delay", 1, 0, to=(4, 0), seconds=1)),
        [("R008", (3, 0), None)],
    ),
    (
        "wire that does not leave a crossover",
        without_wire(COUNTER, (2, 5, 9, 5), (2, 5, 6, 5), (8, 5, 9, 5)),
        [("R009", (6, 5), "blue"), ("R011", (8, 5), "blue"), ("R012", (2, 3), "blue")],
    ),
    (
        "foreign wire beside a crossover",
        with_wire(COUNTER, "orange", (5, 5, 6, 5)),
        [("R009", (6, 5), "orange")],
    ),
    ("crossover that nothing passes", with_devices(COUNTER, Device("crossover", 0, 8)), [("R010", (0, 8), None)]),
    ("net without driver", with_wire(COUNTER, "violet", (9, 4, 9, 5)), [("R011", (9, 4), "violet")]),
    ("net without sink", with_wire(COUNTER, "violet", (0, 1, 1, 1)), [("R012", (0, 1), "violet")]),
    (
        "wire that touches nothing",
        with_wire(COUNTER, "violet", (0, 5, 1, 5)),
        [("R011", (0, 5), "violet"), ("R012", (0, 5), "violet")],
    ),
    ("stub", with_wire(COUNTER, "black", (4, 0, 4, 1)), [("R013", (4, 0), "black")]),
    ("stub of a branch", with_wire(COUNTER, "violet", (7, 6, 7, 8)), [("R013", (7, 6), "violet")]),
    (
        "ticker driven",
        with_wire(BLINKER, "black", (0, 1, 0, 1)),
        [("R014", (0, 0), "black")],
    ),
    (
        "two colours cancel",
        with_wire(with_wire(BLINKER, "black", (3, 0, 3, 1)), "orange", (0, 0, 3, 0)),
        [("R014", (0, 0), "orange"), ("R015", (3, 0), None), ("R015", (3, 1), None)],
    ),
    (
        "signal off its wire",
        replace(COUNTER, signals=(SignalTap("both", "violet", 7, 7, 0),)),
        [("R016", (7, 7), "violet")],
    ),
    (
        "signal where two nets pass",
        replace(COUNTER, signals=(SignalTap("q[0]", "blue", 6, 5, 0),)),
        [("R016", (6, 5), "blue")],
    ),
    (
        "name twice",
        replace(COUNTER, devices=tuple(replace(d, name="r0") if d.name == "r1" else d for d in COUNTER.devices)),
        [("R017", (6, 3), None)],
    ),
    ("gate taken away", without_device(COUNTER, 6, 8), [("R005", (6, 7), None), ("R011", (6, 8), "violet")]),
    ("crossover taken away", without_device(COUNTER, 6, 5), []),
]


@pytest.mark.parametrize("plan,wanted", [b[1:] for b in BROKEN], ids=[b[0] for b in BROKEN])
def test_each_rule(plan: Plan, wanted: list[tuple[str, tuple[int, int] | None, str | None]]) -> None:
    seen = found(plan)
    for code, tile, colour in wanted:
        assert any(c == code and (tile is None or (t, k) == (tile, colour)) for c, t, k in seen), (seen, code)
    assert {code for code, _, _ in seen} == {code for code, _, _ in wanted}, seen


def test_every_rule_has_a_broken_plan() -> None:
    codes = {code for _, _, wanted in BROKEN for code, _, _ in wanted}
    assert codes == {f"R{number:03d}" for number in range(1, 18)}


def test_findings_are_in_order_and_read_well() -> None:
    plan = with_wire(with_devices(COUNTER, Device("toggle", 0, 7, bit=0)), "black", (4, 0, 4, 1), (1, 0, 1, 1))
    told = [str(finding) for finding in check_plan(plan)]
    assert told == [
        "H2G-R005: a toggle stands on nothing, not on a gate or a toggle [(0,7)]",
        "H2G-R013: wire ends at nothing [(1,0) black]",
        "H2G-R013: wire ends at nothing [(4,0) black]",
    ]


def test_devices_alone() -> None:
    assert check_devices(with_wire(COUNTER, "black", (4, 0, 4, 1))) == ()
    assert [f.code for f in check_devices(without_device(COUNTER, 6, 8))] == ["R005"]


def test_a_device_of_one_tile_may_end_several_wires() -> None:
    """Two wires of one net that end at one device, and a loop, break no rule."""
    plan = make_plan(
        "loop",
        (4, 3),
        [Device("button", 0, 0, name="b"), Device("pixel", 3, 2, lit=True, signal="p")],
        [],
        black=[(0, 0, 3, 0), (3, 0, 3, 2), (0, 0, 0, 2), (0, 2, 3, 2)],
    )
    assert check_plan(plan) == ()
