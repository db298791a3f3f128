"""The layout rules: one function a rule, all findings in one list, each with its tile.

`check_devices` asks only what a machine needs to be played at all; `check_plan` asks everything. The rules
are told in docs/grid-model.md; `hdl2grid/base/messages/R.toml` says what to do about each.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from hdl2grid.base.errors import Finding
from hdl2grid.plan.extract import Extraction, Net, extract
from hdl2grid.plan.model import Device, Plan

Tile = tuple[int, int]


def check_plan(plan: Plan, extraction: Extraction | None = None) -> tuple[Finding, ...]:
    """Everything that breaks a rule, in order of rule and tile; empty when the plan is fit to be laid.

    Where strokes or devices leave the grid, only that and the rules of devices are looked at.
    """
    found = [*check_devices(plan), *_strobes_over_several(plan)]
    if _escapes(found):
        return _sorted(found)
    extraction = extraction or extract(plan)
    found += _crossovers(plan)
    for net in extraction.nets:
        found += _net_findings(plan, net, extraction)
    found += _cancelling(plan, extraction)
    found += _taps(plan, extraction)
    return _sorted(found)


def check_devices(plan: Plan) -> tuple[Finding, ...]:
    """The rules without which a plan cannot even be played: grid, shared tiles, stacks, delays."""
    found = [*_outside(plan), *_shared_tiles(plan), *_twin_names(plan), *_stacks(plan), *_delays(plan)]
    return _sorted(found)


def _escapes(found: list[Finding]) -> bool:
    return any(finding.code in ("R001", "R003") for finding in found)


def _sorted(found: list[Finding]) -> tuple[Finding, ...]:
    def key(finding: Finding) -> tuple[str, Tile, str, str]:
        x, y = finding.tile or (-1, -1)
        return finding.code, (y, x), finding.colour or "", finding.what

    return tuple(sorted(dict.fromkeys(found), key=key))


def _tiles(device: Device) -> list[Tile]:
    return [(device.x, device.y)] + ([device.to] if device.to is not None else [])


def _called(device: Device) -> str:
    name = device.name or device.signal
    return f"{device.kind} '{name}'" if name else device.kind


def _outside(plan: Plan) -> Iterator[Finding]:
    """R001 (devices) and R003 (strokes): nothing is outside the grid, strokes are straight."""

    def inside(x: int, y: int) -> bool:
        return 0 <= x < plan.width and 0 <= y < plan.height

    for device in plan.devices:
        for tile in _tiles(device):
            if not inside(*tile):
                what = f"the {_called(device)} is outside the grid of {plan.width} x {plan.height}"
                yield Finding("R001", what, tile)
    if len(plan.wires) != len(plan.colours):
        yield Finding("R003", f"{len(plan.wires)} lists of strokes for {len(plan.colours)} colours")
    for colour, strokes in zip(plan.colours, plan.wires, strict=False):
        for x0, y0, x1, y1 in strokes:
            if not inside(x0, y0) or not inside(x1, y1):
                what = f"the stroke ({x0},{y0}) to ({x1},{y1}) leaves the grid of {plan.width} x {plan.height}"
                yield Finding("R003", what, (x0, y0), colour)
            elif x0 != x1 and y0 != y1:
                what = f"the stroke ({x0},{y0}) to ({x1},{y1}) is neither horizontal nor vertical"
                yield Finding("R003", what, (x0, y0), colour)


def _shared_tiles(plan: Plan) -> Iterator[Finding]:
    """R002: a tile holds at most one device."""
    standing: dict[Tile, Device] = {}
    for device in plan.devices:
        for tile in _tiles(device):
            if tile in standing:
                what = f"the {_called(device)} and the {_called(standing[tile])} share a tile"
                yield Finding("R002", what, tile)
            standing.setdefault(tile, device)


def _twin_names(plan: Plan) -> Iterator[Finding]:
    """R017: names of gates and sources are unique."""
    seen: set[str] = set()
    for device in plan.devices:
        if device.name is not None and device.name in seen:
            yield Finding("R017", f"the name '{device.name}' stands twice", (device.x, device.y))
        if device.name is not None:
            seen.add(device.name)


def _stacks(plan: Plan) -> Iterator[Finding]:
    """R004, R005, R006: a stack is a gate, toggles right above it, and one strobe on top or none."""
    kinds = {(d.x, d.y): d.kind for d in plan.devices}
    for device in plan.devices:
        x, y = tile = (device.x, device.y)
        below = kinds.get((x, y + 1), "nothing")
        if device.kind == "gate" and kinds.get((x, y - 1)) != "toggle":
            yield Finding("R004", f"the {_called(device)} has no toggle right above it", tile)
        elif device.kind == "toggle" and below not in ("gate", "toggle"):
            yield Finding("R005", f"a toggle stands on {below}, not on a gate or a toggle", tile)
        elif device.kind == "strobe" and below != "toggle":
            yield Finding("R006", f"a strobe stands on {below}, not on a toggle", tile)


def _strobes_over_several(plan: Plan) -> Iterator[Finding]:
    """R007: a strobe over several toggles makes random events, which no plan of logic has."""
    kinds = {(d.x, d.y): d.kind for d in plan.devices}
    for device in plan.devices:
        x, y = device.x, device.y
        if device.kind == "strobe" and kinds.get((x, y + 1)) == kinds.get((x, y + 2)) == "toggle":
            yield Finding("R007", "a strobe over several toggles emits at random", (x, y))


def _delays(plan: Plan) -> Iterator[Finding]:
    """R008: a delay's two tiles are in a straight line with no device between them."""
    standing = {tile: d for d in plan.devices for tile in _tiles(d)}
    for device in plan.devices:
        if device.to is None:
            continue
        (x0, y0), (x1, y1) = (device.x, device.y), device.to
        if (x0 != x1) == (y0 != y1):
            yield Finding("R008", f"a delay from ({x0},{y0}) to ({x1},{y1}) is not straight", (x0, y0))
            continue
        between = [
            (x, y)
            for x in range(min(x0, x1), max(x0, x1) + 1)
            for y in range(min(y0, y1), max(y0, y1) + 1)
            if (x, y) not in ((x0, y0), (x1, y1)) and (x, y) in standing
        ]
        for tile in between:
            what = f"the {_called(standing[tile])} stands between the tiles of a delay"
            yield Finding("R008", what, tile)


def _crossovers(plan: Plan) -> Iterator[Finding]:
    """R009, R010: every wire of every colour passes a crossover straight, and at least one does."""
    wired = [_wired_tiles(plan, colour) for colour in range(len(plan.colours))]
    for device in plan.devices:
        if device.kind != "crossover":
            continue
        x, y = device.x, device.y
        passed = False
        for colour, tiles in zip(plan.colours, wired, strict=True):
            if (x, y) not in tiles:
                continue
            passed = True
            axes = [("west", (x - 1, y), "east", (x + 1, y)), ("north", (x, y - 1), "south", (x, y + 1))]
            ends = [(a, ta in tiles, b, tb in tiles) for a, ta, b, tb in axes]
            if not any(has_a or has_b for _, has_a, _, has_b in ends):
                yield Finding("R009", "wire on a crossover goes on in no direction", (x, y), colour)
            for a, has_a, b, has_b in ends:
                if has_a != has_b:
                    come, miss = (a, b) if has_a else (b, a)
                    what = f"wire enters a crossover from the {come} and does not go on to the {miss}"
                    yield Finding("R009", what, (x, y), colour)
        if not passed:
            yield Finding("R010", "nothing passes this crossover", (x, y))


def _wired_tiles(plan: Plan, colour: int) -> set[Tile]:
    tiles: set[Tile] = set()
    for x0, y0, x1, y1 in plan.wires[colour]:
        for x in range(min(x0, x1), max(x0, x1) + 1):
            tiles.update((x, y) for y in range(min(y0, y1), max(y0, y1) + 1))
    return tiles


def _net_findings(plan: Plan, net: Net, extraction: Extraction) -> Iterator[Finding]:
    """R011, R012, R013, R014: what one net must be."""
    colour = plan.colours[net.colour]
    tile = net.places[0][:2]
    size = f"a net of {len(net.places)} tile{'s' if len(net.places) > 1 else ''}"
    if not net.drivers:
        yield Finding("R011", f"{size} has no driver", tile, colour)
    if not net.sinks:
        drivers = ", ".join(_called(plan.devices[d]) for d in net.drivers)
        yield Finding("R012", f"{size} has no sink" + (f" (driver: {drivers})" if drivers else ""), tile, colour)
    if net.drivers and net.sinks:
        yield from _dead_ends(plan, net, extraction)
    for sink in net.sinks:
        device = plan.devices[sink]
        if device.kind == "ticker":
            others = ", ".join(_called(plan.devices[d]) for d in net.drivers if d != sink)
            what = f"pulses of the {others} stop the {_called(device)}"
            yield Finding("R014", what, (device.x, device.y), colour)


def _dead_ends(plan: Plan, net: Net, extraction: Extraction) -> Iterator[Finding]:
    """R013: wire does not end at nothing."""
    used = {tile for i in (*net.drivers, *net.sinks) for tile in _tiles(plan.devices[i])}
    for x, y, half in net.places:
        if half or (x, y) in used:
            continue
        beside = [((x - 1, y), "we"), ((x + 1, y), "we"), ((x, y - 1), "ns"), ((x, y + 1), "ns")]
        neighbours = sum(
            1
            for (nx, ny), axis in beside
            if not extraction.places.get((nx, ny, net.colour), {}).keys().isdisjoint(("", axis))
        )
        if neighbours < 2:
            yield Finding("R013", "wire ends at nothing", (x, y), plan.colours[net.colour])


def _cancelling(plan: Plan, extraction: Extraction) -> Iterator[Finding]:
    """R015: a driver reaches each sink by an odd number of nets."""
    for i, device in enumerate(plan.devices):
        if device.kind not in ("toggle", "pixel", "strobe"):
            continue
        reached = Counter(d for net in extraction.device_nets[i] for d in extraction.nets[net].drivers)
        for driver, times in sorted(reached.items()):
            if times % 2 == 0:
                what = f"{times} nets of the {_called(plan.devices[driver])} cancel at this {device.kind}"
                yield Finding("R015", what, (device.x, device.y))


def _taps(plan: Plan, extraction: Extraction) -> Iterator[Finding]:
    """R016: a signal is read off one net."""
    for tap in plan.signals:
        known = tap.colour in plan.colours
        if not known or extraction.net_at(tap.x, tap.y, plan.colours.index(tap.colour)) is None:
            what = f"the signal '{tap.signal}' is read where no single {tap.colour} net is"
            yield Finding("R016", what, (tap.x, tap.y), tap.colour)
