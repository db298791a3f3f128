"""Both engines against each other, and against what grid-model.md says in so many words."""

from __future__ import annotations

import random

import numpy as np
import pytest
from support.networks import circuit, random_network
from support.plans import PAIRS

from hdl2grid.base.rng import SplitMix64
from hdl2grid.circuit.model import Pixel, Stack, Toggle
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.pulse_network import Network, network_from_circuit, network_from_plan
from hdl2grid.sim.waves import PlainEngine, Round, gate_output

ENGINES = [PlainEngine, CompiledEngine]


@pytest.mark.parametrize("seed", range(150))
def test_engines_agree_on_random_networks(seed: int) -> None:
    net = random_network(seed)
    plain, compiled = PlainEngine(net, seed=seed), CompiledEngine(net, seed=seed)
    rng = random.Random(seed)
    for _ in range(60):
        driver = rng.randrange(len(net.hits)) if net.delays else rng.randrange(len(net.sources))
        if len(net.sources) <= driver < len(net.sources) + len(net.stacks):
            continue
        assert plain.fire(driver) == compiled.fire(driver)
        assert plain.state() == compiled.state()
        assert plain.bits().tolist() == compiled.bits().tolist()
    events = np.array([rng.randrange(len(net.sources)) for _ in range(50)], dtype=np.int64)
    watch = list(range(net.first_strobe))
    one, other = plain.play(events, watch), compiled.play(events, watch)
    assert (one.watched == other.watched).all()
    assert (one.rounds, one.pulses, one.lost, one.first_lost) == (
        other.rounds,
        other.pulses,
        other.lost,
        other.first_lost,
    )


@pytest.mark.parametrize("engine", ENGINES)
@pytest.mark.parametrize("seed", range(10))
def test_restore_returns_to_the_state(engine: type, seed: int) -> None:
    net = random_network(seed)
    machine = engine(net, seed=3)
    events = np.zeros(20, dtype=np.int64)
    machine.play(events)
    state = machine.state()
    first = machine.play(events, range(net.first_strobe))
    machine.restore(state)
    second = machine.play(events, range(net.first_strobe))
    assert (first.watched == second.watched).all() and first.lost == second.lost
    with pytest.raises(ValueError, match="another network"):
        machine.restore(state + b"\0")


@pytest.mark.parametrize("name", PAIRS)
@pytest.mark.parametrize("engine", ENGINES)
def test_plan_and_circuit_play_alike(name: str, engine: type) -> None:
    make_plan, make_circuit = PAIRS[name]
    machines = [engine(network_from_plan(make_plan())), engine(network_from_circuit(make_circuit()))]
    rng = random.Random(1)
    for _ in range(40):
        seen = []
        event = rng.choice(machines[0].network.events)
        for machine in machines:
            wave = machine.fire(machine.network.event(event))
            net, bits = machine.network, machine.bits()
            shown = {p.signal: bits[net.first_pixel + i] for i, p in enumerate(net.pixels)}
            read = {p.signal: bits[net.first_probe + i] for i, p in enumerate(net.probes)}
            seen.append((wave, shown, read))
        assert seen[0] == seen[1]
        assert all(seen[0][2][signal] == bit for signal, bit in seen[0][1].items())


def test_gate_functions() -> None:
    """IEC 60617-12: & all are 1; >=1 at least one; =1 exactly one; a circle at the output negates."""
    for size in range(1, 5):
        for ones in range(size + 1):
            assert gate_output("AND", ones, size) == (ones == size)
            assert gate_output("OR", ones, size) == (ones >= 1)
            assert gate_output("XOR", ones, size) == (ones == 1)
            for positive, negative in (("AND", "NAND"), ("OR", "NOR"), ("XOR", "XNOR")):
                assert gate_output(negative, ones, size) == 1 - gate_output(positive, ones, size)


@pytest.mark.parametrize("engine", ENGINES)
def test_a_stack_reached_in_two_rounds_loses_a_pulse(engine: type) -> None:
    """t hits one toggle of an AND in round 0 and, through a buffer, the other in round 1: 1 -> 0 at once."""
    net = network_from_circuit(
        circuit(
            [
                Stack("buffer", "AND", (Toggle(1, ("t",)),)),
                Stack("and", "AND", (Toggle(0, ("t",)), Toggle(1, ("buffer",)))),
            ],
            [Pixel("p", False, ("and",))],
        )
    )
    machine = engine(net)
    assert machine.fire(0).lost == (1,)
    assert machine.bits()[net.first_pixel] == 1, "the pixel was told of the 1 and never of the 0"


@pytest.mark.parametrize("engine", ENGINES)
def test_a_shift_register_samples_before_anything_moves(engine: type) -> None:
    """Two D flip-flops, each toggle bearing D xor Q, strobed by one net: the second gets the first's old
    Q."""
    net = network_from_circuit(
        circuit(
            [
                Stack("q0", "AND", (Toggle(0, ("b", "q0")),), ("t",)),
                Stack("q1", "AND", (Toggle(0, ("q0", "q1")),), ("t",)),
            ],
            [Pixel("0", False, ("q0",)), Pixel("1", False, ("q1",))],
        )
    )
    machine = engine(net)
    seen = []
    for event in "bttbtt":
        machine.fire("tb".index(event))
        seen.append(tuple(machine.bits()[net.first_pixel : net.first_probe].tolist()))
    assert seen == [(0, 0), (1, 0), (1, 1), (1, 1), (0, 1), (0, 0)]


@pytest.mark.parametrize("engine", ENGINES)
def test_a_ticker_hit_by_a_pulse_stops_and_starts(engine: type) -> None:
    net = network_from_circuit(circuit([], [Pixel("p", False, ("t",))]))
    hits = (net.hits[0], (net.first_source,))
    stoppable = Network(net.name, net.sources, net.stacks, (), net.pixels, (), hits)
    machine = engine(stoppable)
    assert machine.fire(0).rounds == 1
    machine.fire(1)
    assert machine.fire(0).rounds == 0 and machine.bits()[net.first_pixel] == 1
    machine.fire(1)
    assert machine.fire(0).rounds == 1 and machine.bits()[net.first_pixel] == 0


@pytest.mark.parametrize("engine", ENGINES)
def test_two_drivers_of_one_net_flip_twice(engine: type) -> None:
    """Merging is exclusive or: two buffers that emit in one round flip the pixel twice."""
    buffers = [Stack(name, "AND", (Toggle(0, ("t",)),)) for name in ("x", "y")]
    net = network_from_circuit(circuit(buffers, [Pixel("p", False, ("x", "y"))]))
    machine = engine(net)
    assert machine.fire(0).pulses == 3
    assert machine.bits()[net.first_pixel] == 0


@pytest.mark.parametrize("engine", ENGINES)
def test_strobe_over_several_toggles_emits_ones_out_of_k(engine: type) -> None:
    net = network_from_circuit(
        circuit([Stack("r", "AND", (Toggle(1, ()), Toggle(0, ()), Toggle(0, ()), Toggle(0, ())), ("t",))], [])
    )
    counts = []
    for seed in (1, 1, 2):
        counts.append(engine(net, seed=seed).play(np.zeros(4000, dtype=np.int64)).pulses - 4000)
    assert counts[0] == counts[1] != counts[2]
    assert all(850 < count < 1150 for count in counts)


def test_generator_is_splitmix64() -> None:
    """The first outputs of SplitMix64 from seed 1234567, as listed with Java's SplittableRandom and on
    Rosetta Code ('Pseudo-random numbers/Splitmix64')."""
    generator = SplitMix64(1234567)
    drawn = [generator.word() for _ in range(5)]
    published = [
        6457827717110365317,
        3203168211198807973,
        9817491932198370423,
        4593380528125082431,
        16408922859458223821,
    ]
    assert drawn == published


def test_trace_tells_every_round() -> None:
    net = network_from_circuit(PAIRS["counter"][1]())
    machine = PlainEngine(net)
    trace: list[Round] = []
    machine.fire(0)
    machine.fire(0)
    machine.fire(0, trace)
    assert [[d for d in r.emitting] for r in trace] == [[0], [1], [3]]


def test_compiled_engine_is_quick() -> None:
    """300,000 waves of the counter: far under 10 us each even on a busy machine."""
    machine = CompiledEngine(network_from_circuit(PAIRS["counter"][1]()))
    tally = machine.play(np.zeros(300_000, dtype=np.int64))
    assert (tally.pulses, tally.lost, tally.rounds) == (900_000, 0, 3)
