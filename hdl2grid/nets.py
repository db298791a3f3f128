"""Form nets: from a circuit and its panel to cells, signals and sinks (see `hdl2grid.netlist`)."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise, permutations

from hdl2grid.circuit.model import Circuit, Source, Stack, Toggle
from hdl2grid.floorplan import Floorplan
from hdl2grid.netlist import Cell, CellTile, Netlist, Signal, Sink, Site
from hdl2grid.panel.model import PanelLayout
from hdl2grid.plan.model import Device
from hdl2grid.siting import Frame, frame_of, site_of

MAX_SIGNALS = 4
"""A tile bears at most one net of each of the four colours."""


def spread_toggles(circuit: Circuit) -> Circuit:
    """The circuit with its toggles in an order in which four colours suffice between neighbours.

    Two toggles that touch bear at most MAX_SIGNALS signals together. Where no order does, toggles that never change
    are put between them, with the bit that leaves the gate's function as it is.
    """
    signal = _signal_of(circuit)
    stacks = []
    for stack in circuit.stacks:
        crowds = [frozenset(signal[d] for d in toggle.drivers) for toggle in stack.toggles]
        order = _calm_order(crowds) if _is_crowded(crowds) else list(range(len(crowds)))
        idle = Toggle(1 if stack.function in ("AND", "NAND") else 0, ())
        toggles: list[Toggle] = []
        for place, number in enumerate(order):
            if place and len(crowds[order[place - 1]] | crowds[number]) > MAX_SIGNALS:
                toggles.append(idle)
            toggles.append(stack.toggles[number])
        stacks.append(replace(stack, toggles=tuple(toggles)))
    return replace(circuit, stacks=tuple(stacks))


def pixels_touch(panel: PanelLayout | None) -> bool:
    """Whether pixels of different bits stand side by side, so that they have four colours between them."""
    at = {(p.x, p.y): p.signal for p in panel.pixels} if panel is not None else {}
    return any(at.get((x + dx, y + dy), name) != name for (x, y), name in at.items() for dx, dy in ((1, 0), (0, 1)))


def _is_crowded(crowds: list[frozenset[int]]) -> bool:
    return any(len(a | b) > MAX_SIGNALS for a, b in combinations(crowds, 2))


def _calm_order(crowds: list[frozenset[int]]) -> list[int]:
    """An order with few neighbours that are too many together: the best of all for six toggles at most, else greedy."""

    def clashes(order: list[int]) -> int:
        return sum(len(crowds[a] | crowds[b]) > MAX_SIGNALS for a, b in pairwise(order))

    if len(crowds) <= 6:
        return min((list(order) for order in permutations(range(len(crowds)))), key=clashes)
    left = sorted(range(len(crowds)), key=lambda i: (-len(crowds[i]), i))
    order = [left.pop(0)]
    while left:
        following = min(left, key=lambda i: (len(crowds[order[-1]] | crowds[i]), i))
        left.remove(following)
        order.append(following)
    return order


def _signal_of(circuit: Circuit) -> dict[str, int]:
    """For each driver that is read a number, shared with those that the same sinks list; a ticker shares none."""
    tickers = {source.name for source in circuit.sources if source.kind == "ticker"}
    sinks = [toggle.drivers for stack in circuit.stacks for toggle in stack.toggles]
    sinks += [stack.strobe for stack in circuit.stacks if stack.strobe is not None]
    sinks += [pixel.drivers for pixel in circuit.pixels]
    readers: dict[str, list[int]] = defaultdict(list)
    for number, drivers in enumerate(sinks):
        for driver in drivers:
            readers[driver].append(number)
    numbers: dict[tuple[str, tuple[int, ...]], int] = {}
    alone = {driver: driver if driver in tickers else "" for driver in readers}
    return {driver: numbers.setdefault((alone[driver], tuple(row)), len(numbers)) for driver, row in readers.items()}


def form_nets(circuit: Circuit, panel: PanelLayout | None, floorplan: Floorplan | None = None) -> Netlist:
    """Cells for every stack, source and pixel, and the signals that join them.

    A register and its reset become one cell; an output bit that the panel does not show gets a pixel of its own. The
    sources that the floorplan places by the panel, and the panel's margin, are part of the panel's cell.
    """
    frame = frame_of(floorplan or Floorplan(), panel) if panel is not None and panel.pixels else None
    by_panel = frame.sources if frame is not None else {}
    builder = _Builder(_signal_of(circuit))
    resets = _reset_of(circuit.stacks)
    paired = set(resets.values())
    stacks = {stack.name: stack for stack in circuit.stacks}
    blocks = {stack.name: origin.block for stack, origin in zip(circuit.stacks, circuit.origin, strict=True)}
    for source in circuit.sources:
        if source.name not in by_panel:
            builder.add_source(source)
    for stack in circuit.stacks:
        if stack.name in resets:
            builder.add_register(stack, stacks[resets[stack.name]], blocks[stack.name])
        elif stack.name not in paired:
            builder.add_stack(stack, blocks[stack.name])
    if panel is not None and frame is not None:
        builder.add_panel(circuit, panel, frame)
    builder.add_lone_pixels(circuit)
    return builder.finish(site_of(floorplan, frame, tuple(builder.cells)))


def _reset_of(stacks: tuple[Stack, ...]) -> dict[str, str]:
    """For each register the stack that resets it: strobed, its one toggle on exactly the two stacks' own net."""
    simple = {s.name: s for s in stacks if s.strobe is not None and len(s.toggles) == 1}
    found: dict[str, str] = {}
    used: set[str] = set()
    for stack in stacks:
        drivers = stack.toggles[0].drivers
        if stack.name not in simple or len(drivers) != 2 or stack.name not in drivers:
            continue
        other = drivers[0] if drivers[1] == stack.name else drivers[1]
        if other in simple and not {other, stack.name} & used and other not in found:
            found[other] = stack.name
            used |= {other, stack.name}
    return found


@dataclass
class _Builder:
    signal_of: Mapping[str, int]
    cells: list[Cell] = field(default_factory=list)
    tiles: list[CellTile] = field(default_factory=list)
    driver_tile: dict[str, int] = field(default_factory=dict)
    wants: list[tuple[tuple[int, ...], tuple[str, ...]]] = field(default_factory=list)
    on_panel: dict[str, list[tuple[int, ...]]] = field(default_factory=dict)

    def _tile(self, dx: int, dy: int, device: Device, drivers: tuple[str, ...] | None = None) -> int:
        self.tiles.append(CellTile(len(self.cells), dx, dy, device))
        number = len(self.tiles) - 1
        if drivers:
            self.wants.append(((number,), drivers))
        return number

    def _column(self, stack: Stack, dx: int) -> tuple[list[int], list[int]]:
        """Tiles of one stack in column `dx`, gate lowest; returns all of them and its toggles."""
        height = 1 + len(stack.toggles) + (stack.strobe is not None)
        gate = self._tile(dx, height - 1, Device("gate", 0, 0, name=stack.name, function=stack.function))
        self.driver_tile[stack.name] = gate
        toggles = [
            self._tile(dx, height - 2 - i, Device("toggle", 0, 0, bit=toggle.bit), toggle.drivers)
            for i, toggle in enumerate(stack.toggles)
        ]
        strobe = [] if stack.strobe is None else [self._tile(dx, 0, Device("strobe", 0, 0), stack.strobe)]
        return [gate, *toggles, *strobe], toggles

    def _source(self, dx: int, dy: int, source: Source) -> int:
        device = Device(
            source.kind, 0, 0, name=source.name, period_s=source.period_s, running=source.running, on=source.on
        )
        tile = self._tile(dx, dy, device)
        self.driver_tile[source.name] = tile
        return tile

    def add_source(self, source: Source) -> None:
        tile = self._source(0, 0, source)
        self.cells.append(Cell(source.name, "source", 1, 1, (tile,), False, ()))

    def add_register(self, register: Stack, reset: Stack, block: str) -> None:
        left, _ = self._column(register, 0)
        right, _ = self._column(reset, 1)
        self.cells.append(Cell(register.name, "register", 2, 3, (*left, *right), True, (), block))

    def add_stack(self, stack: Stack, block: str) -> None:
        tiles, toggles = self._column(stack, 0)
        if _is_crowded([frozenset(self.signal_of[d] for d in toggle.drivers) for toggle in stack.toggles]):
            toggles = []  # they stand in the order that spread_toggles has found
        self.cells.append(Cell(stack.name, "stack", 1, len(tiles), tuple(tiles), False, tuple(toggles), block))

    def add_panel(self, circuit: Circuit, panel: PanelLayout, frame: Frame) -> None:
        pixels = {pixel.signal: pixel for pixel in circuit.pixels}
        groups: dict[str, dict[tuple[int, int], int]] = defaultdict(dict)
        numbers = []
        px, py = frame.panel_at
        for place in panel.pixels:
            pixel = pixels[place.signal]
            number = self._tile(px + place.x, py + place.y, Device("pixel", 0, 0, lit=pixel.lit, signal=pixel.signal))
            groups[place.signal][place.x, place.y] = number
            numbers.append(number)
        for source in circuit.sources:
            if source.name in frame.sources:
                numbers.append(self._source(*frame.sources[source.name], source))
        self.cells.append(Cell("panel", "panel", frame.width, frame.height, tuple(numbers), False, ()))
        self.on_panel = {name: _touching(places) for name, places in groups.items()}

    def add_lone_pixels(self, circuit: Circuit) -> None:
        """What every pixel wants; those that are on no panel get a cell of their own."""
        for pixel in circuit.pixels:
            if pixel.signal in self.on_panel:
                for group in self.on_panel[pixel.signal]:
                    if pixel.drivers:
                        self.wants.append((group, pixel.drivers))
            else:
                device = Device("pixel", 0, 0, lit=pixel.lit, signal=pixel.signal)
                tile = self._tile(0, 0, device, pixel.drivers)
                self.cells.append(Cell(pixel.signal, "pixel", 1, 1, (tile,), False, ()))

    def finish(self, site: Site) -> Netlist:
        groups: dict[int, list[str]] = defaultdict(list)
        for driver in self.driver_tile:
            if driver in self.signal_of:
                groups[self.signal_of[driver]].append(driver)
        signals = tuple(
            Signal(tuple(sorted(drivers)), tuple(self.driver_tile[d] for d in sorted(drivers)))
            for drivers in groups.values()
        )
        number = {signal.drivers[0]: i for i, signal in enumerate(signals)}
        sinks = tuple(
            Sink(tiles, tuple(number[d] for d in sorted(drivers) if d in number)) for tiles, drivers in self.wants
        )
        return Netlist(tuple(self.cells), tuple(self.tiles), signals, sinks, site)


def _touching(places: dict[tuple[int, int], int]) -> list[tuple[int, ...]]:
    """Groups of tiles that touch orthogonally, in the order of their first tile."""
    left = dict(places)
    groups = []
    while left:
        first = next(iter(left))
        group, frontier = [left.pop(first)], [first]
        while frontier:
            x, y = frontier.pop()
            for near in ((x + 1, y), (x - 1, y), (x, y + 1), (x, y - 1)):
                if near in left:
                    group.append(left.pop(near))
                    frontier.append(near)
        groups.append(tuple(sorted(group)))
    return groups
