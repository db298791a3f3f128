"""Place, colour and route a netlist: try a size, repair, grow, and finish."""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, sqrt
from typing import NoReturn

import numpy as np

from hdl2grid.errors import DesignFailed
from hdl2grid.layout.arrays import COLOURS, Board, Scratch, Shape, copy_board, make_board, make_scratch, make_shape
from hdl2grid.layout.colouring import ColourParams, choose_colours
from hdl2grid.layout.lines import pick_gap, pick_line, with_line, without_line
from hdl2grid.layout.placement import PlaceParams, pack, place
from hdl2grid.layout.repair import RepairParams, better
from hdl2grid.layout.routing import RouteParams, rip_all, route
from hdl2grid.netlist import Netlist
from hdl2grid.progress import Progress, silent
from hdl2grid.rng import below, seeded
from hdl2grid.target import STYLES, Weights, load_target


@dataclass(frozen=True)
class Effort:
    """Budgets, in iterations.

    At each size `seeds` placements are made and routed, and the best of them repaired by at most `tries` tries, with
    up to `lines` rows and columns put in where that does not suffice. A legal layout loses rows and columns in at
    most `cuts` cuts (`cut_tries` repairs each), until `stall` cuts in a row have failed; `restarts` times the
    search begins anew on a smaller grid; `polish` tries make the result better.
    """

    seeds: int
    tries: int
    lines: int
    cuts: int
    cut_tries: int
    stall: int
    restarts: int
    polish: int


EFFORTS = {
    "quick": Effort(seeds=3, tries=6000, lines=16, cuts=16, cut_tries=300, stall=5, restarts=0, polish=1500),
    "normal": Effort(seeds=4, tries=8000, lines=16, cuts=150, cut_tries=700, stall=25, restarts=5, polish=8000),
    "long": Effort(seeds=6, tries=16_000, lines=16, cuts=300, cut_tries=2000, stall=50, restarts=60, polish=40_000),
}
STEPS = (
    (3, 2, 1.25),
    (3, 2, 1.4),
    (4, 2, 1.3),
    (4, 3, 1.3),
    (4, 3, 1.5),
    (5, 4, 1.4),
    (6, 4, 1.5),
    (7, 5, 1.6),
    (9, 6, 1.7),
)
"""Sizes to try one after the other: free columns and rows around each cell, and the area as a multiple of what the
cells need with them. More room at the pins helps more than more area."""
TIGHT = ((3, 1, 1.2), (2, 1, 1.35), (2, 1, 1.25))
"""Tried in this order where the limits of the grid rule out the others."""
TIGHTEST = PlaceParams(gap_x=2, gap_y=1)
"""The least room around a cell: what shrinking may leave."""


@dataclass(frozen=True)
class LayoutParams:
    """`max_width` and `max_height` limit the grid, in tiles; `weights` are the prices of the style."""

    effort: str = "normal"
    seed: int = 1
    max_width: int = 10_000
    max_height: int = 10_000
    style: str = STYLES[0]
    weights: Weights | None = None

    @property
    def prices(self) -> Weights:
        """`weights`, or else those of the built-in target."""
        return self.weights or load_target().weights(self.style)


@dataclass(frozen=True)
class LayoutStats:
    """What the search spent: placements made, repair tries, cuts; and the wire of the result in tiles."""

    num_placements: int
    num_tries: int
    num_cuts: int
    wire_tiles: int
    crossovers: int


@dataclass(frozen=True)
class Layout:
    """A legal board and the statistics of how it came about."""

    board: Board
    stats: LayoutStats


def lay_out(netlist: Netlist, params: LayoutParams, progress: Progress = silent) -> Layout:
    """A legal layout of the netlist. Raises DesignFailed (P001) where none was found within the limits."""
    search = _Search(netlist, params, progress)
    board = search.first_legal()
    if netlist.signals:
        board = search.squeeze(search.shrink(board))
        board = search.polish(board)
    wire, over = int(board.length.sum()), int((board.crossings > 0).sum())
    return Layout(board, LayoutStats(search.num_placements, search.num_tries, search.num_cuts, wire, over))


def _told(board: Board) -> str:
    return f"{int(board.size[0])} x {int(board.size[1])}"


class _Search:
    def __init__(self, netlist: Netlist, params: LayoutParams, progress: Progress) -> None:
        self.netlist, self.params, self.progress = netlist, params, progress
        self.shape: Shape = make_shape(netlist)
        self.effort = EFFORTS[params.effort]
        self.panel = next((i for i, c in enumerate(netlist.cells) if c.kind == "panel"), None)
        self.num_placements = self.num_tries = self.num_cuts = 0
        self.least_left = 1 << 30
        self.rng = seeded(params.seed, 7)

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
        """Grow until a layout is legal."""
        limited = self.params.max_width * self.params.max_height < 1_000_000
        for number, (gap_x, gap_y, scale) in enumerate(STEPS + TIGHT * limited):
            places = PlaceParams(gap_x=gap_x, gap_y=gap_y)
            size = self.size_for(self.floor(places) * scale + 30, places)
            if size is None:
                self._refuse("the largest cell does not fit")
            board = self.attempt(size, places, number)
            if board is not None:
                return board
        self._refuse(f"the best try had {self.least_left} conflicts" if self.num_placements else "it does not fit")

    def _refuse(self, why: str) -> NoReturn:
        limits = f"{self.params.max_width} x {self.params.max_height} tiles"
        raise DesignFailed(
            "P001",
            f"no layout was found within {limits} in {self.num_placements} placements: {why}",
            hint="Allow a larger grid with --width and --height, or try --effort long or another --seed.",
        )

    def attempt(self, size: tuple[int, int], places: PlaceParams, number: int, widen: bool = True) -> Board | None:
        """The best of some placements at one size, repaired and, with `widen`, given more room; None unless legal."""
        best: tuple[int, Board] | None = None
        scratch = make_scratch(self.netlist, *size)
        for turn in range(self.effort.seeds):
            board = make_board(self.netlist, self.shape, *size)
            at = (0.2 + 0.1 * below(self.rng, 7), 0.1 * below(self.rng, 11))
            if not pack(self.shape, board, self.panel, at, places):
                continue
            self.num_placements += 1
            seed = self.params.seed * 1_000_003 + 1000 * number + turn
            place(self.shape, board, places, seed)
            board.colour[:] = (self.shape.signal_of * 7 + turn) % COLOURS
            choose_colours(self.shape, board, scratch, ColourParams(), seed)
            rip_all(board)
            conflicts, _ = route(self.shape, board, scratch, RouteParams(), self.rng)
            self.progress(f"layout {size[0]} x {size[1]}: {conflicts} conflicts", self.num_placements)
            if best is None or conflicts < best[0]:
                best = conflicts, board
            if conflicts <= 2:
                break
        if best is None:
            return None
        conflicts, board = best
        if conflicts:
            conflicts = self.mend(board, scratch, places, self.effort.tries)
            self.progress(f"layout {size[0]} x {size[1]}: {conflicts} conflicts after repair", self.num_placements)
            if widen:
                board, conflicts = self.widen(board, conflicts, places)
        self.least_left = min(self.least_left, conflicts)
        return board if conflicts == 0 else None

    def widen(self, board: Board, conflicts: int, places: PlaceParams) -> tuple[Board, int]:
        """Put in rows and columns where conflicts are left and repair again; returns the board and what is left."""
        idle = 0
        for _ in range(self.effort.lines):
            if conflicts == 0 or idle >= 6:
                break
            idle += 1
            axis, at = pick_gap(self.shape, board, self.panel, self.rng)
            limit = self.params.max_width if axis == 0 else self.params.max_height
            if board.size[axis] >= limit:
                continue
            scratch = make_scratch(self.netlist, int(board.size[0]) + 1, int(board.size[1]) + 1)
            wider = with_line(self.shape, board, scratch, axis, at)
            left = self.reroute(wider, scratch, places, self.effort.tries // 6)
            if left < conflicts:
                idle = 0
            if left <= conflicts:
                board, conflicts = wider, left
            self.progress(f"layout {_told(board)}: {conflicts} conflicts after widening", self.num_placements)
        return board, conflicts

    def reroute(self, board: Board, scratch: Scratch, places: PlaceParams, tries: int) -> int:
        """Route what a new or a missing line has upset, and repair; returns the conflicts left."""
        left, _ = route(self.shape, board, scratch, RouteParams(rounds=12, stall=5), self.rng)
        return self.mend(board, scratch, places, tries) if left else left

    def mend(self, board: Board, scratch: Scratch, places: PlaceParams, tries: int) -> int:
        """Repair until nothing is illegal; returns the conflicts left."""
        params = RepairParams(tries=tries, stall=max(300, tries // 2))
        left, _, used = better(self.shape, board, scratch, params, places, RouteParams(), self.rng, True)
        self.num_tries += used
        return left

    def shrink(self, board: Board) -> Board:
        """Take out rows and columns as long as the rest can be made legal again."""
        scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        failed = 0
        loose = RepairParams(
            tries=40, stall=40, rounds=3, reach=12, conflict=1000.0, wire=1.0, crossover=4.0, turn=0.5,
            hot=6.0, cold=3.0,
        )  # fmt: skip
        movable = set(self.shape.movable.tolist())
        for _ in range(self.effort.cuts):
            if failed >= self.effort.stall:
                break
            self.num_cuts += 1
            axis, at = pick_line(board, self.rng)
            cut = without_line(self.shape, board, scratch, TIGHTEST, axis, at)
            if not isinstance(cut, Board):
                failed += 1
                focus = np.array([c for c in cut.tolist() if c in movable], np.int64)
                if len(focus):
                    better(self.shape, board, scratch, loose, TIGHTEST, RouteParams(), self.rng, False, focus)
                continue
            if self.reroute(cut, scratch, TIGHTEST, self.effort.cut_tries) == 0:
                board, failed = cut, 0
            else:
                failed += 1
            self.progress(f"layout {_told(board)}: legal, making it smaller", self.num_cuts, self.effort.cuts)
        return board

    def squeeze(self, board: Board) -> Board:
        """Start anew on grids a little smaller than the best so far."""
        area = float(board.size[0] * board.size[1])
        for turn in range(self.effort.restarts):
            size = self.size_for(area * (0.97, 0.94, 0.91)[turn % 3], TIGHTEST, (1.15, 0.95, 1.35, 1.6)[turn % 4])
            found = None if size is None else self.attempt(size, TIGHTEST, 100 + turn, widen=False)
            if found is not None:
                found = self.shrink(found)
                board, area = found, float(found.size[0] * found.size[1])
        return board

    def polish(self, board: Board) -> Board:
        """Less wire, fewer crossovers and turns, keeping the layout legal."""
        scratch: Scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        kept = copy_board(board)
        params = RepairParams(
            tries=self.effort.polish, stall=self.effort.polish, rounds=3, conflict=1000.0, wire=1.0, crossover=5.0,
            turn=0.8, hot=2.0, cold=0.3,
        )  # fmt: skip
        self.progress(f"layout {_told(board)}: polishing")
        left, _, used = better(self.shape, board, scratch, params, TIGHTEST, RouteParams(), self.rng, False)
        self.num_tries += used
        return board if left == 0 else kept
