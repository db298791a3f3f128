"""Form nets: from a circuit and its panel to cells, signals and sinks (see `hdl2grid.nets.model`)."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field, replace
from itertools import combinations, pairwise, permutations

from hdl2grid.circuit.model import Circuit, Source, Stack, Toggle
from hdl2grid.design.floorplan import Floorplan
from hdl2grid.design.siting import Frame, frame_of
from hdl2grid.nets.model import Cell, CellTile, Netlist, Signal, Sink, Site
from hdl2grid.nets.partition import MAX_NETS, Drivers, Partition, in_order_of, share_nets
from hdl2grid.nets.site import site_of
from hdl2grid.panel.model import PanelLayout
from hdl2grid.plan.model import Device

CROWDED, CROWDED_TERMS = 100, 2
"""With more bits than this on its panel a machine's pixels gather so many signals at most: a sixth more stacks, and a
quarter fewer signals over all pixels (calendar_400_1 of the benchmarks)."""


def spread_toggles(circuit: Circuit, panel: PanelLayout | None = None, shared: Partition | None = None) -> Circuit:
    """The circuit with its toggles in an order in which four colours suffice between neighbours.

    Two toggles that touch bear at most four nets together, and so do the lowest toggle and the gate. Where no order
    does, toggles that never change are put between them, with the bit that leaves the gate's function as it is. Where
    drivers are joined on nets, colours are scarce: then neighbours bear three nets at most. `shared` is the partition
    of the drivers into nets, if it is known already.
    """
    shared = shared or share_nets(circuit, pixel_nets(panel))
    stacks = [stack if stack.strobe is not None else _spread(stack, shared) for stack in circuit.stacks]
    return replace(circuit, stacks=tuple(stacks))


def _spread(stack: Stack, shared: Partition) -> Stack:
    crowds, most = _crowds(stack, shared), _most_together(shared)
    order = _calm_order(crowds, most) if _is_crowded(crowds, most) else list(range(1, len(crowds)))
    idle = Toggle(1 if stack.function in ("AND", "NAND") else 0, ())
    toggles: list[Toggle] = []
    for below, number in pairwise([0, *order]):
        if len(crowds[below] | crowds[number]) > most:
            toggles.append(idle)
        toggles.append(stack.toggles[number - 1])
    return replace(stack, toggles=tuple(toggles))


def _crowds(stack: Stack, shared: Partition) -> list[frozenset[int]]:
    """The nets on a stack's gate, and those on each toggle."""
    gate = frozenset(number for number, net in enumerate(shared.nets) if stack.name in net)
    return [gate, *(frozenset(shared.of.get(toggle.drivers, ())) for toggle in stack.toggles)]


def pixel_nets(panel: PanelLayout | None) -> int:
    """How many nets a pixel may bear: half of the colours where pixels of different bits stand side by side."""
    return MAX_NETS // 2 if pixels_touch(panel) else MAX_NETS


def pixel_terms(panel: PanelLayout | None, most: int) -> int:
    """How many signals, of at most `most`, a pixel may gather: two on a crowded panel, whose lanes are too narrow for
    more."""
    shown = len({pixel.signal for pixel in panel.pixels}) if panel is not None else 0
    return min(most, CROWDED_TERMS if shown > CROWDED else most, pixel_nets(panel))


def pixels_touch(panel: PanelLayout | None) -> bool:
    """Whether pixels of different bits stand side by side, so that they have four colours between them."""
    at = {(p.x, p.y): p.signal for p in panel.pixels} if panel is not None else {}
    return any(at.get((x + dx, y + dy), name) != name for (x, y), name in at.items() for dx, dy in ((1, 0), (0, 1)))


def _most_together(shared: Partition) -> int:
    """The most nets that neighbours in a stack bear together."""
    return MAX_NETS - 1 if shared.is_joined else MAX_NETS


def _is_crowded(crowds: list[frozenset[int]], most: int) -> bool:
    return any(len(a | b) > most for a, b in combinations(crowds, 2))


def _calm_order(crowds: list[frozenset[int]], most: int) -> list[int]:
    """An order of the toggles, as places in `crowds`, with few neighbours that are too many together, the gate (place
    0) at the foot: the best of all for six toggles at most, else greedy."""

    def clashes(order: list[int]) -> int:
        return sum(len(crowds[a] | crowds[b]) > most for a, b in pairwise([0, *order]))

    numbers = range(1, len(crowds))
    if len(numbers) <= 6:
        return min((list(order) for order in permutations(numbers)), key=clashes)
    left = sorted(numbers, key=lambda i: (-len(crowds[i]), i))
    order = [left.pop(0)]
    while left:
        following = min(left, key=lambda i: (len(crowds[order[-1]] | crowds[i]), i))
        left.remove(following)
        order.append(following)
    return order


def form_nets(
    circuit: Circuit,
    panel: PanelLayout | None,
    floorplan: Floorplan | None = None,
    shared: Partition | None = None,
) -> Netlist:
    """Cells for every stack, source and pixel, and the signals that join them.

    A register and its reset become one cell; an output bit that the panel does not show gets a pixel of its own. The
    sources that the floorplan places by the panel, and the panel's margin, are part of the panel's cell. `shared` as in
    `spread_toggles`.
    """
    frame = frame_of(floorplan or Floorplan(), panel) if panel is not None and panel.pixels else None
    by_panel = frame.sources if frame is not None else {}
    builder = _Builder(in_order_of(circuit, shared) if shared is not None else share_nets(circuit, pixel_nets(panel)))
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
    shared: Partition
    cells: list[Cell] = field(default_factory=list)
    tiles: list[CellTile] = field(default_factory=list)
    driver_tile: dict[str, int] = field(default_factory=dict)
    wants: list[tuple[tuple[int, ...], Drivers]] = field(default_factory=list)
    on_panel: dict[str, list[tuple[int, ...]]] = field(default_factory=dict)

    def _tile(self, dx: int, dy: int, device: Device, drivers: Drivers | None = None) -> int:
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
        if _is_crowded(_crowds(stack, self.shared), _most_together(self.shared)):
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
        place = {driver: i for i, driver in enumerate(self.driver_tile)}
        nets = [tuple(d for d in net if d in place) for net in self.shared.nets]
        order = sorted((n for n, net in enumerate(nets) if net), key=lambda n: sorted(place[d] for d in nets[n]))
        number = {net: i for i, net in enumerate(order)}
        signals = tuple(Signal(nets[n], tuple(self.driver_tile[d] for d in nets[n])) for n in order)
        wanted = [(tiles, [n for n in self.shared.of[drivers] if n in number]) for tiles, drivers in self.wants]
        sinks = tuple(Sink(tiles, tuple(number[n] for n in row)) for tiles, row in wanted)
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
