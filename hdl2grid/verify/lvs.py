"""Layout versus schematic: the drivers read from a plan's tiles against those that its circuit lists.

Stack by stack (by the gate's name) and pixel by pixel. The order of toggles in a stack is free. What is read
from the tiles comes from `plan.extract` alone, which never sees the circuit.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from hdl2grid.base.errors import Finding
from hdl2grid.circuit.model import Circuit, Stack
from hdl2grid.plan.extract import Extraction, PlacedStack, extract
from hdl2grid.plan.model import Device, Plan

Drivers = tuple[str, ...]


def compare(plan: Plan, circuit: Circuit, extraction: Extraction | None = None) -> tuple[Finding, ...]:
    """Every difference between a plan (that keeps the rules of devices) and a circuit; empty when there is
    none.

    Compares sources and their settings, stacks (function, bits, drivers of each toggle and of the strobe),
    pixels (lit, drivers), and, where the circuit has `levels`, the plan's signals.
    """
    reading = _Reading(plan, extraction or extract(plan))
    return (
        *_compare_sources(reading, circuit),
        *_compare_stacks(reading, circuit),
        *_compare_pixels(reading, circuit),
        *_compare_signals(reading, circuit),
    )


class _Reading:
    """Names in the place of a plan's device numbers."""

    def __init__(self, plan: Plan, extraction: Extraction) -> None:
        self.plan = plan
        self.extraction = extraction

    def net_drivers(self, nets: tuple[int, ...], but: int = -1) -> Drivers:
        """The drivers whose pulses get through."""
        return tuple(sorted(self.plan.devices[d].label for d in self.extraction.drivers_through(nets, but)))

    def drivers(self, device: int) -> Drivers:
        return self.net_drivers(self.extraction.device_nets[device], but=device)

    def devices(self, *kinds: str) -> Iterator[tuple[int, Device]]:
        return ((i, d) for i, d in enumerate(self.plan.devices) if d.kind in kinds)


def _listed(drivers: Drivers) -> str:
    return ", ".join(drivers) if drivers else "nothing"


def _compare_sources(reading: _Reading, circuit: Circuit) -> Iterator[Finding]:
    placed = {d.name: (i, d) for i, d in reading.devices("ticker", "button", "switch")}
    for source in circuit.sources:
        if source.name not in placed:
            yield Finding("V010", f"the {source.kind} is not in the plan", subject=source.name)
            continue
        i, device = placed.pop(source.name)
        tile = (device.x, device.y)
        for field in ("kind", "period_s", "running", "on"):
            wanted, found = getattr(source, field), getattr(device, field)
            if wanted != found:
                what = f"{field} is {found} in the plan and {wanted} in the circuit"
                yield Finding("V012", what, tile, subject=source.name)
        others = reading.drivers(i) if device.kind == "ticker" else ()
        if others:
            yield Finding("V013", f"pulses of {_listed(others)} reach it", tile, subject=source.name)
    for name, (_, device) in placed.items():
        yield Finding("V011", "the source is not in the circuit", (device.x, device.y), subject=name)
    for _, device in reading.devices("delay"):
        yield Finding("V011", "a delay is not in the circuit", (device.x, device.y))


def _compare_stacks(reading: _Reading, circuit: Circuit) -> Iterator[Finding]:
    placed = {reading.plan.devices[s.gate].name: s for s in reading.extraction.stacks}
    for stack in circuit.stacks:
        if stack.name not in placed:
            yield Finding("V010", "the stack is not in the plan", subject=stack.name)
            continue
        yield from _compare_stack(reading, placed.pop(stack.name), stack)
    for name, extra in placed.items():
        gate = reading.plan.devices[extra.gate]
        yield Finding("V011", "the stack is not in the circuit", (gate.x, gate.y), subject=name)


def _compare_stack(reading: _Reading, placed: PlacedStack, stack: Stack) -> Iterator[Finding]:
    gate = reading.plan.devices[placed.gate]
    tile = (gate.x, gate.y)
    if gate.function != stack.function:
        what = f"the function is {gate.function} in the plan and {stack.function} in the circuit"
        yield Finding("V012", what, tile, subject=stack.name)
    wanted = Counter((t.bit, t.drivers) for t in stack.toggles)
    unmatched = []
    for toggle in placed.toggles:
        device = reading.plan.devices[toggle]
        found = (device.bit or 0, reading.drivers(toggle))
        if wanted[found] > 0:
            wanted[found] -= 1
        else:
            unmatched.append((device, found))
    rest = list(wanted.elements())
    for i, (device, (bit, drivers)) in enumerate(unmatched):
        listed = f"; the circuit lists {rest[i][0]} driven by {_listed(rest[i][1])}" if i < len(rest) else ""
        what = f"a toggle placed as {bit} and driven by {_listed(drivers)} is not in the circuit{listed}"
        yield Finding("V013", what, (device.x, device.y), subject=stack.name)
    for bit, drivers in rest[len(unmatched) :]:
        what = f"a toggle placed as {bit} and driven by {_listed(drivers)} is not in the plan"
        yield Finding("V013", what, tile, subject=stack.name)
    yield from _compare_strobe(reading, placed, stack, tile)


def _compare_strobe(reading: _Reading, placed: PlacedStack, stack: Stack, tile: tuple[int, int]) -> Iterator[Finding]:
    if (placed.strobe is None) != (stack.strobe is None):
        where = "the circuit" if placed.strobe is None else "the plan"
        yield Finding("V013", f"the stack has a strobe in {where} only", tile, subject=stack.name)
    elif placed.strobe is not None:
        found = reading.drivers(placed.strobe)
        if found != stack.strobe:
            device = reading.plan.devices[placed.strobe]
            what = f"the strobe is driven by {_listed(found)}, not by {_listed(stack.strobe or ())}"
            yield Finding("V013", what, (device.x, device.y), subject=stack.name)


def _compare_pixels(reading: _Reading, circuit: Circuit) -> Iterator[Finding]:
    wanted = {pixel.signal: pixel for pixel in circuit.pixels}
    shown: set[str] = set()
    for i, device in reading.devices("pixel"):
        tile = (device.x, device.y)
        signal = device.signal or ""
        pixel = wanted.get(signal)
        shown.add(signal)
        if pixel is None:
            yield Finding("V011", "the pixel is not in the circuit", tile, subject=signal)
            continue
        if device.lit != pixel.lit:
            words = ("dark", "lit")
            what = f"the pixel is {words[bool(device.lit)]} in the plan and {words[pixel.lit]} in the circuit"
            yield Finding("V012", what, tile, subject=signal)
        found = reading.drivers(i)
        if found != pixel.drivers:
            what = f"the pixel is driven by {_listed(found)}, not by {_listed(pixel.drivers)}"
            yield Finding("V013", what, tile, subject=signal)
    for signal in wanted:
        if signal not in shown:
            yield Finding("V010", "no pixel shows it", subject=signal)


def _compare_signals(reading: _Reading, circuit: Circuit) -> Iterator[Finding]:
    levels = {level.signal: level for level in circuit.levels}
    if not levels:
        return
    for tap in reading.plan.signals:
        level = levels.get(tap.signal)
        tile = (tap.x, tap.y)
        if level is None:
            yield Finding("V011", "the signal is not in the circuit", tile, tap.colour, tap.signal)
            continue
        if tap.initial != level.initial:
            what = f"the signal starts at {tap.initial} in the plan and at {level.initial} in the circuit"
            yield Finding("V012", what, tile, tap.colour, tap.signal)
        colour = reading.plan.colours.index(tap.colour)
        net = reading.extraction.net_at(tap.x, tap.y, colour)
        found = reading.net_drivers(() if net is None else (net,))
        if found != level.drivers:
            what = f"the signal is read off {_listed(found)}, not off {_listed(level.drivers)}"
            yield Finding("V013", what, tile, tap.colour, tap.signal)
