"""LVS: the same machine twice, and one difference at a time."""

from __future__ import annotations

from dataclasses import replace

import pytest
from support.plans import (
    PAIRS,
    blinker_circuit,
    blinker_plan,
    counter_circuit,
    counter_plan,
    with_devices,
    with_wire,
    without_wire,
)

from hdl2grid.circuit.model import Circuit, Pixel, Source, Stack, Toggle
from hdl2grid.plan.model import Device, Plan
from hdl2grid.verify.lvs import compare


@pytest.mark.parametrize("name", PAIRS)
def test_plan_is_its_circuit(name: str) -> None:
    make_plan, make_circuit = PAIRS[name]
    assert compare(make_plan(), make_circuit()) == ()


def test_the_order_of_toggles_is_free() -> None:
    circuit = counter_circuit()
    turned = replace(circuit.stacks[2], toggles=circuit.stacks[2].toggles[::-1])
    assert compare(counter_plan(), replace(circuit, stacks=(*circuit.stacks[:2], turned))) == ()


def stack(circuit: Circuit, number: int, **changed: object) -> Circuit:
    stacks = list(circuit.stacks)
    stacks[number] = replace(stacks[number], **changed)  # type: ignore[arg-type]
    return replace(circuit, stacks=tuple(stacks))


PLAN, CIRCUIT = counter_plan(), counter_circuit()
BLINKER, BLINKS = blinker_plan(), blinker_circuit()
LONELY = Stack("lonely", "OR", (Toggle(0, ()),))

DIFFERENT = [
    (PLAN, stack(CIRCUIT, 2, function="NAND"), [("V012", "and")]),
    (PLAN, stack(CIRCUIT, 0, toggles=(Toggle(0, ()),)), [("V013", "r0")]),
    (PLAN, stack(CIRCUIT, 1, strobe=None), [("V013", "r1")]),
    (PLAN, stack(CIRCUIT, 1, strobe=("r0", "sync")), [("V013", "r1")]),
    (PLAN, stack(CIRCUIT, 2, toggles=(Toggle(0, ("r0",)),)), [("V013", "and")]),
    (PLAN, stack(CIRCUIT, 2, toggles=(*CIRCUIT.stacks[2].toggles, Toggle(1, ("r1",)))), [("V013", "and")]),
    (PLAN, stack(CIRCUIT, 2, toggles=(Toggle(0, ("r0",)), Toggle(0, ("r0",)))), [("V013", "and")]),
    (PLAN, replace(CIRCUIT, stacks=(*CIRCUIT.stacks, LONELY)), [("V010", "lonely")]),
    (PLAN, replace(CIRCUIT, stacks=CIRCUIT.stacks[:2]), [("V011", "and")]),
    (PLAN, replace(CIRCUIT, pixels=CIRCUIT.pixels[:2]), [("V011", "both")]),
    (PLAN, replace(CIRCUIT, pixels=(*CIRCUIT.pixels, Pixel("more", True, ()))), [("V010", "more")]),
    (PLAN, replace(CIRCUIT, pixels=(Pixel("q[0]", True, ("r0",)), *CIRCUIT.pixels[1:])), [("V012", "q[0]")]),
    (PLAN, replace(CIRCUIT, pixels=(Pixel("q[0]", False, ("r1",)), *CIRCUIT.pixels[1:])), [("V013", "q[0]")]),
    (PLAN, replace(CIRCUIT, sources=(Source("ticker", "sync", 2, True),)), [("V012", "sync")]),
    (PLAN, replace(CIRCUIT, sources=(*CIRCUIT.sources, Source("button", "b"))), [("V010", "b")]),
    (PLAN, replace(CIRCUIT, sources=()), [("V011", "sync")]),
    (PLAN, replace(CIRCUIT, levels=CIRCUIT.levels[:4]), [("V011", "count[1]")]),
    (PLAN, replace(CIRCUIT, levels=(replace(CIRCUIT.levels[0], initial=1), *CIRCUIT.levels[1:])), [("V012", "q[0]")]),
    (
        PLAN,
        replace(CIRCUIT, levels=(replace(CIRCUIT.levels[0], drivers=("r1",)), *CIRCUIT.levels[1:])),
        [("V013", "q[0]")],
    ),
    (BLINKER, replace(BLINKS, sources=(*BLINKS.sources[:1], Source("switch", "go", on=True), BLINKS.sources[2])),
     [("V012", "go")]),
    # A short: black joins the switch's tile, so that it and the ticker drive one net.
    (with_wire(BLINKER, "black", (0, 1, 0, 1)), BLINKS, [("V013", "sync"), ("V013", "q")]),
    # An open: the pixel's wire is cut.
    (without_wire(BLINKER, (3, 2, 8, 2), (3, 2, 6, 2)), BLINKS, [("V013", "q")]),
    # A second colour from one driver cancels the first.
    (with_wire(BLINKER, "black", (3, 2, 8, 2)), BLINKS, [("V013", "q")]),
    (with_devices(BLINKER, Device("delay", 0, 2, to=(2, 2), seconds=1)), BLINKS, [("V011", None)]),
    (with_devices(BLINKER, Device("pixel", 0, 2, lit=True, signal="q")), BLINKS, [("V013", "q")]),
]  # fmt: skip


@pytest.mark.parametrize("plan,circuit,wanted", DIFFERENT)
def test_each_difference_is_found(plan: Plan, circuit: Circuit, wanted: list[tuple[str, str | None]]) -> None:
    seen = [(finding.code, finding.subject) for finding in compare(plan, circuit)]
    assert set(wanted) <= set(seen), seen


def test_findings_say_what_and_where() -> None:
    plan = without_wire(BLINKER, (0, 1, 3, 1), (0, 1, 2, 1))
    (finding,) = compare(plan, BLINKS)
    assert str(finding) == (
        "H2G-V013: a toggle placed as 0 and driven by nothing is not in the circuit; "
        "the circuit lists 0 driven by go [q (3,1)]"
    )


def test_a_circuit_without_levels_says_nothing_of_signals() -> None:
    assert compare(PLAN, replace(CIRCUIT, levels=())) == ()
