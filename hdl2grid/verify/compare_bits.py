"""Which bit of a machine shows which bit of its design."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Protocol

import numpy as np

from hdl2grid.base.errors import Finding, nearest
from hdl2grid.circuit.model import Circuit
from hdl2grid.logic.model import Logic
from hdl2grid.plan.model import Plan
from hdl2grid.sim.engine import Bits
from hdl2grid.sim.pulse_network import Network, network_from_circuit, network_from_plan
from hdl2grid.verify.verdict import Difference


class Session(Protocol):
    """A design between two events: `hdl2grid.verify.hdl.HdlSession`."""

    def state(self) -> tuple[int, ...]: ...
    def restore(self, snapshot: tuple[int, ...]) -> None: ...
    def apply(self, event: str) -> None: ...
    def outputs(self) -> tuple[int, ...]: ...
    def registers(self) -> tuple[int, ...]: ...


def network_of(machine: Plan | Circuit | Network) -> Network:
    """The network of whatever can be played."""
    if isinstance(machine, Plan):
        return network_from_plan(machine)
    return network_from_circuit(machine) if isinstance(machine, Circuit) else machine


class Comparison:
    """The elements of a network that show bits of a design, and where those bits stand in what a session says.

    Every pixel is compared, and every probe that is named like an output or a register. `findings` tells what
    cannot be compared: a pixel or probe that shows no bit of the design, an output that no pixel shows.
    """

    def __init__(self, network: Network, logic: Logic, plan: Plan | None = None) -> None:
        self._outputs = {bit.name: i for i, bit in enumerate(logic.outputs)}
        self._registers = {bit.name: i for i, bit in enumerate(logic.registers)}
        pixels = [device for device in plan.devices if device.kind == "pixel"] if plan else []
        tiles = {i: (device.x, device.y) for i, device in enumerate(pixels)}
        self._entries: list[tuple[int, int, str, tuple[int, int] | None]] = []
        num_outputs = len(logic.outputs)
        findings: list[Finding] = []
        unknown: set[str] = set()
        for i, pixel in enumerate(network.pixels):
            place = self._outputs.get(pixel.signal)
            if place is None:
                if pixel.signal in unknown:
                    continue
                unknown.add(pixel.signal)
                hint = nearest(pixel.signal, self._outputs)
                what = "a pixel shows a bit that is no output of the design"
                findings.append(Finding("V020", what, tiles.get(i), subject=pixel.signal, hint=hint))
            else:
                self._entries.append((network.first_pixel + i, place, pixel.signal, tiles.get(i)))
        for i, probe in enumerate(network.probes):
            places = [self._outputs.get(probe.signal)]
            register = self._registers.get(probe.signal)
            places.append(None if register is None else num_outputs + register)
            if places == [None, None]:
                what = "a signal is named like no output and no register of the design"
                findings.append(Finding("V020", what, subject=probe.signal))
            self._entries += [(network.first_probe + i, p, probe.signal, None) for p in places if p is not None]
        shown = {pixel.signal for pixel in network.pixels}
        findings += [
            Finding("V021", "no pixel shows this output", subject=bit.name)
            for bit in logic.outputs
            if bit.name not in shown
        ]
        self.findings = tuple(findings)
        read = {probe.signal for probe in network.probes}
        self.read = tuple(name for name in self._registers if name in read)
        self.unread = tuple(name for name in self._registers if name not in read)
        self._elements = np.array([entry[0] for entry in self._entries], dtype=np.int64)
        self._places = np.array([entry[1] for entry in self._entries], dtype=np.int64)

    def differences(self, bits: Bits, session: Session) -> tuple[Difference, ...]:
        """What the machine shows otherwise than the design; `bits` are an engine's."""
        values = np.array((*session.outputs(), *session.registers()), dtype=np.uint8)
        wrong = np.flatnonzero(bits[self._elements] != values[self._places])
        return tuple(self._told(wrong.tolist(), bits, values))

    def _told(self, wrong: list[int], bits: Bits, values: Any) -> Iterator[Difference]:
        for i in wrong:
            element, place, signal, tile = self._entries[i]
            yield Difference(signal, int(values[place]), int(bits[element]), tile)


def hdl_events(logic: Logic) -> frozenset[str]:
    """The events that a session knows; any other source of a machine must do nothing."""
    reset = ("reset",) if logic.has_reset else ()
    return frozenset((*logic.domains, *reset, *(bit.name for bit in logic.inputs)))
