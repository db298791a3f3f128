"""Which drivers share a net: every sink gets its drivers, no tile bears more nets than colours, such circuits can be
laid. The bounds are counted here anew from `docs/grid-model.md`."""

from __future__ import annotations

import random
from collections import defaultdict

import pytest
from synth_support import compare, sources_of, walk

from hdl2grid.base.target import load_target
from hdl2grid.circuit.model import Circuit, Origin, Pixel, Source, Stack, Toggle
from hdl2grid.layout.assemble import assemble
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.lay_out import lay_out
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import XagBuilder
from hdl2grid.nets.form import form_nets, spread_toggles
from hdl2grid.nets.partition import MAX_NETS, Partition, share_nets
from hdl2grid.plan.rules import check_plan
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazards import find_hazards
from hdl2grid.verify.lvs import compare as lvs


def drawn(seed: int, plain: int = 8, pixels: int = 10, share: float = 0.4) -> Circuit:
    """Registers that switches load, plain stacks of two of them, pixels that gather a random share of all."""
    rng = random.Random(seed)
    switches = tuple(Source("switch", f"s{i}", on=False) for i in range(5))
    stacks = [Stack(f"r{i}", "AND", (Toggle(0, (f"r{i}", f"s{i}")),), ("tick",)) for i in range(5)]
    for i in range(plain):
        a, b = rng.sample(range(5), 2)
        stacks.append(Stack(f"p{i}", "AND", (Toggle(0, (f"r{a}",)), Toggle(0, (f"r{b}",)))))
    shown = []
    for i in range(pixels):
        drivers = tuple(sorted(s.name for s in stacks if rng.random() < share))
        shown.append(Pixel(f"y{i}", False, drivers))
    sources = (Source("ticker", "tick", period_s=1, running=True), *switches)
    return Circuit("drawn", sources, tuple(stacks), tuple(shown), tuple(Origin("", s.name) for s in stacks))


def too_many(circuit: Circuit, shared: Partition, sampled: int = MAX_NETS) -> list[str]:
    """Tiles, and pairs of tiles that always touch, with more than four nets; registers with more than `sampled`."""
    nets_of: dict[str, set[int]] = defaultdict(set)
    for number, net in enumerate(shared.nets):
        for driver in net:
            nets_of[driver].add(number)
    found = [driver for driver, nets in nets_of.items() if len(nets) > MAX_NETS]
    found += [p.signal for p in circuit.pixels if p.drivers and len(shared.of[p.drivers]) > MAX_NETS]
    for stack in circuit.stacks:
        for toggle in stack.toggles:
            nets = set(shared.of[toggle.drivers]) if toggle.drivers else set()
            if stack.strobe is None:
                found += [stack.name] * (len(nets) > MAX_NETS)
            else:
                found += [stack.name] * (len(nets | nets_of[stack.name]) > sampled)
                found += [stack.name] * (len(nets | set(shared.of[stack.strobe])) > MAX_NETS)
    return found


@pytest.mark.parametrize("seed", range(8))
def test_every_sink_has_its_drivers_and_no_tile_too_many_nets(seed: int) -> None:
    circuit = drawn(seed)
    shared = share_nets(circuit)
    for drivers, numbers in shared.of.items():
        assert sorted(d for n in numbers for d in shared.nets[n]) == list(drivers)
    assert shared.is_joined
    assert not shared.crowded
    assert too_many(circuit, shared) == []
    assert too_many(circuit, shared, MAX_NETS - 1) == []
    assert shared == share_nets(circuit)


def test_what_fits_as_it_is_stays_apart() -> None:
    circuit = drawn(1, plain=3, pixels=4, share=0.2)
    shared = share_nets(circuit)
    assert not shared.is_joined
    assert too_many(circuit, shared) == []


def test_a_ticker_is_joined_to_nothing() -> None:
    circuit = drawn(2)
    wide = Pixel("wide", False, tuple(sorted(("tick", *(s.name for s in circuit.stacks)))))
    shared = share_nets(Circuit("t", circuit.sources, circuit.stacks, (*circuit.pixels, wide), circuit.origin))
    assert [net for net in shared.nets if "tick" in net] == [("tick",)]


def test_very_long_sums_are_cut_in_threes() -> None:
    """Nine sums of about half of 250 stacks each, as they are left of a one-hot decoder of eight bits: a stack is in
    four or five of the sums, but on four nets at most."""
    sources = (Source("ticker", "tick", period_s=1, running=True), Source("switch", "s", on=False))
    stacks = tuple(Stack(f"p{i}", "AND", (Toggle(0, ("s",)), Toggle(1, ("s",)))) for i in range(250))
    pixels = [Pixel(f"x{i}", False, (f"p{i}",)) for i in range(250)]
    sums = [tuple(sorted(f"p{i}" for i in range(250) if (i * 37 + 11) >> j & 1)) for j in range(9)]
    pixels += [Pixel(f"y{j}", False, drivers) for j, drivers in enumerate(sums)]
    circuit = Circuit("long", sources, stacks, tuple(pixels), tuple(Origin("", s.name) for s in stacks))
    shared = share_nets(circuit)
    assert not shared.crowded and shared.is_joined
    assert too_many(circuit, shared) == []
    for drivers, numbers in shared.of.items():
        assert sorted(d for n in numbers for d in shared.nets[n]) == list(drivers)


def test_what_cannot_be_is_told() -> None:
    """Every pair of nine drivers on a pixel of its own, which bears one net: eight nets at each driver."""
    names = [f"s{i}" for i in range(9)]
    sources = tuple(Source("switch", n, on=False) for n in names)
    pairs = [(a, b) for a in names for b in names if a < b]
    pixels = tuple(Pixel(f"{a}{b}", False, (a, b)) for a, b in pairs)
    circuit = Circuit("pairs", sources, (), pixels, ())
    assert not share_nets(circuit, 2).crowded
    assert share_nets(circuit, 1).crowded


def test_nets_of_an_earlier_plan_are_kept() -> None:
    circuit = drawn(3)
    first = share_nets(circuit)
    again = share_nets(circuit, kept=first.nets, only_kept=True)
    assert set(again.nets) == set(first.nets)


def loaded(count: int) -> Logic:
    """The number of ones among `count` bits that a tick loads, and their parity last."""
    b = XagBuilder()
    registers = [b.variable(f"r{i}") for i in range(count)]
    switches = [b.variable(f"x{i}") for i in range(count)]
    terms = [b.and_all([q ^ 1 ^ (k >> i & 1) for i, q in enumerate(registers)]) for k in range(1 << count)]
    shown = [b.xor_all([t for k, t in enumerate(terms) if k.bit_count() >> j & 1]) for j in (2, 1, 0)]
    return Logic(
        f"ones{count}",
        b.freeze(),
        ("tick",),
        False,
        tuple(InputBit(f"x{i}", x, 0) for i, x in enumerate(switches)),
        tuple(
            RegisterBit(f"r{i}", q, x, 0, "tick", False)
            for i, (q, x) in enumerate(zip(registers, switches, strict=True))
        ),
        tuple(OutputBit(f"y{i}", y) for i, y in enumerate(shown)),
    )


@pytest.mark.parametrize("style", ["compact", "tidy"])
def test_a_machine_of_joined_nets_is_laid(style: str) -> None:
    """rd53 of the MCNC benchmarks: five stacks by general methods, of which none knows colours; the parity takes no
    stack at all."""
    logic = loaded(5)
    made = synthesise(logic, sources_of(logic))
    assert made.report.stacks - made.report.registers <= 5
    assert find_hazards(made.circuit).is_safe_by_structure
    compare(logic, made.circuit, walk(logic, 200, 1))
    circuit = spread_toggles(made.circuit)
    assert share_nets(circuit).is_joined
    netlist, target = form_nets(circuit, None), load_target()
    layout = lay_out(netlist, LayoutParams("quick", 1, 60, 60, style, target.weights(style)))
    plan = assemble(circuit, netlist, layout.board, None, target.name, target.colour_names)
    assert check_plan(plan) == ()
    assert lvs(plan, circuit) == ()
