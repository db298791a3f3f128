"""The machine on the test bench: tickers are buttons, and each register can be flipped by temporary buttons.

It is played by the compiled engine, which is fast enough to try some hundred mistakes at every look.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cached_property

from hdl2grid.guide.model import Tile
from hdl2grid.guide.spots import Spot, find_button_spot
from hdl2grid.guide.survey import Survey
from hdl2grid.plan.extract import Extraction, extract
from hdl2grid.plan.model import Device, SignalTap
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.pulse_network import Network, NetworkStack, network_from_plan


@dataclass(frozen=True)
class Group:
    """All nets of one register (several colours of the same drivers), each with its place for a button."""

    name: str
    nets: tuple[int, ...]
    spots: tuple[Spot, ...]


@dataclass(frozen=True)
class Fault:
    """A mistake as the machine sees it: connections lost or added, a gate of another function, a toggle of the
    other bit.

    `lost` and `added` are (device, net) pairs of the bench's extraction; `functions` and `bits` replace what
    stands on devices; `what` and `cure` are words.
    """

    what: str
    cure: str
    lost: tuple[tuple[int, int], ...] = ()
    added: tuple[tuple[int, int], ...] = ()
    functions: tuple[tuple[int, str], ...] = ()
    bits: tuple[tuple[int, int], ...] = ()


class Bench:
    """A plan with a button in each ticker's place and temporary buttons on register nets."""

    def __init__(self, survey: Survey) -> None:
        self.survey = survey
        self.groups = tuple(_groups(survey))
        plan = survey.plan
        devices = [
            replace(d, kind="button", period_s=None, running=None) if d.kind == "ticker" else d for d in plan.devices
        ]
        wires = [list(strokes) for strokes in plan.wires]
        self.tile_of: dict[str, Tile] = {d.name or "": (d.x, d.y) for d in plan.devices if d.name}
        for number, group in enumerate(self.groups):
            for place, (net, spot) in enumerate(zip(group.nets, group.spots, strict=True)):
                devices.append(Device("button", *spot.tile, name=_bench_name(number, place)))
                if spot.stub:
                    wires[survey.extraction.nets[net].colour].append(spot.stub)
        taps = [
            SignalTap(f"level {n.index}", n.colour, *_plain_tile(survey, n.index), 0)
            for n in survey.nets
            if _plain_tile(survey, n.index) != (-1, -1)
        ]
        self.plan = replace(plan, devices=tuple(devices), wires=tuple(tuple(w) for w in wires), signals=tuple(taps))
        self.extraction: Extraction = extract(self.plan)
        self.network: Network = network_from_plan(self.plan, self.extraction)

    def presses(self, number: int) -> list[int]:
        """The drivers whose presses flip group `number`."""
        return [self.network.event(_bench_name(number, place)) for place in range(len(self.groups[number].nets))]

    @cached_property
    def sources(self) -> tuple[tuple[str, int], ...]:
        """The machine's own sources, tickers first: name and driver."""
        own = [d for d in self.survey.plan.devices if d.kind in ("ticker", "button", "switch")]
        rank = {"ticker": 0, "switch": 1, "button": 2}
        own.sort(key=lambda d: (rank[d.kind], d.y, d.x))
        return tuple((d.name or "", self.network.event(d.name or "")) for d in own)

    def engine(self, fault: Fault | None = None) -> CompiledEngine:
        """An engine in the first state, with a fault if given."""
        return CompiledEngine(self.network if fault is None else self._faulty(fault))

    def _faulty(self, fault: Fault) -> Network:
        """The network with a fault: only the hits of the drivers that it touches are counted again."""
        network = self.network
        if fault.functions or fault.bits:
            network = replace(network, stacks=self._stacks(fault))
        changed: dict[int, Counter[int]] = {}
        for pairs, sign in ((fault.lost, -1), (fault.added, 1)):
            for device, net in pairs:
                for driver, element in self._joins(device, net):
                    changed.setdefault(driver, Counter(self._hits[driver]))[element] += sign
        if not changed:
            return network
        hits = list(network.hits)
        for driver, counts in changed.items():
            hits[driver] = tuple(sorted(e for e, n in counts.items() if n > 0 and self._is_hit(e, n)))
        return replace(network, hits=tuple(hits))

    def _is_hit(self, element: int, times: int) -> bool:
        return times % 2 == 1 or element >= self.network.first_strobe

    def _stacks(self, fault: Fault) -> tuple[NetworkStack, ...]:
        stacks = list(self.network.stacks)
        functions, bits = dict(fault.functions), dict(fault.bits)
        for number, stack in enumerate(self.extraction.stacks):
            found = stacks[number]
            if stack.gate in functions:
                found = replace(found, function=functions[stack.gate])
            if not bits.keys().isdisjoint(stack.toggles):
                new = tuple(bits.get(t, old) for t, old in zip(stack.toggles, found.bits, strict=True))
                found = replace(found, bits=new)
            stacks[number] = found
        return tuple(stacks)

    def _joins(self, device: int, net: int) -> Iterator[tuple[int, int]]:
        """The (driver, element) hits that stand and fall with a device being on a net."""
        if device in self._driver_of:
            for sink in self.extraction.nets[net].sinks:
                if sink in self._element_of:
                    yield self._driver_of[device], self._element_of[sink]
        elif device in self._element_of:
            for driver in self.extraction.nets[net].drivers:
                yield self._driver_of[driver], self._element_of[device]

    @cached_property
    def _driver_of(self) -> dict[int, int]:
        """The number of each source and stack as a driver, by its device."""
        sources = [i for i, d in enumerate(self.plan.devices) if d.kind in ("button", "switch")]
        order = [*sources, *(stack.gate for stack in self.extraction.stacks), *self.extraction.out_nets]
        return {device: number for number, device in enumerate(order)}

    @cached_property
    def _element_of(self) -> dict[int, int]:
        """The element of each toggle, pixel and strobe, by its device."""
        network = self.network
        toggles = [t for stack in self.extraction.stacks for t in stack.toggles]
        pixels = [i for i, d in enumerate(self.plan.devices) if d.kind == "pixel"]
        elements = {device: number for number, device in enumerate(toggles)}
        elements |= {device: network.first_pixel + number for number, device in enumerate(pixels)}
        for number, stack in enumerate(self.extraction.stacks):
            if stack.strobe is not None:
                elements[stack.strobe] = network.first_strobe + number
        return elements

    @cached_property
    def _hits(self) -> list[Counter[int]]:
        """How often each driver hits each element, before even numbers cancel."""
        counts: list[Counter[int]] = [Counter(hits) for hits in self.network.hits]
        for driver in self._driver_of.values():
            for element in [e for e in counts[driver] if e < self.network.first_probe]:
                del counts[driver][element]
            for element in [e for e in counts[driver] if self.network.first_strobe <= e < self.network.first_delay]:
                del counts[driver][element]
        for net in self.extraction.nets:
            for driver in net.drivers:
                for sink in net.sinks:
                    if sink in self._element_of:
                        counts[self._driver_of[driver]][self._element_of[sink]] += 1
        return counts

    def level_element(self, net: int) -> int | None:
        """The element whose bit is the level of a net, XOR its level in the first state."""
        return self._probe_at.get(f"level {net}")

    @cached_property
    def _probe_at(self) -> dict[str, int]:
        return {p.signal: self.network.first_probe + i for i, p in enumerate(self.network.probes)}


def _bench_name(group: int, place: int) -> str:
    return f"\0bench {group} {place}"


def _plain_tile(survey: Survey, index: int) -> Tile:
    """A tile of a net where no second net of its colour passes; (-1, -1) where there is none."""
    places = survey.extraction.nets[index].places
    return next(((x, y) for x, y, half in places if not half), (-1, -1))


def _groups(survey: Survey) -> Iterable[Group]:
    """The registers that can be flipped by hand: their nets have places for buttons, which touch no other's, and drive
    no strobe."""
    used: list[tuple[str, Spot]] = []
    by_drivers: dict[tuple[int, ...], list[int]] = {}
    for index in survey.order:
        net = survey.nets[index]
        if survey.watched(net):
            by_drivers.setdefault(net.drivers, []).append(index)
    for drivers, nets in by_drivers.items():
        stacks = [survey.stack_of.get(d) for d in drivers]
        if not any(stack is not None and stack.strobe is not None for stack in stacks):
            continue
        if any(survey.nets[n].has_strobe for n in nets):
            continue
        own: list[tuple[str, Spot]] = []
        for net in (survey.nets[n] for n in nets):
            spot = find_button_spot(survey, net, survey.order, [*used, *own])
            if spot is not None:
                own.append((net.colour, spot))
        if len(own) == len(nets):
            used += own
            yield Group(survey.nets[nets[0]].name, tuple(nets), tuple(spot for _, spot in own))
