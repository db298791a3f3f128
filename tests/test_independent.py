"""Whole flows, judged by independent.py, which shares no code with hdl2grid, beside Amaranth's own simulator."""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from support import independent, kinds
from support.random_machines import random_machine

from hdl2grid.base.errors import GridError
from hdl2grid.base.target import load_target
from hdl2grid.circuit.json_io import dump_circuit
from hdl2grid.design.load import load_machine
from hdl2grid.design.machine import Machine
from hdl2grid.flow import FlowOptions, Outcome, run_flow
from hdl2grid.plan.json_io import dump_plan, load_plan
from hdl2grid.verify.prove import prove

SHIPPED = ["clock_12h", "dial_12h", "dice", "stopwatch", "traffic_light"]
"""All but clock_24h, which takes minutes: `python benchmarks/whole_flow.py shipped` has it too."""
EVENTS = 500


def planned(machine: Machine) -> Outcome:
    return run_flow(machine, Path(__file__).parent, FlowOptions(load_target(), effort="quick"))


def judged(machine: Machine, outcome: Outcome) -> independent.Told:
    """The plan keeps to the rules, is its circuit, and does what the design does."""
    assert outcome.is_good and outcome.plan is not None, outcome.reason
    plan = independent.read_plan(dump_plan(outcome.plan))
    circuit = independent.read_circuit(dump_circuit(outcome.circuit))
    assert independent.differences(plan, circuit) == []
    return independent.lockstep(machine, plan, independent.events_of(plan, random.Random(1), EVENTS))


@cache
def kind(name: str) -> tuple[Machine, Outcome]:
    machine = kinds.MACHINES[name]()
    return machine, planned(machine)


@pytest.mark.parametrize("name", kinds.MACHINES)
def test_machines_of_every_kind(name: str) -> None:
    machine, outcome = kind(name)
    judged(machine, outcome)
    assert outcome.verdict == "proved"


@pytest.mark.parametrize("seed", [0, 1, 4, 6, 12])
def test_random_machines(seed: int) -> None:
    machine = random_machine(seed)
    judged(machine, planned(machine))


@pytest.mark.parametrize("name", SHIPPED)
def test_shipped_designs(name: str) -> None:
    """They plan and are proved in every state. The clock has 12 x 60 states, each with a tick and a reset."""
    machine = load_machine(name)
    outcome = planned(machine)
    told = judged(machine, outcome)
    assert outcome.verdict == "proved" and told.changed >= 3
    assert outcome.proof is not None and outcome.proof.complete
    if name == "clock_12h":
        assert outcome.plan is not None and outcome.plan.width * outcome.plan.height <= 1200
        assert len(outcome.circuit.stacks) <= 45
        assert (outcome.proof.hdl_states, outcome.proof.events) == (720, 1440)


def test_what_nothing_uses_stands_in_the_plan_with_a_warning() -> None:
    _, outcome = kind("sources_that_nothing_uses")
    unused = ("idle", "unused[0]", "unused[1]")
    assert all(f"'{name}'" in warning for name, warning in zip(unused, outcome.mapped.warnings, strict=True))
    assert outcome.plan is not None
    assert set(unused) <= {device.name for device in outcome.plan.devices}


def test_pixels_stand_as_drawn() -> None:
    _, outcome = kind("many_pixels")
    assert outcome.plan is not None
    tiles = [(d.signal, d.x, d.y) for d in outcome.plan.devices if d.kind == "pixel"]
    left, top = min(x for _, x, _ in tiles), min(y for _, _, y in tiles)
    drawn = {("q[0]", x, y) for x in range(12) for y in range(5)} | {
        ("q[1]", x, y) for x in range(12) for y in (6, 7, 8)
    }
    assert {(signal, x - left, y - top) for signal, x, y in tiles} == drawn


# ---- both readers of one mind about plans that are wrong


def changes(top: dict[str, Any], rng: random.Random, count: int) -> Iterator[tuple[str, str]]:
    """Plans that differ on one tile, as text: wire laid or taken up, a device changed, removed or put there."""
    width, height = top["size"]
    for _ in range(count):
        plan = json.loads(json.dumps(top))
        x, y, what = rng.randrange(width), rng.randrange(height), rng.randrange(4)
        device = rng.choice(plan["devices"])
        if what == 0:
            colour = rng.choice(plan["colours"])
            tiles = {
                (a, b)
                for x0, y0, x1, y1 in plan["wires"][colour]
                for a in range(min(x0, x1), max(x0, x1) + 1)
                for b in range(min(y0, y1), max(y0, y1) + 1)
            }
            if rng.random() < 0.7:
                x, y = rng.choice(sorted(tiles) or [(x, y)])
            plan["wires"][colour] = [[a, b, a, b] for a, b in sorted(tiles ^ {(x, y)})]
            yield f"{colour} wire at {x}, {y}", json.dumps(plan)
        elif what == 1:
            plan["devices"].remove(device)
            yield f"no {device}", json.dumps(plan)
        elif what == 2:
            for key, other in (("bit", 1), ("lit", True), ("on", True), ("running", True)):
                if key in device:
                    device[key] = other ^ device[key]
            if "function" in device:
                device["function"] = rng.choice(sorted(independent.FUNCTIONS))
            yield f"changed {device}", json.dumps(plan)
        else:
            put = rng.choice(
                [{"kind": "crossover", "form": "straight"}, {"kind": "toggle", "bit": 0}, {"kind": "strobe"}]
            )
            plan["devices"].append({**put, "x": x, "y": y})
            yield f"{put['kind']} at {x}, {y}", json.dumps(plan)


def wrong(machine: Machine, text: str, events: int) -> str:
    """What the independent reader has against a plan; empty where nothing."""
    try:
        plan = independent.read_plan(text)
        for device in plan.devices.values():
            independent.need(device.get("running", True), "a ticker that stands still")
        independent.lockstep(machine, plan, independent.events_of(plan, random.Random(2), events))
    except independent.PlanError as error:
        return str(error) or "wrong"
    return ""


@pytest.mark.parametrize("name", ["fsm", "inserters", "one_bit_at_two_ports"])
def test_prove_finds_what_the_other_reader_finds(name: str) -> None:
    machine, outcome = kind(name)
    assert outcome.plan is not None
    verdicts = {"equal": 0, "different": 0}
    for label, text in changes(json.loads(dump_plan(outcome.plan)), random.Random(name), 120):
        told = wrong(machine, text, 400)
        try:
            result = prove(outcome.mapped.elaboration, load_plan(text)).result
        except GridError:  # not even a plan: two devices on one tile, for example
            result = "different"
        assert (result == "different") == bool(told), (label, result, told)
        verdicts[result] += 1
    assert verdicts["different"] > 80, verdicts
