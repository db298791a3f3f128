"""How many nets have to come in between the pixels of a panel, and how many fit: where a panel stands in its own way.

The nets of a rectangle of the panel are the signals of pixels inside; each comes in once at least, if its driver stands
outside. They come in over the rectangle's sides. On a row of free tiles there, every second one can bear a wire of one
colour, for wires of one colour that touch are joined; where a side runs along pixels, these let their own nets in.
(Cuts as bounds of what can be routed: T. C. Hu, Multi-commodity network flows, Operations Research 11, 1963.)
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations
from math import ceil, inf
from typing import Any

import numpy as np
import numpy.typing as npt

from hdl2grid.nets.model import Netlist
from hdl2grid.nets.partition import MAX_NETS

Grid = npt.NDArray[Any]

ROOMY, USABLE, HOPELESS = 0.65, 0.7, 0.9
"""Shares of the nets that fit. Where more than ROOMY have to come in, no cell should take their room; more than USABLE
find their way with luck only, and of more than HOPELESS no plan is known (machines of benchmarks/machines.py)."""
NO_SIDE = 1 << 20
"""Wires that fit along the outer side of a panel: as many as are wanted."""
MOST_LINES = 40
"""So many lines across a panel are looked at in either direction, at most."""


@dataclass(frozen=True)
class Narrow:
    """A rectangle of a panel, in its columns and rows, ends included: `nets` have to come in, of which `fit` side by
    side; with lanes `lacking` tiles wider the usable share of them is enough."""

    left: int
    top: int
    right: int
    bottom: int
    nets: int
    fit: int
    lacking: int

    @property
    def share(self) -> float:
        """Nets to come in over nets that fit."""
        return self.nets / self.fit

    def told(self) -> str:
        """What is narrow and what helps, in words."""
        where = f"columns {self.left} to {self.right} and rows {self.top} to {self.bottom} of the panel"
        told = f"{self.nets} nets have to come into {where}, between whose pixels {self.fit} fit at most"
        if self.lacking:
            told += f", and about {round(100 * USABLE)} % of that can be used"
            s = "s" if self.lacking > 1 else ""
            told += f": put its parts {self.lacking} column{s} and row{s} further apart"
        return told


@lru_cache(maxsize=4)
def narrowest(netlist: Netlist) -> Narrow | None:
    """The rectangle of the panel into which most nets have to come for what fits; None without a panel, or where all
    come in from outside."""
    panel = netlist.panel
    if panel is None:
        return None
    lanes = _Lanes(netlist, panel)
    best, best_share = None, 0.0
    for left, right in combinations(lanes.columns, 2):
        for top, bottom, nets in lanes.demands(left, right):
            fit = lanes.fit(left, top, right, bottom, 0)
            if nets > best_share * fit:
                best, best_share = (left, top, right, bottom, nets, fit), nets / fit
    if best is None or best[5] >= NO_SIDE:
        return None
    left, top, right, bottom, nets, fit = best
    lacking = 0
    while nets > USABLE * lanes.fit(left, top, right, bottom, lacking):
        lacking += 1
    return Narrow(left=left, top=top, right=right - 1, bottom=bottom - 1, nets=nets, fit=fit, lacking=lacking)


class _Lanes:
    """The pixels of a panel, what is free between them, and the lines across it that are worth a look."""

    def __init__(self, netlist: Netlist, panel: int) -> None:
        cell = netlist.cells[panel]
        self.width, self.height = cell.width, cell.height
        sinks = [sink for sink in netlist.sinks if netlist.tiles[sink.tiles[0]].cell == panel]
        self.owner = np.full((self.height, self.width), -1, np.int64)
        for tile in cell.tiles:
            self.owner[netlist.tiles[tile].dy, netlist.tiles[tile].dx] = len(sinks)
        self.bears = np.zeros((len(sinks), len(netlist.signals)), np.float32)
        boxes = []
        for number, sink in enumerate(sinks):
            self.bears[number, list(sink.signals)] = 1
            xs, ys = ([getattr(netlist.tiles[t], name) for t in sink.tiles] for name in ("dx", "dy"))
            self.owner[ys, xs] = number
            boxes.append((min(xs), min(ys), max(xs) + 1, max(ys) + 1))
        self.boxes = np.array(boxes, np.int64).reshape(-1, 4)
        self.free = _from_outside(self.owner < 0)
        terms = [*self.bears.sum(axis=1).astype(int).tolist(), 0]
        self.across = [_lines(self.free, self.owner, terms), _lines(self.free.T, self.owner.T, terms)]
        self.known: dict[tuple[int, ...], int] = {}
        self.columns = self._worth(0, self.width, self.height)
        self.rows = self._worth(1, self.height, self.width)

    def _worth(self, axis: int, count: int, length: int) -> list[int]:
        """Lines where less fits than on both lines beside, and the two outer ones."""
        fits = [inf, *(_fit(self.across[axis][at], 0, length, 0) for at in range(1, count)), inf]
        inner = [at for at in range(1, count) if fits[at] <= min(fits[at - 1], fits[at + 1])]
        return [0, *inner[:: ceil(len(inner) / MOST_LINES) or 1], count]

    def demands(self, left: int, right: int) -> list[tuple[int, int, int]]:
        """(top, bottom, nets) for each pair of rows that are worth a look."""
        pairs = np.array(list(combinations(self.rows, 2)), np.int64)
        inside = (self.boxes[:, 0] >= left) & (self.boxes[:, 2] <= right)
        between = (self.boxes[:, 1] >= pairs[:, :1]) & (self.boxes[:, 3] <= pairs[:, 1:])
        nets = ((between & inside).astype(np.float32) @ self.bears > 0).sum(axis=1)
        return [(top, bottom, count) for (top, bottom), count in zip(pairs.tolist(), nets.tolist(), strict=True)]

    def fit(self, left: int, top: int, right: int, bottom: int, wider: int) -> int:
        """The nets that fit over the four sides, the lanes that they cross being `wider` by so many tiles."""
        total = 0
        for axis, at, end, first, last in (
            (0, left, self.width, top, bottom),
            (0, right, self.width, top, bottom),
            (1, top, self.height, left, right),
            (1, bottom, self.height, left, right),
        ):
            total += self._side(axis, at, first, last, wider) if 0 < at < end else NO_SIDE
        return total

    def _side(self, axis: int, at: int, first: int, last: int, wider: int) -> int:
        key = axis, at, first, last, wider
        if key not in self.known:
            self.known[key] = _fit(self.across[axis][at], first, last, wider)
        return self.known[key]


_Line = list[tuple[int, int, int]]
"""What lets nets over a line, along it: (first tile, behind the last, nets), nets being 0 for a row of free tiles."""


def _fit(line: _Line, first: int, last: int, wider: int) -> int:
    total = 0
    for a, b, nets in line:
        length = min(b, last) - max(a, first)
        if length > 0:
            total += nets or MAX_NETS * ((length + wider + 1) // 2)
    return total


def _lines(free: Grid, owner: Grid, terms: list[int]) -> list[_Line]:
    """For each line between a column and the one before it (none before the first), what lets nets over."""
    height, width = free.shape
    lines: list[_Line] = [[]]
    for x in range(1, width):
        line: _Line = []
        seen: set[int] = set()
        for y in range(height):
            if free[y, x - 1] and free[y, x]:
                if line and line[-1][1] == y and not line[-1][2]:
                    line[-1] = line[-1][0], y + 1, 0
                else:
                    line.append((y, y + 1, 0))
                continue
            for one, beside in ((x - 1, x), (x, x - 1)):
                pixel = int(owner[y, one])
                passes = free[y, beside] or owner[y, beside] == pixel
                if pixel >= 0 and passes and pixel not in seen and terms[pixel]:
                    seen.add(pixel)
                    line.append((y, y + 1, terms[pixel]))
        lines.append(line)
    return lines


def _from_outside(free: Grid) -> Grid:
    """Those of the free tiles that can be reached from outside over free tiles."""
    height, width = free.shape
    reached = np.zeros((height + 2, width + 2), np.bool_)
    open_tiles = np.pad(free, 1, constant_values=True)
    frontier = [(0, 0)]
    reached[0, 0] = True
    while frontier:
        y, x = frontier.pop()
        for b, a in ((y, x + 1), (y, x - 1), (y + 1, x), (y - 1, x)):
            if 0 <= b < height + 2 and 0 <= a < width + 2 and open_tiles[b, a] and not reached[b, a]:
                reached[b, a] = True
                frontier.append((b, a))
    return reached[1:-1, 1:-1]
