"""The circuit that a plan's tiles make: stacks by their gates' names, and the drivers of every toggle."""

from __future__ import annotations

from hdl2grid.circuit.model import Circuit, Origin, Pixel, Source, Stack, Toggle
from hdl2grid.plan.extract import SOURCE_KINDS, Extraction, extract
from hdl2grid.plan.model import Plan


def circuit_of(plan: Plan, extraction: Extraction | None = None) -> Circuit:
    """The circuit read from the tiles, toggles lowest first. What a circuit cannot hold is left out: delays, and the
    origin of stacks. Where several pixels show a bit, the first one stands for it."""
    found = extraction or extract(plan)
    devices = plan.devices
    names = [device.label for device in devices]

    def drivers(device: int) -> tuple[str, ...]:
        return tuple(sorted(names[d] for d in found.drivers_through(found.device_nets[device], device)))

    stacks = tuple(
        Stack(
            names[placed.gate],
            devices[placed.gate].function or "",
            tuple(Toggle(devices[t].bit or 0, drivers(t)) for t in placed.toggles),
            None if placed.strobe is None else drivers(placed.strobe),
        )
        for placed in found.stacks
    )
    pixels: dict[str, Pixel] = {}
    for i, device in enumerate(devices):
        if device.kind == "pixel" and device.signal:
            pixels.setdefault(device.signal, Pixel(device.signal, bool(device.lit), drivers(i)))
    sources = tuple(
        Source(d.kind, name, d.period_s, d.running, d.on)
        for d, name in zip(devices, names, strict=True)
        if d.kind in SOURCE_KINDS
    )
    return Circuit(plan.name, sources, stacks, tuple(pixels.values()), tuple(Origin("", s.name) for s in stacks))
