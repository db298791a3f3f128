"""Extraction: what is connected to what, read from the tiles of a plan and from nothing else.

Two halves of a crossover are two places: west-east and north-south. Everywhere else a tile is one place a
colour. Places of one colour that touch are joined by union-find (R. E. Tarjan, Efficiency of a good but not
linear set union algorithm, J. ACM 22, 1975).
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numba
import numpy as np
import numpy.typing as npt

from hdl2grid.plan.model import Plan

Place = tuple[int, int, str]
"""x, y, and "" or the half of a crossover: "we" (west-east) or "ns" (north-south)."""

_Ints = npt.NDArray[np.int64]

SOURCE_KINDS = ("ticker", "button", "switch")


@dataclass(frozen=True)
class Net:
    """One connected set of places in one colour.

    `drivers` and `sinks` index `plan.devices`, ascending. A delay is a driver by its out tile and a sink by
    its in tile; a ticker is a driver, and a sink too where the net has another driver.
    """

    colour: int
    places: tuple[Place, ...]
    drivers: tuple[int, ...]
    sinks: tuple[int, ...]


@dataclass(frozen=True)
class PlacedStack:
    """A gate and what stands on it, as indices of `plan.devices`; toggles lowest first."""

    gate: int
    toggles: tuple[int, ...]
    strobe: int | None


@dataclass(frozen=True)
class Extraction:
    """All that is connected. Nets are in order of colour and then of their first tile, row by row.

    `device_nets[i]` are the nets on the tile of `plan.devices[i]` (of a delay: on its in tile; none for a
    crossover), ascending; `out_nets[i]` those on a delay's out tile. A half of a crossover that no neighbour
    points to is no place of any net.
    """

    nets: tuple[Net, ...]
    stacks: tuple[PlacedStack, ...]
    device_nets: tuple[tuple[int, ...], ...]
    out_nets: dict[int, tuple[int, ...]]
    places: dict[tuple[int, int, int], dict[str, int]]
    """(x, y, colour) -> half -> net"""

    def net_at(self, x: int, y: int, colour: int, half: str | None = None) -> int | None:
        """The net of a colour on a tile; None where there is no wire, or where two pass and no half is
        named."""
        halves = self.places.get((x, y, colour), {})
        if half is None:
            return next(iter(halves.values())) if len(halves) == 1 else None
        return halves.get(half)

    def drivers_through(self, nets: Iterable[int], but: int = -1) -> tuple[int, ...]:
        """The drivers, as indices of `plan.devices`, whose pulses get through to a tile with these nets: those that an
        odd number of the nets bear; without `but`, the device on the tile."""
        counts = Counter(d for net in nets for d in self.nets[net].drivers if d != but)
        return tuple(sorted(d for d, times in counts.items() if times % 2))


def extract(plan: Plan) -> Extraction:
    """Reads a plan's tiles; a plan that breaks layout rules too, as far as its strokes are in the grid."""
    keys, crossing = _places(plan)
    labels, degrees = _connect(keys, crossing, plan)
    sites = _sites(plan)
    members: dict[int, list[int]] = {}
    for index, label in enumerate(labels.tolist()):
        if degrees[index] or not crossing[index]:
            members.setdefault(label, []).append(index)
    places: dict[tuple[int, int, int], dict[str, int]] = {}
    nets: list[Net] = []
    decoded = _decode(keys, crossing, plan)
    for net, indices in enumerate(members.values()):
        touching: list[tuple[int, bool]] = []
        for index in indices:
            x, y, colour, half = decoded[index]
            places.setdefault((x, y, colour), {})[half] = net
            touching += sites.get((x, y), ())
        colour = decoded[indices[0]][2]
        spots = tuple((decoded[i][0], decoded[i][1], decoded[i][3]) for i in indices)
        nets.append(_net(plan, colour, spots, touching))
    return Extraction(
        nets=tuple(nets),
        stacks=_stacks(plan),
        device_nets=tuple(() if d.kind == "crossover" else _nets_on(places, d.x, d.y, plan) for d in plan.devices),
        out_nets={i: _nets_on(places, *d.to, plan) for i, d in enumerate(plan.devices) if d.to is not None},
        places=places,
    )


def _places(plan: Plan) -> tuple[_Ints, npt.NDArray[np.bool_]]:
    """The ascending keys of all places, and whether each is a half of a crossover.

    A key is ((colour * height + y) * width + x) * 2, plus 1 for the north-south half.
    """
    height, width = plan.height, plan.width
    parts: list[_Ints] = [np.empty(0, dtype=np.int64)]
    for colour, strokes in enumerate(plan.wires):
        for x0, y0, x1, y1 in strokes:
            x0, x1, y0, y1 = min(x0, x1), max(x0, x1), min(y0, y1), max(y0, y1)
            step = 1 if y0 == y1 else width
            start = (colour * height + y0) * width + x0
            parts.append(start + step * np.arange(x1 - x0 + y1 - y0 + 1, dtype=np.int64))
    tiles = np.unique(np.concatenate(parts))
    at = np.array(sorted({d.y * width + d.x for d in plan.devices if d.kind == "crossover"}), dtype=np.int64)
    crossed = np.isin(tiles % (width * height), at)
    keys = np.concatenate([tiles * 2, tiles[crossed] * 2 + 1])
    order = np.argsort(keys, kind="stable")
    return keys[order], np.concatenate([crossed, np.ones(int(crossed.sum()), dtype=np.bool_)])[order]


def _connect(keys: _Ints, crossing: npt.NDArray[np.bool_], plan: Plan) -> tuple[_Ints, _Ints]:
    """For each place the smallest place that it is connected to, and its number of neighbours."""
    if not len(keys):
        return keys, keys
    tiles = keys >> 1
    column = tiles % plan.width
    row = tiles // plan.width % plan.height
    west_east = np.flatnonzero((keys & 1 == 0) & (column + 1 < plan.width))
    a, b = _joined(keys, keys[west_east] // 2 * 2 + 2)
    first, second = [west_east[a]], [b]
    north_south = np.flatnonzero(((keys & 1 == 1) | ~crossing) & (row + 1 < plan.height))
    below = (tiles[north_south] + plan.width) * 2
    for shift in (0, 1):
        a, b = _joined(keys, below + shift)
        fits = crossing[b] == bool(shift)
        first.append(north_south[a[fits]])
        second.append(b[fits])
    left, right = np.concatenate(first), np.concatenate(second)
    degrees = np.bincount(left, minlength=len(keys)) + np.bincount(right, minlength=len(keys))
    return _union(len(keys), left, right), degrees


def _joined(keys: _Ints, wanted: _Ints) -> tuple[_Ints, _Ints]:
    """Which of `wanted` are among the ascending `keys`: their positions in `wanted` and in `keys`."""
    at = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    found = np.flatnonzero(keys[at] == wanted)
    return found, at[found]


@numba.njit(cache=True)
def _union(count: int, left: _Ints, right: _Ints) -> Any:
    parent = np.arange(count)
    for i in range(len(left)):
        a, b = left[i], right[i]
        while parent[a] != a:
            parent[a] = parent[parent[a]]
            a = parent[a]
        while parent[b] != b:
            parent[b] = parent[parent[b]]
            b = parent[b]
        if a < b:
            parent[b] = a
        elif b < a:
            parent[a] = b
    for i in range(count):
        parent[i] = parent[parent[i]]
    return parent


def _decode(keys: _Ints, crossing: npt.NDArray[np.bool_], plan: Plan) -> list[tuple[int, int, int, str]]:
    tiles = keys >> 1
    x = (tiles % plan.width).tolist()
    y = (tiles // plan.width % plan.height).tolist()
    colour = (tiles // (plan.width * plan.height)).tolist()
    half = np.where(crossing, np.where(keys & 1 == 1, "ns", "we"), "").tolist()
    return list(zip(x, y, colour, half, strict=True))


def _sites(plan: Plan) -> dict[tuple[int, int], list[tuple[int, bool]]]:
    """The devices on each tile that wire touches, and whether it is the out tile of a delay."""
    sites: dict[tuple[int, int], list[tuple[int, bool]]] = {}
    for i, device in enumerate(plan.devices):
        if device.kind != "crossover":
            sites.setdefault((device.x, device.y), []).append((i, False))
        if device.to is not None:
            sites.setdefault(device.to, []).append((i, True))
    return sites


def _net(plan: Plan, colour: int, places: tuple[Place, ...], touching: Sequence[tuple[int, bool]]) -> Net:
    drivers: set[int] = set()
    sinks: set[int] = set()
    for device, is_out in touching:
        kind = plan.devices[device].kind
        if is_out or kind == "gate" or kind in SOURCE_KINDS:
            drivers.add(device)
        else:
            sinks.add(device)
    if len(drivers) > 1:
        sinks.update(d for d in drivers if plan.devices[d].kind == "ticker")
    return Net(colour, places, tuple(sorted(drivers)), tuple(sorted(sinks)))


def _nets_on(places: dict[tuple[int, int, int], dict[str, int]], x: int, y: int, plan: Plan) -> tuple[int, ...]:
    found = (places.get((x, y, colour), {}) for colour in range(len(plan.colours)))
    return tuple(net for halves in found for net in halves.values())


def _stacks(plan: Plan) -> tuple[PlacedStack, ...]:
    standing = {(d.x, d.y): i for i, d in enumerate(plan.devices) if d.kind in ("toggle", "strobe")}
    stacks: list[PlacedStack] = []
    for gate, device in enumerate(plan.devices):
        if device.kind != "gate":
            continue
        toggles: list[int] = []
        y = device.y - 1
        above = standing.get((device.x, y))
        while above is not None and plan.devices[above].kind == "toggle":
            toggles.append(above)
            y -= 1
            above = standing.get((device.x, y))
        stacks.append(PlacedStack(gate, tuple(toggles), above if toggles else None))
    return tuple(stacks)
