"""Place, colour and route a netlist: try a size, repair, grow, and finish."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import ceil, sqrt
from typing import NoReturn

from hdl2grid.errors import DesignFailed
from hdl2grid.layout.arrays import Board, Scratch, Shape, copy_board, make_board, make_scratch, make_shape
from hdl2grid.layout.colouring import ColourParams, choose_colours
from hdl2grid.layout.placement import PlaceParams, pack, place
from hdl2grid.layout.repair import RepairParams, better
from hdl2grid.layout.rng import below, seeded
from hdl2grid.layout.routing import RouteParams, find_conflicts, rip_all, route
from hdl2grid.netlist import Netlist
from hdl2grid.progress import Progress, silent


@dataclass(frozen=True)
class Effort:
    """Budgets, in iterations: `seeds` placements are tried at each size, `tries` repairs at each; `polish` moves
    better a legal layout; `squeezes` smaller sizes are tried after the first legal one."""

    seeds: int
    tries: int
    polish: int
    squeezes: int


EFFORTS = {
    "quick": Effort(seeds=2, tries=3000, polish=3000, squeezes=0),
    "normal": Effort(seeds=3, tries=4000, polish=15_000, squeezes=8),
    "long": Effort(seeds=4, tries=8000, polish=60_000, squeezes=40),
}


@dataclass(frozen=True)
class LayoutParams:
    """`max_width` and `max_height` limit the grid, in tiles."""

    effort: str = "normal"
    seed: int = 1
    max_width: int = 10_000
    max_height: int = 10_000
    max_sizes: int = 24


@dataclass(frozen=True)
class LayoutStats:
    """What the search spent: sizes tried, placements, repair tries; and the wire of the result in tiles."""

    num_sizes: int
    num_placements: int
    num_tries: int
    wire_tiles: int
    crossovers: int


@dataclass(frozen=True)
class Layout:
    """A legal board and the statistics of how it came about."""

    board: Board
    stats: LayoutStats


def lay_out(netlist: Netlist, params: LayoutParams, progress: Progress = silent) -> Layout:
    """A legal layout of the netlist. Raises DesignFailed (P001, P002) where none was found within the limits."""
    search = _Search(netlist, params, progress)
    found = search.first_legal()
    best = search.squeeze(found)
    board = search.polish(best)
    wire, over = int(board.length.sum()), int((board.crossings > 0).sum())
    return Layout(board, LayoutStats(search.num_sizes, search.num_placements, search.num_tries, wire, over))


class _Search:
    def __init__(self, netlist: Netlist, params: LayoutParams, progress: Progress) -> None:
        self.netlist, self.params, self.progress = netlist, params, progress
        self.shape: Shape = make_shape(netlist)
        self.effort = EFFORTS[params.effort]
        self.panel = next((i for i, c in enumerate(netlist.cells) if c.kind == "panel"), None)
        self.num_sizes = self.num_placements = self.num_tries = 0
        self.places = PlaceParams()
        self.least_left = 1 << 30

    def size_for(self, area: float, places: PlaceParams, tilt: float = 1.15) -> tuple[int, int] | None:
        """Width and height of about `area` tiles within the limits; None where the limits are too small."""
        margin = 2 * places.margin
        least_w = max((c.width for c in self.netlist.cells), default=1) + margin
        least_h = max((c.height for c in self.netlist.cells), default=1) + margin
        most_w, most_h = self.params.max_width, self.params.max_height
        if least_w > most_w or least_h > most_h:
            return None
        width = min(most_w, max(least_w, round(sqrt(area * tilt))))
        height = min(most_h, max(least_h, ceil(area / width)))
        width = min(most_w, max(width, ceil(area / height)))
        return width, height

    def floor(self, places: PlaceParams) -> float:
        """Tiles that the cells need with their gaps, when packed without loss."""
        return sum((c.width + places.gap_x) * (c.height + places.gap_y) for c in self.netlist.cells)

    def first_legal(self) -> Board:
        """Grow from a tight size until a layout is legal."""
        scale = 1.25
        previous: tuple[int, int] | None = None
        for step in range(self.params.max_sizes):
            places = replace(self.places, gap_x=2 + step // 3, gap_y=1 + step // 4)
            size = self.size_for(self.floor(places) * scale + 30, places)
            if size is None:
                self._refuse("the largest cell does not fit")
            if size == previous and size == (self.params.max_width, self.params.max_height) and step > 6:
                break
            previous = size
            for seed in range(self.effort.seeds):
                board = self.attempt(size, places, 1000 * step + seed)
                if board is not None:
                    self.places = places
                    return board
            scale *= 1.06
        self._refuse(f"the best try had {self.least_left} conflicts")

    def _refuse(self, why: str) -> NoReturn:
        limits = f"{self.params.max_width} x {self.params.max_height} tiles"
        raise DesignFailed(
            "P001",
            f"no layout was found within {limits} in {self.num_placements} placements: {why}",
            where=self.netlist.cells[0].name if self.netlist.cells else None,
            hint="Allow a larger grid with --width and --height, or try --effort long or another --seed.",
        )

    def attempt(self, size: tuple[int, int], places: PlaceParams, number: int) -> Board | None:
        """One placement at one size, coloured, routed and repaired; None unless it came out legal."""
        self.num_placements += 1
        seed = self.params.seed * 1_000_003 + number
        rng = seeded(seed, 7)
        board = make_board(self.netlist, self.shape, *size)
        scratch = make_scratch(self.netlist, *size)
        at = (0.2 + 0.1 * below(rng, 7), 0.1 * below(rng, 11))
        if not pack(self.shape, board, self.panel, at, places):
            return None
        self.num_sizes += 1
        place(self.shape, board, places, seed)
        board.colour[:] = (self.shape.signal_of * 7 + number) % 4
        choose_colours(self.shape, board, scratch, ColourParams(), seed)
        rip_all(board)
        conflicts, _ = route(self.shape, board, scratch, RouteParams(), rng)
        if conflicts:
            repairs = RepairParams(tries=self.effort.tries, stall=self.effort.tries // 3)
            conflicts, _, used = better(self.shape, board, scratch, repairs, places, RouteParams(), rng, True)
            self.num_tries += used
        self.progress(f"layout {size[0]} x {size[1]}: {conflicts} conflicts left", self.num_placements)
        self.least_left = min(self.least_left, conflicts)
        return board if conflicts == 0 else None

    def squeeze(self, board: Board) -> Board:
        """Look for legal layouts on smaller grids, smaller by steps that shrink at each failure."""
        area = float(board.size[0] * board.size[1])
        step = 0.12
        for turn in range(self.effort.squeezes):
            goal = area * (1.0 - step)
            size = self.size_for(goal, self.places, (1.0, 1.2, 1.45)[turn % 3])
            found = None if size is None else self.attempt(size, self.places, 500_000 + turn)
            if found is not None:
                board, area = found, float(found.size[0] * found.size[1])
            else:
                step = max(0.03, step * 0.7)
        return board

    def polish(self, board: Board) -> Board:
        """Less wire, fewer crossovers and turns, keeping the layout legal."""
        if not self.netlist.signals:
            return board
        scratch: Scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        kept = copy_board(board)
        params = RepairParams(
            tries=self.effort.polish, stall=self.effort.polish, rounds=4, conflict=1000.0, wire=1.0, crossover=5.0,
            turn=0.8, hot=2.0, cold=0.3,
        )  # fmt: skip
        self.progress(f"layout {int(board.size[0])} x {int(board.size[1])}: polishing")
        rng = seeded(self.params.seed, 11)
        left, _, used = better(self.shape, board, scratch, params, self.places, RouteParams(), rng, False)
        self.num_tries += used
        return board if left == 0 and find_conflicts(board, scratch, 0.0) == 0 else kept
