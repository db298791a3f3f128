"""Networks of pulses at random, and circuits from their stacks alone."""

from __future__ import annotations

from hdl2grid.circuit.model import FUNCTIONS, Circuit, Level, Origin, Pixel, Source, Stack
from hdl2grid.sim.pulse_network import Display, Network, NetworkStack
from support.dice import Dice


def random_network(seed: int) -> Network:
    """Any network at all: loops, merges, tickers hit by gates, strobes over several toggles, delays."""
    rng = Dice(seed)
    sources = [
        Source("ticker", "tick", period_s=1, running=rng.random() < 0.8),
        Source("button", "press"),
        Source("switch", "flip", on=rng.random() < 0.5),
    ][: rng.randint(1, 3)]
    stacks = []
    for i in range(rng.randint(0, 12)):
        strobed = rng.random() < 0.4
        size = rng.randint(1, 4) if rng.random() < 0.5 else 1
        bits = tuple(rng.randint(0, 1) for _ in range(size))
        stacks.append(NetworkStack(f"s{i}", rng.choice(FUNCTIONS), bits, strobed))
    delays = tuple(0.5 for _ in range(rng.randint(0, 2)))
    pixels = tuple(Display(f"p{i}", rng.randint(0, 1)) for i in range(rng.randint(0, 4)))
    probes = tuple(Display(f"q{i}", rng.randint(0, 1)) for i in range(rng.randint(0, 2)))
    shape = Network("random", tuple(sources), tuple(stacks), delays, pixels, probes, ())
    elements = shape.first_delay + len(delays)
    usable = [e for e in range(elements) if not _is_unhittable(shape, e)]
    hits = [
        tuple(sorted(rng.sample(usable, min(len(usable), rng.randint(0, 8)))))
        for _ in range(len(sources) + len(stacks) + len(delays))
    ]
    return Network("random", tuple(sources), tuple(stacks), delays, pixels, probes, tuple(hits))


def _is_unhittable(net: Network, element: int) -> bool:
    if net.first_source <= element < net.first_strobe:
        return net.sources[element - net.first_source].kind == "button"
    return net.first_strobe <= element < net.first_delay and not net.stacks[element - net.first_strobe].strobed


def circuit(stacks: list[Stack], pixels: list[Pixel], levels: tuple[Level, ...] = ()) -> Circuit:
    sources = (Source("ticker", "t", period_s=1, running=True), Source("button", "b"))
    return Circuit("c", sources, tuple(stacks), tuple(pixels), (Origin("", ""),) * len(stacks), levels)
