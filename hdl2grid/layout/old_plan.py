"""An old plan as layout near it needs it: where everything stands, and which nets lie where."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from hdl2grid.circuit.model import Circuit
from hdl2grid.layout.arrays import ALONG_X, ALONG_Y, OTHER
from hdl2grid.plan.extract import Extraction, Net, extract
from hdl2grid.plan.model import Plan
from hdl2grid.plan.read_circuit import circuit_of

Tile = tuple[int, int]
Drivers = frozenset[str]


@dataclass(frozen=True)
class OldNet:
    """A net of the old plan: its drivers by name, its colour's number, and what it does on each of its tiles."""

    drivers: Drivers
    colour: int
    ways: dict[Tile, int]


@dataclass(frozen=True)
class OldStack:
    """Tiles of a stack: its gate, and its toggles, lowest first, with the drivers of each."""

    gate: Tile
    toggles: tuple[tuple[Tile, Drivers, int], ...]
    strobe: Tile | None


@dataclass(frozen=True)
class OldPlan:
    """`sources` and `stacks` by their names in the old plan; `pixels` are (tile, signal)."""

    plan: Plan
    circuit: Circuit
    sources: dict[str, Tile]
    stacks: dict[str, OldStack]
    pixels: tuple[tuple[Tile, str], ...]
    nets: tuple[OldNet, ...]
    nets_on: dict[Tile, tuple[int, ...]]


def read_old(plan: Plan) -> OldPlan:
    """Reads a plan from its tiles. The plan must keep the rules of devices."""
    found = extract(plan)
    circuit = circuit_of(plan, found)
    devices = plan.devices
    names = [device.label for device in devices]
    at = [(device.x, device.y) for device in devices]
    nets_on = {at[i]: nets for i, nets in enumerate(found.device_nets) if nets}

    def drivers(device: int) -> Drivers:
        return frozenset(names[d] for d in found.drivers_through(found.device_nets[device], device))

    stacks = {
        names[s.gate]: OldStack(
            at[s.gate],
            tuple((at[t], drivers(t), devices[t].bit or 0) for t in s.toggles),
            None if s.strobe is None else at[s.strobe],
        )
        for s in found.stacks
    }
    return OldPlan(
        plan=plan,
        circuit=circuit,
        sources={names[i]: at[i] for i, d in enumerate(devices) if d.kind in ("ticker", "button", "switch")},
        stacks=stacks,
        pixels=tuple(((d.x, d.y), d.signal or "") for d in devices if d.kind == "pixel"),
        nets=tuple(_old_net(net, names, found, set(at)) for net in found.nets),
        nets_on=nets_on,
    )


def joined_nets(plan: Plan) -> tuple[tuple[str, ...], ...]:
    """The drivers of each net of a plan, if there is a driver that is on nets with different drivers; else nothing."""
    nets = dict.fromkeys(tuple(sorted(plan.devices[d].label for d in net.drivers)) for net in extract(plan).nets)
    counts = Counter(driver for net in nets for driver in net)
    return tuple(nets) if any(count > 1 for count in counts.values()) else ()


def _old_net(net: Net, names: list[str], found: Extraction, devices: set[Tile]) -> OldNet:
    mine = {(x, y): half for x, y, half in net.places}
    ways: dict[Tile, int] = {}
    crossed = {(x, y) for x, y, half in net.places if half}
    for (x, y), half in mine.items():
        if half:
            ways[x, y] = ALONG_X if half == "we" else ALONG_Y
            continue
        sides = [(x + 1, y), (x, y + 1), (x - 1, y), (x, y - 1)]
        mask = 0
        for d, side in enumerate(sides):
            if side in mine and (side not in crossed or (mine[side] == "we") == (d % 2 == 0)):
                mask |= 1 << d
        straight = {0b0101: ALONG_X, 0b1010: ALONG_Y}
        ways[x, y] = OTHER if (x, y) in devices else straight.get(mask, OTHER)
    return OldNet(frozenset(names[d] for d in net.drivers), net.colour, ways)
