"""The proof: what is equal, what differs and after which events, what is undecided; and every mutation."""

from __future__ import annotations

from collections import Counter as Tally
from collections.abc import Iterator
from dataclasses import replace
from itertools import product

import pytest
from support.plan_lockstep import lock_step
from support.plans import PAIRS, blinker_circuit, blinker_plan, counter_circuit, counter_plan, divider_plan, make_plan
from support.small_designs import elaboration

from hdl2grid.circuit.model import FUNCTIONS, Circuit, Pixel, Source, Stack, Toggle
from hdl2grid.plan.json_io import stroke_tiles
from hdl2grid.plan.model import Device, Plan
from hdl2grid.plan.rules import check_plan
from hdl2grid.sim.pulse_network import network_from_plan
from hdl2grid.sim.waves import PlainEngine
from hdl2grid.verify.prove import prove
from hdl2grid.verify.verdict import Verdict
from hdl2grid.verify.walk import random_events, shorten


@pytest.mark.parametrize("name", PAIRS)
def test_hand_made_machines_are_equal(name: str) -> None:
    make, make_circuit = PAIRS[name]
    for machine in (make(), make_circuit()):
        verdict = prove(elaboration(name), machine)
        assert (verdict.result, verdict.states, verdict.complete) == ("equal", 4, True)
        assert verdict.events == 4 * len(machine.sources if isinstance(machine, Circuit) else _sources(machine))
        assert lock_step(machine, elaboration(name)).held


def _sources(plan: Plan) -> list[Device]:
    return [d for d in plan.devices if d.kind in ("ticker", "button", "switch")]


def changed(plan: Plan, x: int, y: int, **fields: object) -> Plan:
    devices = tuple(replace(d, **fields) if (d.x, d.y) == (x, y) else d for d in plan.devices)  # type: ignore[arg-type]
    assert devices != plan.devices
    return replace(plan, devices=devices)


def test_a_flipped_toggle_is_found_with_the_shortest_events() -> None:
    """The second register's toggle: it then flips at even ticks instead of odd ones."""
    verdict = prove(elaboration("counter"), changed(counter_plan(), 6, 2, bit=1))
    assert verdict.result == "different" and verdict.counterexample is not None
    assert verdict.counterexample.events == ("sync",)
    assert [(d.signal, d.expected, d.found, d.tile) for d in verdict.counterexample.differences] == [
        ("q[1]", 0, 1, (9, 3)),
        ("both", 0, 1, (9, 8)),
        ("q[1]", 0, 1, None),
        ("both", 0, 1, None),
        ("count[1]", 0, 1, None),
    ]
    assert verdict.reason == (
        "after 'sync': q[1] at (9,3) is 1 and should be 0; both at (9,8) is 1 and should be 0; "
        "q[1] is 1 and should be 0; both is 1 and should be 0; 1 more differ"
    )


def test_a_pixel_that_is_lit_is_found_before_any_event() -> None:
    verdict = prove(elaboration("counter"), changed(counter_plan(), 9, 8, lit=True))
    assert verdict.reason == "before any event: both at (9,8) is 1 and should be 0"
    assert verdict.counterexample is not None and verdict.counterexample.events == ()


def test_an_or_for_an_and_is_found() -> None:
    verdict = prove(elaboration("counter"), changed(counter_plan(), 6, 8, function="OR"))
    assert verdict.result == "different" and verdict.reason.startswith("after 'sync': both at (9,8) is 1")


def test_a_reset_that_does_nothing_is_found_by_reset_alone() -> None:
    """Lock-step of ticks never presses the button; the proof does, from every state."""
    circuit = blinker_circuit()
    lazy = replace(circuit.stacks[1], strobe=())
    broken = replace(circuit, stacks=(circuit.stacks[0], lazy))
    verdict = prove(elaboration("blinker"), broken)
    assert verdict.counterexample is not None
    assert verdict.counterexample.events == ("go", "sync", "reset")
    assert lock_step(broken, elaboration("blinker"), events=["go", "sync"] * 50).held


def late_counter() -> Circuit:
    """The counter whose AND gets one input through a buffer, a round late."""
    circuit = counter_circuit()
    buffer = Stack("buffer", "AND", (Toggle(0, ("r1",)),))
    late = replace(circuit.stacks[2], toggles=(Toggle(0, ("r0",)), Toggle(0, ("buffer",))))
    stacks = (*circuit.stacks[:2], late, buffer)
    return replace(circuit, stacks=stacks, origin=(circuit.origin[0],) * 4)


def test_a_lost_pulse_is_found_even_where_it_shows_later() -> None:
    """11 -> 00: the AND falls. 01 -> 10: it sees 00 and then 10, nothing. So the late AND is safe; one whose
    other input is late rises and falls within 01 -> 10."""
    assert prove(elaboration("counter"), late_counter()).result == "equal"
    circuit = late_counter()
    buffer = Stack("buffer", "AND", (Toggle(0, ("r0",)),))
    late = replace(circuit.stacks[2], toggles=(Toggle(0, ("buffer",)), Toggle(0, ("r1",))))
    verdict = prove(elaboration("counter"), replace(circuit, stacks=(*circuit.stacks[:2], late, buffer)))
    assert verdict.result == "different" and verdict.counterexample is not None
    assert verdict.counterexample.events == ("sync", "sync") and verdict.counterexample.lost == ("and",)
    assert "the stack 'and' loses a pulse" in verdict.reason


def test_rules_come_before_the_proof() -> None:
    plan = counter_plan()
    wires = (plan.wires[0], *plan.wires[1:3], (*plan.wires[3], (9, 7, 9, 7)))
    verdict = prove(elaboration("counter"), replace(plan, wires=wires, devices=plan.devices[:-1]))
    assert verdict.result == "different" and verdict.states == 0
    assert {finding.code for finding in verdict.findings} >= {"R012"}
    outside = replace(plan, width=5)
    assert {f.code for f in prove(elaboration("counter"), outside).findings} == {"R001", "R003"}


@pytest.mark.parametrize(
    "circuit,code,says",
    [
        (replace(blinker_circuit(), pixels=()), "V021", "no pixel shows this output [q]"),
        (
            replace(blinker_circuit(), pixels=(*blinker_circuit().pixels, Pixel("p", False, ()))),
            "V020",
            "no output of the design [p]",
        ),
        (
            replace(blinker_circuit(), sources=(Source("button", "sync"), *blinker_circuit().sources[1:])),
            "V023",
            "it is a button and should be a ticker of 0.5 s [sync]",
        ),
        (
            replace(blinker_circuit(), sources=(*blinker_circuit().sources, Source("button", "more"))),
            "V023",
            "the design has nothing for this button [more]",
        ),
        (
            replace(
                blinker_circuit(),
                sources=(blinker_circuit().sources[0], Source("switch", "go", on=True), Source("button", "reset")),
            ),
            "V023",
            "it is a switch that is on and should be a switch that is off [go]",
        ),
    ],
)
def test_ports_and_sources_are_compared(circuit: Circuit, code: str, says: str) -> None:
    verdict = prove(elaboration("blinker"), circuit)
    assert verdict.result == "different"
    assert [f.code for f in verdict.findings] == [code] and says in str(verdict.findings[0])


def test_a_missing_source_is_found() -> None:
    button = Source("button", "reset")
    circuit = Circuit("blinker", (button,), (), (Pixel("q", True, ()),), ())
    codes = [(f.code, f.subject) for f in prove(elaboration("blinker"), circuit).findings]
    assert codes == [("V022", "sync"), ("V022", "go")]


def wide_circuit() -> Circuit:
    return Circuit(
        "wide",
        (Source("ticker", "sync", period_s=1, running=True),),
        (Stack("bit", "AND", (Toggle(1, ()),), ("sync",)),),
        (Pixel("top", False, ("bit",)),),
        (counter_circuit().origin[0],),
    )


def test_registers_that_nobody_sees_are_left_out_only_where_they_must_be() -> None:
    """2^20 states of the design, of which the output sees two."""
    verdict = prove(elaboration("wide"), wide_circuit(), limit=1000)
    assert (verdict.result, verdict.states, verdict.complete) == ("equal", 2, True)
    assert len(verdict.left_out) == 49


def test_the_panel_stands_as_drawn() -> None:
    plan = counter_plan()
    assert prove(elaboration("shown"), plan).result == "equal"
    moved = replace(plan, devices=tuple(replace(d, x=8) if d.signal == "q[0]" else d for d in plan.devices))
    wires = (*plan.wires[:2], tuple((2, 5, 8, 5) if s == (2, 5, 9, 5) else s for s in plan.wires[2]), plan.wires[3])
    verdict = prove(elaboration("shown"), replace(moved, wires=wires))
    assert [str(f) for f in verdict.findings] == [
        "H2G-V024: the panel has a pixel here, and the plan does not show it [q[0] (9,5)]"
    ]
    assert prove(elaboration("counter"), replace(moved, wires=wires)).result == "equal"


def test_over_the_limit_is_undecided_and_says_how_much_was_tried() -> None:
    told: list[int | None] = []
    verdict = prove(
        elaboration("counter"),
        counter_plan(),
        limit=2,
        walk=3000,
        progress=lambda _, done=None, total=None: told.append(done),
    )
    assert (verdict.result, verdict.complete, verdict.walked) == ("undecided", False, 3000)
    assert verdict.reason == "there are more than 2 states; 3000 random events showed no difference"
    assert told


def test_over_the_limit_the_walk_still_finds() -> None:
    """A machine that never resets, looked at with too small a limit: a walk of events finds it."""
    circuit = blinker_circuit()
    broken = replace(circuit, stacks=(circuit.stacks[0], replace(circuit.stacks[1], strobe=())))
    verdict = prove(elaboration("blinker"), broken, limit=1, walk=3000)
    assert verdict.result == "different" and verdict.counterexample is not None
    assert verdict.counterexample.events == ("go", "sync", "reset")


def test_delays_are_undecided() -> None:
    plan = counter_plan()
    wires = (plan.wires[0] + ((0, 0, 0, 1),), *plan.wires[1:])
    delay = Device("delay", 0, 0, to=(9, 0), seconds=1)
    sink = (*wires[3], (9, 0, 9, 3))
    verdict = prove(elaboration("counter"), replace(plan, devices=(*plan.devices, delay), wires=(*wires[:3], sink)))
    assert verdict.result == "undecided" and "delays" in verdict.reason


def test_lock_step_makes_the_events_short() -> None:
    circuit = blinker_circuit()
    broken = replace(circuit, stacks=(circuit.stacks[0], replace(circuit.stacks[1], strobe=())))
    result = lock_step(broken, elaboration("blinker"), count=2000, seed=3)
    assert result.counterexample is not None and result.counterexample.expression == "go sync reset"
    assert not result.held and result.events <= 2000


def test_random_events_are_the_same_for_a_seed() -> None:
    sources = blinker_circuit().sources
    one = list(random_events(sources, 5000, 1))
    assert one == list(random_events(sources, 5000, 1)) != list(random_events(sources, 5000, 2))
    assert len(one) == 5000 and list(random_events((), 5, 1)) == []
    counts = Tally(one)
    assert counts["sync"] > counts["go"] > counts["reset"] > 100


def test_shorten_keeps_what_is_needed() -> None:
    events = list("abcdefgh" * 30) + ["x"] + list("hgfedcba" * 30) + ["y"]
    assert shorten(events, lambda e: "x" in e and "y" in list(e)[list(e).index("x") :]) == ("x", "y")


# ---- every single-tile change


def mutants(plan: Plan) -> Iterator[tuple[str, Plan]]:
    """Every plan that differs on one tile: wire laid or taken up, a device changed, removed or put there."""
    tiles = [(x, y) for y in range(plan.height) for x in range(plan.width)]
    standing = {(d.x, d.y): i for i, d in enumerate(plan.devices)}
    for colour, strokes in enumerate(plan.wires):
        wired = {tile for stroke in strokes for tile in stroke_tiles(stroke)}
        for tile in tiles:
            new = sorted(wired ^ {tile})
            wires = list(plan.wires)
            wires[colour] = tuple((x, y, x, y) for x, y in new)
            yield f"{plan.colours[colour]} wire at {tile}", replace(plan, wires=tuple(wires))
    for tile, i in standing.items():
        device = plan.devices[i]
        rest = plan.devices[:i] + plan.devices[i + 1 :]
        yield f"{device.kind} removed at {tile}", replace(plan, devices=rest)
        for other in _changes(device):
            yield f"{device.kind} changed at {tile}", replace(plan, devices=(*rest, other))
    for x, y in tiles:
        if (x, y) not in standing:
            for device in (
                Device("crossover", x, y, form="straight"),
                Device("toggle", x, y, bit=0),
                Device("strobe", x, y),
                Device("gate", x, y, name="new", function="AND"),
                Device("pixel", x, y, lit=False, signal=plan.signals[0].signal),
            ):
                yield f"{device.kind} put at {(x, y)}", replace(plan, devices=(*plan.devices, device))


def _changes(device: Device) -> Iterator[Device]:
    if device.kind == "gate":
        yield from (replace(device, function=f) for f in FUNCTIONS if f != device.function)
    elif device.kind == "toggle":
        yield replace(device, bit=1 - (device.bit or 0))
    elif device.kind == "pixel":
        yield replace(device, lit=not device.lit)
    elif device.kind == "ticker":
        yield replace(device, running=False)
        yield replace(device, period_s=7)
    elif device.kind == "switch":
        yield replace(device, on=not device.on)


def shows(plan: Plan, length: int) -> list[set[tuple[str, int]]]:
    """What pixels and signals show in every sequence of `length` events, by the plain engine alone."""
    net = network_from_plan(plan)
    seen = []
    for events in product(range(len(net.sources)), repeat=length):
        machine = PlainEngine(net)
        for event in events:
            assert not machine.fire(net.event(sorted(net.events)[event])).lost
            bits = machine.bits()[net.first_pixel : net.first_source].tolist()
            seen.append({(d.signal, bit) for d, bit in zip((*net.pixels, *net.probes), bits, strict=True)})
    return seen


MADE = {"divider": (divider_plan, 9), "counter": (counter_plan, 9), "blinker": (blinker_plan, 5)}


@pytest.mark.parametrize("name", MADE)
def test_every_single_tile_change_is_found_or_changes_nothing(name: str) -> None:
    """Found by a rule or by the proof; where the proof says equal, another engine plays every sequence of events
    that is longer than the machine has states, and sees what the plan itself shows."""
    make, length = MADE[name]
    plan = make()
    right = shows(plan, length)
    verdicts: dict[str, Verdict] = {}
    for label, mutant in mutants(plan):
        verdict = prove(elaboration(name), mutant)
        assert verdict.result in ("equal", "different"), label
        if verdict.result == "equal":
            assert not check_plan(mutant)
            assert verdict.complete and shows(mutant, length) == right, label
        verdicts[f"{label} {len(verdicts)}"] = verdict
    harmless = [label for label, verdict in verdicts.items() if verdict.result == "equal"]
    kinds = {label.partition(" at ")[0] for label in harmless}
    assert kinds <= {"gate changed", "pixel put", "crossover put", *(f"{colour} wire" for colour in plan.colours)}
    by_rule = sum(bool(verdict.findings) for verdict in verdicts.values())
    by_proof = sum(verdict.counterexample is not None for verdict in verdicts.values())
    assert by_rule + by_proof + len(harmless) == len(verdicts)
    assert by_rule and by_proof >= 3 and len(harmless) < len(verdicts) // 5
    print(f"{name}: {len(verdicts)} changes, {by_rule} by rule, {by_proof} by proof, {len(harmless)} change nothing")
    if name == "counter":
        assert verdicts_for(verdicts, "crossover removed") == {"different"}
        assert verdicts_for(verdicts, "gate changed at (6, 8)") == {"different", "equal"}, "NAND emits as AND does"


def verdicts_for(verdicts: dict[str, Verdict], label: str) -> set[str]:
    return {verdict.result for key, verdict in verdicts.items() if key.startswith(label)}


def test_an_empty_machine_of_an_empty_design_is_not_equal_to_the_counter() -> None:
    empty = make_plan("counter", (1, 1), [], [])
    assert prove(elaboration("counter"), empty).result == "different"
