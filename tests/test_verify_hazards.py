"""Arrival rounds by structure, against waves that are played."""

from __future__ import annotations

import random

import pytest
from support.networks import circuit, random_network
from support.plans import PAIRS, counter_circuit, divider_circuit

from hdl2grid.circuit.model import Stack, Toggle
from hdl2grid.sim.pulse_network import network_from_circuit
from hdl2grid.sim.waves import PlainEngine, Round
from hdl2grid.verify.hazards import find_hazards


def test_counter_is_safe_by_structure() -> None:
    report = find_hazards(counter_circuit())
    assert report.rounds == (("sync", 3),)
    assert (report.num_plain, report.num_one_round, report.suspects, report.loops) == (1, 1, (), ())
    assert report.is_safe_by_structure


def test_a_divider_samples_what_its_own_wave_has_moved() -> None:
    (suspect,) = find_hazards(divider_circuit()).suspects
    assert (suspect.stack, suspect.kind, suspect.rounds) == ("half", "data before its strobe", (0,))
    assert find_hazards(divider_circuit()).is_safe_by_structure


def test_two_rounds_are_found() -> None:
    stacks = [
        Stack("buffer", "AND", (Toggle(1, ("t",)),)),
        Stack("and", "AND", (Toggle(0, ("t",)), Toggle(1, ("buffer",)))),
        Stack("twice", "AND", (Toggle(0, ()),), ("buffer", "t")),
    ]
    report = find_hazards(circuit(stacks, []))
    assert [(s.event, s.stack, s.kind, s.rounds) for s in report.suspects] == [
        ("t", "and", "several rounds", (0, 1)),
        ("t", "twice", "strobed in several rounds", (0, 1)),
    ]
    assert not report.is_safe_by_structure and report.num_one_round == 1


def test_a_loop_of_plain_stacks_is_found() -> None:
    stacks = [
        Stack("a", "AND", (Toggle(0, ("b", "t")),)),
        Stack("b", "AND", (Toggle(0, ("a",)),)),
        Stack("c", "AND", (Toggle(0, ("t",)),)),
    ]
    stacks[0] = Stack("a", "AND", (Toggle(0, ("b2", "t")),))
    stacks[1] = Stack("b2", "AND", (Toggle(0, ("a",)),))
    assert set(find_hazards(circuit(stacks, [])).loops) <= {"a", "b2"} != set()
    assert not find_hazards(circuit(stacks, [])).is_safe_by_structure


@pytest.mark.parametrize("seed", range(40))
def test_what_structure_clears_never_loses_a_pulse(seed: int) -> None:
    """And no wave that is played has more rounds than structure allows."""
    net = random_network(seed)
    report = find_hazards(net)
    doubtful = {s.stack for s in report.suspects if s.kind != "data before its strobe"} | set(report.loops)
    engine = PlainEngine(net, seed)
    rng = random.Random(seed)
    most = dict(report.rounds)
    for _ in range(80):
        source = rng.randrange(len(net.sources))
        trace: list[Round] = []
        wave = engine.fire(source, trace)
        assert {net.stacks[stack].name for stack in wave.lost} <= doubtful
        assert wave.rounds <= most[net.sources[source].name]


@pytest.mark.parametrize("name", PAIRS)
def test_plan_and_circuit_have_the_same_hazards(name: str) -> None:
    make_plan, make_circuit = PAIRS[name]
    one, other = find_hazards(make_plan()), find_hazards(network_from_circuit(make_circuit()))
    assert one.rounds == other.rounds and set(one.suspects) == set(other.suspects)
