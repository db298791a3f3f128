"""One beginning of the search: place, colour and route a netlist, repair, grow until it is legal, make it smaller."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, inf, sqrt

import numpy as np

from hdl2grid.base.failure import Trouble
from hdl2grid.base.rng import below, seeded
from hdl2grid.base.target import MAX_GRID_SIDE, STYLES, Weights, load_target
from hdl2grid.layout.arrays import (
    COLOURS,
    FAR_OFF,
    WATCH_HEIGHT,
    WATCH_LEGAL,
    WATCH_STOP,
    WATCH_TRIES,
    WATCH_WIDTH,
    WORST,
    Board,
    Ints,
    Scratch,
    Shape,
    copy_board,
    has_room,
    is_broad,
    is_large,
    make_board,
    make_scratch,
    make_shape,
    new_watch,
    signal_tiles,
)
from hdl2grid.layout.colouring import ColourParams, choose_colours
from hdl2grid.layout.cost import are_alike, cost_of, stray_strokes
from hdl2grid.layout.dense_placement import place_densely
from hdl2grid.layout.effort import budget
from hdl2grid.layout.failure_on_board import trouble_of
from hdl2grid.layout.grid_lines import pick_gap, pick_line, with_line, without_line
from hdl2grid.layout.line_sieve import smaller
from hdl2grid.layout.matched_blocks import Repeat, find_repeats
from hdl2grid.layout.panel_exits import FUTILE, find_exits
from hdl2grid.layout.placement import PlaceParams, pack, place
from hdl2grid.layout.repair import RepairParams, better
from hdl2grid.layout.routing import RouteParams, rip_all, route
from hdl2grid.layout.windows import EaseParams, ease
from hdl2grid.nets.model import Netlist

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
ALIKE = ((3, 3, 1.2), (3, 4, 1.3), (4, 5, 1.4))
"""The same for machines with repeated blocks, as long as these are to be laid alike."""
TALLER, LOOSEN, TIGHTENING = 40, 24, 150
"""How often a tidy grid is made higher until its cells fit; with how many conflicts repeated nets may go their own
ways; tries of repair for bringing one of them back."""
SEEDS_ALIKE = 24
"""At least so many placements are routed at each size where blocks are repeated: a good one is rarer."""
HOT = (12.0, 6.0, 3.0)
"""Temperatures at which cells are brought onto a smaller grid, one after the other."""
TILT = 1.15
"""Width to height of a grid, where nothing speaks for another."""
WANDER = 50.0
"""Temperature, in tiles of wire, at which the cells of a large machine begin: they have far to go."""
LONG_SEARCH = 60_000
"""Moves a cell by which a large machine is placed in rows, where most moves are in the way of each other."""
LONG_WAY = RouteParams(growth=1.05, most=60.0, raise_by=2.0, slack=30, recolour=5, rounds=150, stall=40)
"""How all nets of a large machine are routed: round about where the straight way is full, and in other colours."""
STUBBORN = RouteParams(present=3.0, slack=20, recolour=1)
"""The same where few of them are in conflict: rounds take little time then."""
AGAIN = RouteParams(present=2.0, growth=1.05, most=60.0, raise_by=3.0, slack=20, recolour=1, rounds=60, stall=30)
"""How nets of a large machine that are still in conflict are routed again, with no memory of earlier conflicts: tiles
that have become too dear for all are free again."""
TURNS, IDLE_TURNS = 12, 4
"""How often at most, and how often in a row in vain."""
VAIN, NEARLY, NEARLY_ALIKE = 2, 8, 5
"""After so many packings of a large machine in vain no other is tried; a placement with so few conflicts is repaired
before another is made; where blocks are repeated, no other is made."""
SETTLES = 3
"""Turns of easing and repair, at most."""
CHUNK, CHUNKS = 500, 12
"""Tries of repair of a large machine until it begins anew, hot again, and how often it does at most."""
FIRST_BROAD = 4
"""A broad machine begins with that one of the sizes, or, in rows, with the next: on smaller ones conflicts stay."""
FEW = 30
"""So many conflicts, or one for four signals, are worth a repair where a larger grid may be tried."""
HOPELESS = 1.5
"""With so many times more conflicts in one placement of a large machine no other is made on that grid, and the next
size is left out."""
STRICT = ColourParams(clash=300.0)
"""How colours of a large machine are chosen: clashes that are left are many."""
TIGHT = ((3, 1, 1.2), (2, 1, 1.35), (2, 1, 1.25))
"""Tried in this order where the limits of the grid rule out the others."""
TIGHTEST = PlaceParams(gap_x=1, gap_y=1, margin=0)
"""The least room around a cell: what shrinking may leave."""
DENSE = PlaceParams(gap_x=2, gap_y=1, margin=0)
"""The room that a cell is given on a tight grid, where there is enough."""
WIDER = (1.15, 1.3, 1.6)
"""What limits that allow no layout are stretched by, to cut one down to them."""
LEAST_CUTS, LEAST_STALL = 120, 20
"""How often that is tried at least, and given up after so many failures in a row."""
UNLIMITED = 1_000_000
"""Limits whose product is at least so many tiles are none."""
POLISH_HEAT = 8.0
"""Temperature at which polish begins, in prices of the style: fewer crossovers are found by way of worse layouts."""
FLOW, TOGETHER = 0.1, 1.0
"""Prices of tidy placement, in tiles of wire: of a row by which a sink stands above its driver, and of a tile of half
the circumference of a block's box."""
SIZE_STEPS = 40
"""How often a size is made larger for tiles that a floorplan closes."""


@dataclass(frozen=True)
class LayoutParams:
    """`max_width` and `max_height` limit the grid, in tiles; `weights` are the prices of the style. Of the sizes that a
    machine may be tried on (STEPS), `first_size` and those before `last_size` are."""

    effort: str = "normal"
    seed: int = 1
    max_width: int = MAX_GRID_SIDE
    max_height: int = MAX_GRID_SIDE
    style: str = STYLES[0]
    weights: Weights | None = None
    first_size: int = 0
    last_size: int = 1_000

    @property
    def prices(self) -> Weights:
        """`weights`, or else those of the built-in target."""
        return self.weights or load_target().weights(self.style)

    @property
    def is_limited(self) -> bool:
        """Whether the limits are such that a machine may not find room."""
        return self.max_width * self.max_height < UNLIMITED


@dataclass(frozen=True)
class Found:
    """What one beginning has come to: a legal board or None, and the sizes that failed, with what was in the way.
    It spent `placements`, `iterations` (rounds of routing and tries of repair) and `cuts`. `least` is the smallest size
    of a legal board that was still beyond the limits; `cost` is that of the board, with the style's weights."""

    board: Board | None
    troubles: tuple[Trouble, ...]
    placements: int
    iterations: int
    cuts: int
    least: tuple[int, int] | None = None
    cost: float = inf

    @property
    def area(self) -> int:
        """In tiles; FAR_OFF squared where no board is legal."""
        return FAR_OFF * FAR_OFF if self.board is None else int(self.board.size[0] * self.board.size[1])


def begin(netlist: Netlist, params: LayoutParams, number: int, watch: Ints | None = None) -> Found:
    """Beginning `number`: on grids that grow until a layout is legal, which is then cut down. The same arguments give
    the same result, unless WATCH_STOP of `watch` is set meanwhile; so for the others below."""
    search = Search(netlist, params, number, watch)
    return search.found(search.cut_down(search.first_legal()))


def begin_from(netlist: Netlist, params: LayoutParams, number: int, model: Board, watch: Ints | None = None) -> Found:
    """Beginning `number` from a legal layout: stirred, or, where tidy, placed anew; and cut down."""
    search = Search(netlist, params, number, watch)
    return search.found(search.cut_down(search.another_than(model)))


def cut_down(netlist: Netlist, params: LayoutParams, number: int, board: Board, watch: Ints | None = None) -> Found:
    """Takes rows and columns out of a legal board."""
    search = Search(netlist, params, number, watch)
    return search.found(search.cut_down(board))


def finish(netlist: Netlist, params: LayoutParams, number: int, board: Board, watch: Ints | None = None) -> Found:
    """Polishes a legal board."""
    search = Search(netlist, params, number, watch)
    if search.repeats and not are_alike(search.shape, board):
        search.forget_repeats()
    return search.found(search.polish(board) if netlist.signals else board)


def num_closed(netlist: Netlist, width: int, height: int) -> int:
    """About how many tiles of a grid the floorplan closes to cells: keep-outs with a tile around them, and what lies
    beside the zone but for the panel itself."""
    site = netlist.site
    if not site.keep_out and site.zone == (None, None, None, None):
        return 0
    closed = np.zeros((height, width), np.bool_)
    panel = netlist.panel
    if panel is not None:
        left, right, top, bottom = site.zone
        cell = netlist.cells[panel]
        x = width - cell.width - 1 if left is None and right is not None else 1
        y = height - cell.height - 1 if top is None and bottom is not None else 1
        x, y = next(((px, py) for c, px, py in site.pinned if c == panel), (max(0, x), max(0, y)))
        closed[:, : max(0, x + left) if left is not None else 0] = True
        closed[: max(0, y + top) if top is not None else 0] = True
        if right is not None:
            closed[:, max(0, x + right) :] = True
        if bottom is not None:
            closed[max(0, y + bottom) :] = True
        closed[y : y + cell.height, x : x + cell.width] = False
    for x0, y0, x1, y1 in site.keep_out:
        closed[max(0, y0 - 1) : max(0, y1 + 2), max(0, x0 - 1) : max(0, x1 + 2)] = True
    return int(closed.sum())


def copy_offsets(
    netlist: Netlist, repeats: Sequence[Repeat], places: PlaceParams, size: tuple[int, int], turn: int
) -> dict[tuple[int, ...], tuple[int, int]]:
    """For the cells of each copy how far they stand from those of the first: as the panel says, or side by side or
    below each other, each copy in a square of its own."""
    offsets: dict[tuple[int, ...], tuple[int, int]] = {}
    for repeat in repeats:
        cells = [netlist.cells[c] for c in repeat.cells[0]]
        area = sum((c.width + places.gap_x) * (c.height + places.gap_y) for c in cells)
        side = max(ceil(1.1 * sqrt(area)), max(c.width + places.gap_x for c in cells))
        count = len(repeat.cells)
        for number, row in enumerate(repeat.cells[1:], 1):
            if repeat.offsets:
                offsets[row] = repeat.offsets[number - 1]
            elif turn % 2 == 0 and side * count < size[0]:
                offsets[row] = (number * side, 0)
            else:
                offsets[row] = (0, number * (side + 1))
    return offsets


class Search:
    """A netlist's arrays, and what has been spent on them."""

    def __init__(self, netlist: Netlist, params: LayoutParams, number: int, watch: Ints | None = None) -> None:
        self.netlist, self.params, self.number = netlist, params, number
        self.watch = new_watch() if watch is None else watch
        self.is_tidy = params.style == "tidy"
        self.repeats = find_repeats(netlist) if self.is_tidy else ()
        self.shape: Shape = make_shape(netlist, self.watch, self.repeats)
        self.whole, self.prices = self.shape, params.prices
        self.effort = budget(params.effort, params.style, is_broad(netlist))
        self.panel = self.shape.panel if self.shape.panel >= 0 else None
        self.is_large, self.is_hopeless = is_large(netlist), False
        self.is_narrow = self.is_large and find_exits(netlist).excess > FUTILE
        self.num_placements = self.num_cuts = 0
        self.troubles: list[Trouble] = []
        self.least: tuple[int, int] | None = None
        self.rng = seeded(params.seed, 7, number)
        self._before = int(self.watch[WATCH_TRIES])

    @property
    def is_stopped(self) -> bool:
        return bool(self.watch[WATCH_STOP])

    def found(self, board: Board | None) -> Found:
        spent = int(self.watch[WATCH_TRIES]) - self._before
        cost = inf if board is None else self.cost(board)
        return Found(board, tuple(self.troubles), self.num_placements, spent, self.num_cuts, self.least, cost)

    def cost(self, board: Board) -> float:
        """What a legal board costs, repeats counted even if they were given up."""
        return cost_of(self.whole, board, self.prices)

    def tell(self, board: Board, legal: bool = False) -> None:
        self.watch[WATCH_WIDTH], self.watch[WATCH_HEIGHT] = board.size
        if legal:
            self.watch[WATCH_LEGAL] = board.size[0] * board.size[1]

    def size_for(self, area: float, places: PlaceParams, tilt: float = TILT) -> tuple[int, int] | None:
        """Width and height of about `area` tiles that are not closed, within the limits; None where the limits are
        too small."""
        margin = 2 * places.margin
        shape, pinned = self.shape, self.netlist.site.pinned
        least_w = max([int(w) + margin for w in shape.w] + [x + int(shape.w[c]) for c, x, _ in pinned], default=1)
        least_h = max([int(h) + margin for h in shape.h] + [y + int(shape.h[c]) for c, _, y in pinned], default=1)
        most_w, most_h = self.params.max_width, self.params.max_height
        if least_w > most_w or least_h > most_h:
            return None
        wanted = area
        for _ in range(SIZE_STEPS):
            width = min(most_w, max(least_w, round(sqrt(wanted * tilt))))
            height = min(most_h, max(least_h, ceil(wanted / width)))
            width = min(most_w, max(width, ceil(wanted / height)))
            lacking = area - (width * height - num_closed(self.netlist, width, height))
            if lacking <= 0 or (width, height) == (most_w, most_h):
                break
            wanted += max(1.0, lacking)
        return width, height

    def places(self, gap_x: int, gap_y: int) -> PlaceParams:
        """How cells are placed with such gaps: tidy ones in rows, but for a large machine that has failed so, and a
        broad one whose panel leaves the nets little room."""
        hot = WANDER if self.is_large else PlaceParams.hot
        places = PlaceParams(gap_x=gap_x, gap_y=gap_y, hot=hot)
        has_failed = any(trouble.conflicts is not None for trouble in self.troubles)
        is_crowded = is_broad(self.netlist) and not has_room(self.netlist)
        if not self.is_tidy or is_crowded or (self.is_large and has_failed):
            return places
        places = replace(places, is_tidy=True, flow=FLOW, together=TOGETHER)
        return replace(places, snap=True, moves_per_cell=LONG_SEARCH) if self.is_large else places

    def floor(self, places: PlaceParams) -> float:
        """Tiles that the cells need with their gaps, when packed without loss. Of an open panel only those count where
        the gap of its pixels lets no cell be."""
        tiles = sum((c.width + places.gap_x) * (c.height + places.gap_y) for c in self.netlist.cells)
        if self.shape.is_open:
            panel = self.netlist.cells[self.shape.panel]
            tiles -= (panel.width + places.gap_x) * (panel.height + places.gap_y)
            near = np.zeros((panel.height + 2 * places.gap_y, panel.width + 2 * places.gap_x), np.bool_)
            for tile in panel.tiles:
                x, y = self.netlist.tiles[tile].dx, self.netlist.tiles[tile].dy
                near[y : y + 2 * places.gap_y + 1, x : x + 2 * places.gap_x + 1] = True
            tiles += int(near.sum())
        return tiles

    def tilt(self, area: float) -> float:
        """Width to height of a first grid of that area: around an open panel there is as much room on all sides."""
        if not self.shape.is_open:
            return TILT
        width, height = int(self.shape.w[self.shape.panel]), int(self.shape.h[self.shape.panel])
        half = (width + height) / 2
        beside = max(1.0, (sqrt(half**2 + max(0.0, area - width * height)) - half) / 2)
        return (width + 2 * beside) / (height + 2 * beside)

    def first_legal(self, may_cut: bool = True) -> Board | None:
        """Grow until a layout is legal; where the limits are in the way, with `may_cut`, make it elsewhere and cut it.
        None where the limits do not allow it."""
        if self.repeats:
            board = self.first_alike() if self.params.first_size == 0 else None
            if board is not None or self.is_stopped:
                return board
            self.forget_repeats()
        limited = self.params.is_limited
        least = FIRST_BROAD + self.is_tidy if is_broad(self.netlist) and not limited else 0
        tried: set[tuple[tuple[int, int], int, int]] = set()
        for number, (gap_x, gap_y, scale) in enumerate(STEPS + TIGHT * limited):
            if not self.params.first_size <= number - least < self.params.last_size:
                continue
            places = self.places(gap_x, gap_y)
            area = self.floor(places) * scale + 30
            size = self.size_for(area, places, self.tilt(area))
            if size is None:
                self.troubles.append(Trouble(self.params.max_width, self.params.max_height, None))
                break
            if self.is_stopped or self.is_hopeless or (size, gap_x, gap_y) in tried:
                self.is_hopeless = False
                continue
            tried.add((size, gap_x, gap_y))
            board = self.attempt(size, places, number, may_skip=self.is_narrow or number < len(STEPS) - 1)
            if board is not None:
                return board
            if self.is_narrow and not limited:
                break
        return self.cut_to_limits() if limited and may_cut else None

    def cut_to_limits(self) -> Board | None:
        """A layout within wider limits, cut until it is within its own; None where that fails. The smallest size that
        was legal is kept in `least`."""
        limits = self.params.max_width, self.params.max_height
        for number, share in enumerate(WIDER):
            if self.is_stopped:
                return None
            width, height = (min(MAX_GRID_SIDE, ceil(share * limit)) for limit in limits)
            wider = replace(self.params, max_width=width, max_height=height)
            search = Search(self.netlist, wider, 1000 * (number + 1) + self.number, self.watch)
            board = search.first_legal(may_cut=False)
            self.num_placements += search.num_placements
            self.troubles += [trouble for trouble in search.troubles if trouble.conflicts is not None]
            if board is None or not self.netlist.signals:
                continue
            board = self.cut_until(board, limits)
            if board.size[0] <= limits[0] and board.size[1] <= limits[1]:
                return board
            size = int(board.size[0]), int(board.size[1])
            within = min(size[0], limits[0]), min(size[1], limits[1])
            anew = self.attempt(within, DENSE, 2000 + number, board)
            if anew is not None:
                return anew
            if self.least is None or size[0] * size[1] < self.least[0] * self.least[1]:
                self.least = size
        return None

    def cut_until(self, board: Board, limits: tuple[int, int]) -> Board:
        """Take out rows and columns until the grid is within the limits, or until that fails too often."""
        scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        failed = 0
        for _ in range(max(self.effort.cuts, LEAST_CUTS)):
            over = [axis for axis in (0, 1) if board.size[axis] > limits[axis]]
            if not over or failed >= max(self.effort.stall, LEAST_STALL) or self.is_stopped:
                break
            axis, at = pick_line(self.shape, board, self.rng)
            while axis not in over:
                axis, at = pick_line(self.shape, board, self.rng)
            less = self.cut(board, scratch, axis, at, self.effort.cut_tries)
            is_legal = less is not None and less[0] == 0
            failed = 0 if is_legal else failed + 1
            board = less[1] if less is not None and is_legal else board
        return board

    def first_alike(self) -> Board | None:
        """A legal layout whose repeated blocks are laid alike, or None."""
        for number, (gap_x, gap_y, scale) in enumerate(ALIKE):
            places = self.places(gap_x, gap_y)
            size = self.size_for(self.floor(places) * scale + 30, places)
            if size is not None and not self.is_stopped:
                board = self.attempt(size, places, 50 + number)
                if board is not None:
                    return board
        return None

    def forget_repeats(self) -> None:
        """Go on as if no block were repeated."""
        self.repeats = ()
        self.shape = make_shape(self.netlist, self.watch)

    def another_than(self, model: Board) -> Board | None:
        """A legal layout like the one given, but stirred; or a tidy one on a grid of its own, or None."""
        return self.another(self.number - 1) if self.is_tidy else self.stirred(model)

    def stirred(self, model: Board) -> Board:
        """A legal layout on the same grid, with cells moved about for a while."""
        board = copy_board(model)
        scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        params = RepairParams(
            tries=self.effort.stir, stall=self.effort.stir, rounds=3, reach=12, conflict=1000.0, wire=1.0,
            crossover=4.0, bend=0.5, hot=12.0, cold=4.0, focus=self.shape.movable,
        )  # fmt: skip
        self.tell(board, legal=True)
        left, _, _ = better(self.shape, board, scratch, params, TIGHTEST, RouteParams(), self.rng, False)
        return board if left == 0 else copy_board(model)

    def another(self, turn: int) -> Board | None:
        """A tidy layout of another shape, or None."""
        steps = ALIKE if self.repeats else STEPS[:4]
        gap_x, gap_y, scale = steps[turn % len(steps)]
        places = self.places(gap_x, gap_y)
        tilt = (1.15, 1.5, 0.9)[turn % 3]
        size = self.size_for(self.floor(places) * scale + 30, places, tilt)
        if size is None or self.is_stopped:
            return None
        return self.attempt(size, places, 100 * self.number)

    def panel_at(self) -> tuple[float, float]:
        """Where the panel begins, in fractions of the free room: at random, but that of a large machine in the middle,
        where its wires come from all sides, and opposite to a zone beside it."""
        x, y = 0.2 + 0.1 * below(self.rng, 7), 0.1 * below(self.rng, 11)
        if self.is_large:
            x, y = 0.5 + 0.2 * (x - 0.5), 0.5 + 0.1 * (y - 0.5)
        left, right, top, bottom = self.shape.zone
        x = 0.1 * x if left > -FAR_OFF else 1.0 - 0.1 * x if right < FAR_OFF else x
        y = 0.1 * y if top > -FAR_OFF else 1.0 - 0.1 * y if bottom < FAR_OFF else y
        return x, y

    def packed(self, size: tuple[int, int], places: PlaceParams, turn: int) -> Board | None:
        """A board of about that size with all cells on it; a tidy one is made higher until they fit, and where the
        limits forbid that, stacks need not stand in rows."""
        panel_at = self.panel_at()
        width, height = size
        for _ in range(TALLER if self.is_tidy else 1):
            board = make_board(self.netlist, self.shape, width, height)
            offsets = copy_offsets(self.netlist, self.repeats, places, (width, height), turn)
            if pack(self.shape, board, panel_at, places, offsets):
                return board
            if height < self.params.max_height:
                height = min(self.params.max_height, height + 1 + height // 16)
            elif width < self.params.max_width:
                width = min(self.params.max_width, width + 1 + width // 16)
            else:
                places = replace(places, is_tidy=False)
        return None

    def attempt(
        self,
        size: tuple[int, int],
        places: PlaceParams,
        number: int,
        model: Board | None = None,
        may_skip: bool = False,
    ) -> Board | None:
        """The best of some placements at one size, repaired and given more room; None unless legal. With a `model`,
        whose cells are brought onto that size, it has to do with the room that there is. With `may_skip` nothing is
        repaired where conflicts are so many that more room is the better way."""
        widen = model is None
        worth = NEARLY if self.is_narrow else max(FEW, len(self.netlist.signals) // 4)
        best = self.best_routed(size, places, number, model, worth, may_skip)
        if best is None:
            self.troubles.append(Trouble(*size, None))
            return None
        conflicts, board = best
        scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        if may_skip and conflicts > worth:
            self.troubles.append(trouble_of(self.netlist, self.shape, board, scratch))
            return None
        if conflicts > NEARLY and self.is_large:
            board, conflicts = self.settle(board, scratch, places, conflicts)
        if conflicts:
            conflicts = self.mend(board, scratch, places, self.effort.tries)
            if widen:
                board, conflicts = self.widen(board, conflicts, places)
        if 0 < conflicts <= LOOSEN and self.repeats and not self.is_stopped:
            conflicts = self.loosen(board, places)
            if widen:
                board, conflicts = self.widen(board, conflicts, places)
        if conflicts == 0 and self.repeats:
            board = self.tighten(board)
        if conflicts and not self.is_stopped:
            scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
            self.troubles.append(trouble_of(self.netlist, self.shape, board, scratch))
        return board if conflicts == 0 else None

    def best_routed(
        self,
        size: tuple[int, int],
        places: PlaceParams,
        number: int,
        model: Board | None,
        worth: int,
        may_skip: bool,
    ) -> tuple[int, Board] | None:
        """Of some placements at one size, routed, and those of a large machine repaired too, the one with fewest
        conflicts, and these; None where no cells fit. Far more conflicts than are `worth` a repair end it where it
        `may_skip`."""
        best: tuple[int, Board] | None = None
        enough = 2 if not self.is_large else NEARLY_ALIKE if self.repeats else 0
        for turn in range(max(self.effort.seeds, SEEDS_ALIKE if self.repeats else 0)):
            seed = self.params.seed * 1_000_003 + 1000 * number + turn
            if model is None:
                board = self.packed(size, places, turn)
                if board is not None:
                    place(self.drawn_out(), board, places, seed)
            else:
                board = place_densely(self.shape, model, places, size, HOT[turn % len(HOT)], seed)
            if board is None and self.is_large and turn + 1 >= VAIN:
                break
            if board is None:
                continue
            self.tell(board)
            self.num_placements += 1
            scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
            board.colour[:] = (self.shape.lead_sig[self.shape.signal_of] * 7 + turn) % COLOURS
            choose_colours(self.shape, board, scratch, STRICT if self.is_large else ColourParams(), seed)
            rip_all(board)
            conflicts, _ = route(self.shape, board, scratch, LONG_WAY if self.is_large else RouteParams(), self.rng)
            if self.is_large and conflicts <= FEW:
                board, conflicts = self.route_again(board, scratch, conflicts)
                if conflicts <= NEARLY:
                    board, conflicts = self.settle(board, scratch, places, conflicts)
            self.is_hopeless = self.is_large and conflicts > HOPELESS * worth
            if best is None or conflicts < best[0]:
                best = conflicts, board
            if conflicts <= enough or self.is_stopped or (may_skip and self.is_hopeless):
                break
        return best

    def drawn_out(self) -> Shape:
        """The shape by which cells are placed: those of a large machine as if its panel's nets ended where they leave
        the panel."""
        exits = find_exits(self.netlist).tiles if self.is_large else {}
        if not exits:
            return self.shape
        rows = []
        for s, row in enumerate(signal_tiles(self.netlist)):
            outside = [t for t in row if self.netlist.tiles[t].cell != self.panel] if s in exits else row
            rows.append([*outside, *exits.get(s, ())])
        start = np.cumsum([0, *map(len, rows)])
        return replace(self.shape, sig_start=start, sig_tiles=np.array([t for row in rows for t in row], np.int64))

    def route_again(self, board: Board, scratch: Scratch, conflicts: int) -> tuple[Board, int]:
        """Route what is left in conflict again and again; returns the best board met and its conflicts."""
        idle = 0
        for _ in range(TURNS):
            if conflicts == 0 or idle >= IDLE_TURNS or self.is_stopped:
                break
            trial = copy_board(board)
            trial.history[:] = 0.0
            left, _ = route(self.shape, trial, scratch, AGAIN, self.rng)
            idle = 0 if left < conflicts else idle + 1
            if left <= conflicts:
                board, conflicts = trial, left
        return board, conflicts

    def settle(self, board: Board, scratch: Scratch, places: PlaceParams, conflicts: int) -> tuple[Board, int]:
        """Ease and repair a large board by turns; returns the best board met and its conflicts."""
        easing = EaseParams(self.effort.tries // 10, self.effort.tries // 24)
        for _ in range(SETTLES):
            before = conflicts
            if 0 < conflicts <= FEW:
                board, conflicts = ease(self.shape, board, scratch, conflicts, easing, self.rng)
            if conflicts:
                conflicts = self.mend(board, scratch, places, self.effort.tries // 4)
            if conflicts == 0 or conflicts == before or self.is_stopped:
                break
        return board, conflicts

    def loosen(self, board: Board, places: PlaceParams) -> int:
        """Let those nets go their own ways, copy by copy, that conflict where they are laid alike; returns the
        conflicts left."""
        scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        conflicts = 0
        for _ in range(LOOSEN // 2):
            bad = np.unique(np.flatnonzero(board.bad) // COLOURS)
            board.loose[self.shape.lead_sig[bad]] = True
            conflicts = self.reroute(board, scratch, places, self.effort.tries // 4)
            if conflicts == 0:
                break
        return conflicts

    def tighten(self, board: Board) -> Board:
        """Lay nets alike again that have gone their own ways, where that leaves the layout legal."""
        scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        shape = self.shape
        for s in np.flatnonzero(np.diff(shape.sig_twin_start) > 0).tolist():
            group = [s, *shape.sig_twins[shape.sig_twin_start[s] : shape.sig_twin_start[s + 1]].tolist()]
            nets = np.array([COLOURS * one + c for one in group for c in range(COLOURS)])
            if self.is_stopped or not (board.strokes[nets] * (board.joint[nets] == 0)).any():
                continue
            before = stray_strokes(shape, board)
            trial = copy_board(board)
            trial.loose[s] = False
            first = [COLOURS * s + int(c) for c in np.flatnonzero(board.usage[s])]
            trial.bad[:] = False
            trial.bad[first] = True
            trial.joint[nets] = 0
            if self.reroute(trial, scratch, TIGHTEST, TIGHTENING) == 0 and stray_strokes(shape, trial) < before:
                board = trial
        return board

    def widen(self, board: Board, conflicts: int, places: PlaceParams) -> tuple[Board, int]:
        """Put in rows and columns where conflicts are left and repair again; returns the board and what is left."""
        idle = 0
        for _ in range(self.effort.lines):
            if conflicts == 0 or idle >= 6 or self.is_stopped:
                break
            idle += 1
            wider = self.with_some_line(board)
            if wider is None:
                continue
            self.tell(wider)
            scratch = make_scratch(self.netlist, int(wider.size[0]), int(wider.size[1]))
            left = self.reroute(wider, scratch, places, self.effort.tries // 6)
            if left < conflicts:
                idle = 0
            if left <= conflicts:
                board, conflicts = wider, left
        return board, conflicts

    def with_some_line(self, board: Board) -> Board | None:
        """The board with one more row or column near a conflict, within the limits."""
        scratch = make_scratch(self.netlist, int(board.size[0]) + 1, int(board.size[1]) + 1)
        for _ in range(8):
            axis, at = pick_gap(self.shape, board, self.panel, self.rng)
            if board.size[axis] < (self.params.max_width, self.params.max_height)[axis]:
                wider = with_line(self.shape, board, scratch, axis, at, self.is_tidy)
                if wider is not None:
                    return wider
        return None

    def reroute(self, board: Board, scratch: Scratch, places: PlaceParams, tries: int) -> int:
        """Route what a new or a missing line has upset, and repair; returns the conflicts left."""
        params = STUBBORN if self.is_large else RouteParams(rounds=12, stall=5)
        left, _ = route(self.shape, board, scratch, params, self.rng)
        return self.mend(board, scratch, places, tries) if left else left

    def mend(self, board: Board, scratch: Scratch, places: PlaceParams, tries: int) -> int:
        """Repair until nothing is illegal; returns the conflicts left."""
        if self.is_large:
            return self.mend_in_chunks(board, scratch, places, tries)
        np.minimum(board.history, WORST, out=board.history)
        params = RepairParams(tries=tries, stall=max(300, tries // 2))
        left, _, _ = better(self.shape, board, scratch, params, places, RouteParams(), self.rng, True)
        return left

    def mend_in_chunks(self, board: Board, scratch: Scratch, places: PlaceParams, tries: int) -> int:
        """The same for a large machine, again and again from the best state met, with no memory of conflicts."""
        left = 1
        for _ in range(min(CHUNKS, ceil(tries / CHUNK))):
            if left == 0 or self.is_stopped:
                break
            board.history[:] = 0.0
            params = RepairParams(tries=CHUNK, stall=CHUNK // 2)
            left, _, _ = better(self.shape, board, scratch, params, places, RouteParams(), self.rng, True)
        return left

    def cut_down(self, board: Board | None) -> Board | None:
        """Take out rows and columns of a legal board, if there is one and it has wires."""
        if board is None or not self.netlist.signals:
            return board
        self.tell(board, legal=True)
        return self.sift(board) if self.effort.sieve else self.shrink(board)

    def sift(self, board: Board) -> Board:
        """Take out rows and columns until the sieve finds none that can go."""
        for _ in range(self.effort.cuts):
            less = smaller(Sifter(self, board), board, self.effort.sieve)
            if less is None:
                break
            board = less
            self.tell(board, legal=True)
        return board

    def shrink(self, board: Board) -> Board:
        """Take out rows and columns as long as the rest can be made legal again and costs less."""
        scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        failed = 0
        for _ in range(self.effort.cuts):
            if failed >= self.effort.stall or self.is_stopped:
                break
            less = self.cut(board, scratch, *pick_line(self.shape, board, self.rng), self.effort.cut_tries)
            better_now = less is not None and less[0] == 0 and self.cost(less[1]) < self.cost(board)
            failed = 0 if better_now else failed + 1
            if less is not None and better_now:
                board = less[1]
                self.tell(board, legal=True)
        return board

    def cut(self, board: Board, scratch: Scratch, axis: int, at: int, tries: int) -> tuple[int, Board] | None:
        """The board without column (`axis` 0) or row (1) `at` after so many tries of repair, and the conflicts left.
        None where cells stand in the way of each other: they are moved on the board itself, so that the next cut may
        do."""
        loose = RepairParams(
            tries=40, stall=40, rounds=3, reach=12, conflict=1000.0, wire=1.0, crossover=4.0, bend=0.5,
            hot=6.0, cold=3.0,
        )  # fmt: skip
        self.num_cuts += 1
        less = without_line(self.shape, board, scratch, TIGHTEST, axis, at, self.is_tidy)
        if isinstance(less, Board):
            return self.reroute(less, scratch, TIGHTEST, tries), less
        movable = set(self.shape.movable.tolist())
        focus = np.array([c for c in less.tolist() if c in movable], np.int64)
        if len(focus):
            near_them = replace(loose, focus=focus)
            better(self.shape, board, scratch, near_them, TIGHTEST, RouteParams(), self.rng, False)
        return None

    def polish(self, board: Board) -> Board:
        """Less wire, fewer crossovers and turns, keeping the layout legal."""
        scratch: Scratch = make_scratch(self.netlist, int(board.size[0]), int(board.size[1]))
        kept = copy_board(board)
        prices = self.prices
        params = RepairParams(
            tries=self.effort.polish, stall=self.effort.polish, rounds=3, conflict=1000.0, wire=prices.wire,
            crossover=prices.crossover, bend=prices.bend, stroke=prices.stroke, hot=POLISH_HEAT, cold=0.3,
        )  # fmt: skip
        self.tell(board, legal=True)
        routes = RouteParams(cross=0.5 * prices.crossover / max(prices.wire, 0.1))
        left, _, _ = better(self.shape, board, scratch, params, TIGHTEST, routes, self.rng, False)
        return board if left == 0 else kept


class Sifter:
    """What the sieve asks of a search (`sieve.Cutter`), on a grid no larger than that of a board."""

    def __init__(self, search: Search, board: Board) -> None:
        self.search = search
        self.scratch = make_scratch(search.netlist, int(board.size[0]), int(board.size[1]))

    @property
    def is_stopped(self) -> bool:
        return self.search.is_stopped

    def pick(self, board: Board) -> tuple[int, int]:
        return pick_line(self.search.shape, board, self.search.rng)

    def without(self, board: Board, line: tuple[int, int], tries: int) -> tuple[int, Board] | None:
        return self.search.cut(board, self.scratch, *line, tries)

    def go_on(self, board: Board, tries: int) -> int:
        return self.search.mend(board, self.scratch, TIGHTEST, tries)

    def is_better(self, board: Board, than: Board) -> bool:
        return self.search.cost(board) < self.search.cost(than)
