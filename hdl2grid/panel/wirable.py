"""Whether a panel can be wired as it is drawn.

A pixel is a device: on its tile there may be no wire but its own bit's, and no crossover. So wire gets to a
pixel over free tiles and over pixels of the same bit only, and from one tile to the next go at most as many
wires as there are colours. A panel that breaks one of the two is refused before anything is elaborated; what
its bits compute is not looked at, so bits that always agree count as two. A panel that passes may still be
hard to route.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass, field

import networkx as nx

from hdl2grid.base.errors import InputError
from hdl2grid.base.target import NUM_COLOURS
from hdl2grid.panel.model import PanelLayout, PanelPixel
from hdl2grid.panel.panel import Panel, spread_layout

PITCH_LIMIT = 16
"""Widest pitch, in tiles, that is tried for a panel that cannot be wired as it is. Guessed."""
OUTSIDE = "outside"
Tile = tuple[int, int]


@dataclass(frozen=True)
class Walled:
    """Why a panel cannot be wired: `pixel` cannot be reached. `num_bits` output bits share its pocket, and
    `num_wires` wires can get into it (0: it is walled in)."""

    pixel: PanelPixel
    num_bits: int
    num_wires: int


def check_wirable(panel: Panel) -> None:
    """Raises InputError M040 on a pixel that is walled in by pixels of other bits, M041 on a pocket with more
    bits than wires can get into; both name a pixel and the pitch that would do."""
    walled = find_walled(panel.layout())
    if walled is None:
        return
    pixel = walled.pixel
    tile = f"pixel ({pixel.x},{pixel.y}), which shows {pixel.signal},"
    if walled.num_wires == 0:
        code, what = "M040", f"{tile} is walled in by pixels of other bits, so no wire can reach it"
    else:
        what = (
            f"{tile} and those around it show {walled.num_bits} bits, but only {walled.num_wires} wires fit "
            "through the gaps between the pixels around them"
        )
        code = "M041"
    raise InputError(code, what, where=panel.source, hint=_hint(panel))


def _hint(panel: Panel) -> str:
    for pitch in range(2, PITCH_LIMIT + 1):
        if find_walled(spread_layout(panel.layout(), pitch)) is None:
            if panel.pitch is not None:
                return f"A pitch of {panel.pitch * pitch} would do: Panel.from_art(..., pitch={panel.pitch * pitch})."
            return f"A pitch of {pitch} would do: spread(panel, {pitch})."
    return "Leave free tiles between the pixels, for wires to pass."


def find_walled(layout: PanelLayout) -> Walled | None:
    """The first pixel, in reading order, that proves the panel unwirable; None without such a proof."""
    if not layout.pixels:
        return None
    ground = _Ground.of(layout)
    depth = _distances(ground)
    for group in ground.groups:
        if group.index not in depth:
            return Walled(group.first, 1, 0)
    return _crowded(ground, depth)


@dataclass(frozen=True)
class _Group:
    """Pixels of one bit that touch each other: one wire runs through all of them."""

    index: int
    first: PanelPixel
    tiles: tuple[Tile, ...]

    @property
    def signal(self) -> str:
        return self.first.signal


@dataclass
class _Ground:
    """The panel on squeezed coordinates: a run of empty columns counts as one, `widths` columns wide, and
    likewise rows. There is one free row or column all around."""

    widths: list[int]
    heights: list[int]
    groups: list[_Group] = field(default_factory=list)
    owner: dict[Tile, int] = field(default_factory=dict)

    @classmethod
    def of(cls, layout: PanelLayout) -> _Ground:
        columns, widths = _squeeze({p.x for p in layout.pixels})
        rows, heights = _squeeze({p.y for p in layout.pixels})
        ground = cls(widths, heights)
        pixels = {(columns[p.x], rows[p.y]): p for p in layout.pixels}
        for tile in sorted(pixels, key=lambda t: (t[1], t[0])):
            if tile not in ground.owner:
                ground._add_group(tile, pixels)
        return ground

    def _add_group(self, start: Tile, pixels: dict[Tile, PanelPixel]) -> None:
        index, signal = len(self.groups), pixels[start].signal
        self.owner[start] = index
        tiles = [start]
        for tile in tiles:
            for near in _neighbours(tile):
                if near in pixels and pixels[near].signal == signal and near not in self.owner:
                    self.owner[near] = index
                    tiles.append(near)
        self.groups.append(_Group(index, pixels[start], tuple(tiles)))

    def inside(self, tile: Tile) -> bool:
        return 0 <= tile[0] < len(self.widths) and 0 <= tile[1] < len(self.heights)

    def free(self, tile: Tile) -> bool:
        return self.inside(tile) and tile not in self.owner

    def lanes(self, a: Tile, b: Tile) -> int:
        """How many tiles wide the passage from `a` to the neighbouring `b` is."""
        return self.heights[a[1]] if a[1] == b[1] else self.widths[a[0]]


def _squeeze(used: set[int]) -> tuple[dict[int, int], list[int]]:
    """The squeezed coordinate of each used one, and the true width of each squeezed one."""
    places: dict[int, int] = {}
    widths = [1]
    last = None
    for value in sorted(used):
        if last is not None and value > last + 1:
            widths.append(value - last - 1)
        places[value] = len(widths)
        widths.append(1)
        last = value
    widths.append(1)
    return places, widths


def _neighbours(tile: Tile) -> tuple[Tile, Tile, Tile, Tile]:
    x, y = tile
    return (x, y - 1), (x - 1, y), (x + 1, y), (x, y + 1)


def _distances(ground: _Ground) -> dict[int, int]:
    """The groups that wire can reach from outside, with their distance. Wire may run on free tiles, and on
    the groups of its own bit: free tiles that only one bit's pixels lead to are open to that bit alone."""
    regions = _regions(ground)
    touches: dict[int, set[int]] = {
        group.index: {regions[n] for t in group.tiles for n in _neighbours(t) if ground.free(n)}
        for group in ground.groups
    }
    by_signal: dict[str, list[int]] = defaultdict(list)
    for group in ground.groups:
        by_signal[group.signal].append(group.index)
    found: dict[int, int] = {}
    outside = regions[(0, 0)]
    for indices in by_signal.values():
        open_regions, step, rest = {outside}, 0, list(indices)
        while True:
            reached = [i for i in rest if touches[i] & open_regions]
            if not reached:
                break
            for i in reached:
                found[i] = step
                open_regions |= touches[i]
            rest = [i for i in rest if i not in found]
            step += 1
    return found


def _regions(ground: _Ground) -> dict[Tile, int]:
    """The number of each free tile's region, regions being free tiles that touch."""
    regions: dict[Tile, int] = {}
    num_regions = 0
    for start in ((x, y) for y in range(len(ground.heights)) for x in range(len(ground.widths))):
        if start in regions or not ground.free(start):
            continue
        regions[start] = num_regions
        tiles = [start]
        for tile in tiles:
            for near in _neighbours(tile):
                if near not in regions and ground.free(near):
                    regions[near] = num_regions
                    tiles.append(near)
        num_regions += 1
    return regions


def _crowded(ground: _Ground, depth: dict[int, int]) -> Walled | None:
    """A pocket with more bits than wires can get into, by maximum flow: each bit sends one wire from its
    group that is hardest to reach to the outside, and a passage one tile wide takes as many wires as there
    are colours. A bit may pass through other groups of its own (which the flow allows to any bit, once)."""
    chosen: dict[str, _Group] = {}
    for group in ground.groups:
        best = chosen.get(group.signal)
        if best is None or (depth[group.index], _inset(ground, group)) > (
            depth[best.index],
            _inset(ground, best),
        ):
            chosen[group.signal] = group
    if len(chosen) <= NUM_COLOURS:
        return None
    graph = _flow_graph(ground, {group.index for group in chosen.values()})
    value, (inner, _) = nx.minimum_cut(graph, "bits", OUTSIDE)
    if value >= len(chosen):
        return None
    stuck = [group for group in chosen.values() if ("out", group.index) in inner]
    first = min(stuck, key=lambda g: (g.first.y, g.first.x))
    return Walled(first.first, len(stuck), int(value) - (len(chosen) - len(stuck)))


def _inset(ground: _Ground, group: _Group) -> int:
    """How far the group is from the edge of the panel: a cheap guess at how hard it is to reach."""
    width, height = len(ground.widths), len(ground.heights)
    return min(min(x, y, width - 1 - x, height - 1 - y) for x, y in group.tiles)


def _flow_graph(ground: _Ground, chosen: set[int]) -> nx.DiGraph:
    graph = nx.DiGraph()
    for y in range(len(ground.heights)):
        for x in range(len(ground.widths)):
            tile = (x, y)
            if not ground.free(tile):
                continue
            for near in _neighbours(tile):
                if not ground.inside(near):
                    graph.add_edge(tile, OUTSIDE)  # without a capacity: unlimited
                elif ground.free(near):
                    graph.add_edge(tile, near, capacity=NUM_COLOURS * ground.lanes(tile, near))
    for group in ground.groups:
        out = ("out", group.index)
        if group.index in chosen:
            graph.add_edge("bits", out, capacity=1)
        else:
            graph.add_edge(("in", group.index), out, capacity=1)
        for near in sorted({n for t in group.tiles for n in _neighbours(t) if ground.free(n)}):
            graph.add_edge(out, near, capacity=1)
            if group.index not in chosen:
                graph.add_edge(near, ("in", group.index), capacity=1)
    return graph
