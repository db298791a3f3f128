"""The machine as the simulator sees it: drivers, elements, and which driver hits which element.

Built from a circuit (before it has places) or from the tiles of a plan, so that one engine plays both.

*Drivers* are numbered: the sources, then the stacks, then the out tiles of delays. *Elements* are numbered:
first those with a bit of state that a hit flips (toggles, pixels, probes, sources), then the strobes (one
number a stack, used or not), then the in tiles of delays.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

from hdl2grid.base.errors import InputError, nearest
from hdl2grid.circuit.model import Circuit, Source
from hdl2grid.plan.extract import Extraction, extract
from hdl2grid.plan.model import Device, Plan


@dataclass(frozen=True)
class NetworkStack:
    """One stack: the bits of its toggles as placed, lowest first."""

    name: str
    function: str
    bits: tuple[int, ...]
    strobed: bool


@dataclass(frozen=True)
class Display:
    """A pixel, or a probe that reads the level of an HDL bit off its drivers: `initial` before any event."""

    signal: str
    initial: int


@dataclass(frozen=True)
class Network:
    """A machine ready to play. `hits[d]` are the elements that driver `d` hits each time it emits, ascending.

    An even number of hits by one driver on one toggle, pixel or ticker cancels and is left out, an odd number
    counts once; a strobe is marked once; a delay is started once a hit, so its number stands as often.
    `delays` are in seconds.
    """

    name: str
    sources: tuple[Source, ...]
    stacks: tuple[NetworkStack, ...]
    delays: tuple[float | int, ...]
    pixels: tuple[Display, ...]
    probes: tuple[Display, ...]
    hits: tuple[tuple[int, ...], ...]

    @cached_property
    def first_toggle(self) -> tuple[int, ...]:
        """The element of each stack's lowest toggle; one more entry for the end."""
        starts = [0]
        for stack in self.stacks:
            starts.append(starts[-1] + len(stack.bits))
        return tuple(starts)

    @property
    def first_pixel(self) -> int:
        return self.first_toggle[-1]

    @property
    def first_probe(self) -> int:
        return self.first_pixel + len(self.pixels)

    @property
    def first_source(self) -> int:
        """One element a source: whether a ticker runs or a switch is on; 0 for a button."""
        return self.first_probe + len(self.probes)

    @property
    def first_strobe(self) -> int:
        """Also the number of elements with a bit of state."""
        return self.first_source + len(self.sources)

    @property
    def first_delay(self) -> int:
        return self.first_strobe + len(self.stacks)

    @cached_property
    def initial_bits(self) -> tuple[int, ...]:
        """The bit of each element that has one, before any event."""
        bits = [bit for stack in self.stacks for bit in stack.bits]
        bits += [display.initial for display in (*self.pixels, *self.probes)]
        bits += [int(bool(source.running or source.on)) for source in self.sources]
        return tuple(bits)

    @cached_property
    def is_random(self) -> bool:
        """True when a strobe stands over several toggles: such a stack emits by chance."""
        return any(stack.strobed and len(stack.bits) > 1 for stack in self.stacks)

    @cached_property
    def _drivers(self) -> dict[str, int]:
        return {source.name: i for i, source in enumerate(self.sources)}

    def event(self, name: str) -> int:
        """The driver of the event `name`. Raises InputError V001 when no source is called so."""
        driver = self._drivers.get(name)
        if driver is None:
            hint = nearest(name, self._drivers) or "This machine has no source at all."
            raise InputError("V001", f"no event is called '{name}'", where=self.name, hint=hint)
        return driver

    @property
    def events(self) -> tuple[str, ...]:
        return tuple(source.name for source in self.sources)


@dataclass
class _Wiring:
    """The drivers of every element, each as often as it hits, while a network is being put together."""

    toggles: list[list[int]] = field(default_factory=list)
    pixels: list[list[int]] = field(default_factory=list)
    probes: list[list[int]] = field(default_factory=list)
    sources: list[list[int]] = field(default_factory=list)
    strobes: list[list[int]] = field(default_factory=list)
    delays: list[list[int]] = field(default_factory=list)

    def hits(self, num_drivers: int) -> tuple[tuple[int, ...], ...]:
        hits: list[list[int]] = [[] for _ in range(num_drivers)]
        element = 0
        for drivers in (*self.toggles, *self.pixels, *self.probes, *self.sources):
            for driver, times in Counter(drivers).items():
                if times % 2:
                    hits[driver].append(element)
            element += 1
        for drivers in self.strobes:
            for driver in set(drivers):
                hits[driver].append(element)
            element += 1
        for drivers in self.delays:
            for driver in drivers:
                hits[driver].append(element)
            element += 1
        return tuple(tuple(sorted(elements)) for elements in hits)


def network_from_circuit(circuit: Circuit) -> Network:
    """The network of a circuit that `check_circuit` has passed; its `levels` become the probes."""
    number = {source.name: i for i, source in enumerate(circuit.sources)}
    number.update({stack.name: len(circuit.sources) + i for i, stack in enumerate(circuit.stacks)})

    def numbers(names: Sequence[str]) -> list[int]:
        return [number[name] for name in names]

    wiring = _Wiring(
        toggles=[numbers(toggle.drivers) for stack in circuit.stacks for toggle in stack.toggles],
        pixels=[numbers(pixel.drivers) for pixel in circuit.pixels],
        probes=[numbers(level.drivers) for level in circuit.levels],
        sources=[[i] if source.kind == "switch" else [] for i, source in enumerate(circuit.sources)],
        strobes=[numbers(stack.strobe or ()) for stack in circuit.stacks],
    )
    return Network(
        name=circuit.name,
        sources=circuit.sources,
        stacks=tuple(
            NetworkStack(s.name, s.function, tuple(t.bit for t in s.toggles), s.strobe is not None)
            for s in circuit.stacks
        ),
        delays=(),
        pixels=tuple(Display(p.signal, int(p.lit)) for p in circuit.pixels),
        probes=tuple(Display(level.signal, level.initial) for level in circuit.levels),
        hits=wiring.hits(len(number)),
    )


def network_from_plan(plan: Plan, extraction: Extraction | None = None) -> Network:
    """The network of a plan, from its tiles alone; its `signals` that stand on wire become the probes.

    The devices must stand as the rules of stacks ask (`check_devices`); what other rules forbid plays as the
    model says.
    """
    found = extraction or extract(plan)
    devices = plan.devices
    sources = [i for i, device in enumerate(devices) if device.kind in ("ticker", "button", "switch")]
    delays = [i for i, device in enumerate(devices) if device.kind == "delay"]
    pixels = [i for i, device in enumerate(devices) if device.kind == "pixel"]
    order = [*sources, *(stack.gate for stack in found.stacks), *delays]
    number = {device: i for i, device in enumerate(order)}

    def hitting(device: int) -> list[int]:
        nets = found.device_nets[device]
        return [number[d] for net in nets for d in found.nets[net].drivers if d != device]

    def at_source(device: int) -> list[int]:
        kind = devices[device].kind
        return [number[device]] if kind == "switch" else hitting(device) if kind == "ticker" else []

    taps = [(tap, found.net_at(tap.x, tap.y, plan.colours.index(tap.colour))) for tap in plan.signals]
    read = [(tap, net) for tap, net in taps if net is not None]
    wiring = _Wiring(
        toggles=[hitting(toggle) for stack in found.stacks for toggle in stack.toggles],
        pixels=[hitting(pixel) for pixel in pixels],
        probes=[[number[d] for d in found.nets[net].drivers] for _, net in read],
        sources=[at_source(source) for source in sources],
        strobes=[[] if stack.strobe is None else hitting(stack.strobe) for stack in found.stacks],
        delays=[[number[d] for net in found.device_nets[delay] for d in found.nets[net].drivers] for delay in delays],
    )
    return Network(
        name=plan.name,
        sources=tuple(_source(devices[i]) for i in sources),
        stacks=tuple(
            NetworkStack(
                name=devices[stack.gate].name or "",
                function=devices[stack.gate].function or "",
                bits=tuple(devices[t].bit or 0 for t in stack.toggles),
                strobed=stack.strobe is not None,
            )
            for stack in found.stacks
        ),
        delays=tuple(devices[i].seconds or 0 for i in delays),
        pixels=tuple(Display(devices[i].signal or "", int(bool(devices[i].lit))) for i in pixels),
        probes=tuple(Display(tap.signal, tap.initial) for tap, _ in read),
        hits=wiring.hits(len(order)),
    )


def _source(device: Device) -> Source:
    return Source(device.kind, device.name or "", device.period_s, device.running, device.on)
