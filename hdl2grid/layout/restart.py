"""One restart of the search: what it works on, and what it has spent and found."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

from hdl2grid.base.failure_report import FailureReport
from hdl2grid.base.rng import seeded
from hdl2grid.layout.arrays import (
    FAR_OFF,
    WATCH_HEIGHT,
    WATCH_LEGAL,
    WATCH_STOP,
    WATCH_TRIES,
    WATCH_WIDTH,
    Board,
    Ints,
    Scratch,
    Shape,
    make_scratch,
    make_shape,
    new_watch,
)
from hdl2grid.layout.cost import cost_of
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.matched_blocks import MatchedBlock, find_matched_blocks
from hdl2grid.layout.placement import PlaceParams
from hdl2grid.layout.regime import Regime
from hdl2grid.nets.model import Netlist

TIGHTEST = PlaceParams(gap_x=1, gap_y=1, margin=0)
"""The least room around a cell, in tiles: pins must be reached. Repair and shrinking may leave no more."""


@dataclass(frozen=True)
class Found:
    """What one restart has come to: a legal board or None, and the sizes that failed, with what was in the way.
    It spent `placements`, `iterations` (rounds of routing and tries of repair) and `cuts`. `least` is the smallest size
    of a legal board that was still beyond the limits; `cost` is that of the board, with the style's weights."""

    board: Board | None
    failures: tuple[FailureReport, ...]
    placements: int
    iterations: int
    cuts: int
    least: tuple[int, int] | None = None
    cost: float = inf

    @property
    def area(self) -> int:
        """In tiles; FAR_OFF squared where no board is legal."""
        return FAR_OFF * FAR_OFF if self.board is None else int(self.board.size[0] * self.board.size[1])


class Restart:
    """A netlist's arrays, the restart's own random numbers, and what has been spent. `number` tells restarts of one
    search apart."""

    def __init__(
        self, netlist: Netlist, params: LayoutParams, regime: Regime, number: int, watch: Ints | None = None
    ) -> None:
        self.netlist, self.params, self.regime, self.number = netlist, params, regime, number
        self.effort, self.prices = regime.efforts[params.effort], params.prices
        self.watch = new_watch() if watch is None else watch
        self.blocks: tuple[MatchedBlock, ...] = find_matched_blocks(netlist) if regime.matched_blocks else ()
        self.shape: Shape = make_shape(netlist, self.watch, self.blocks, regime.is_open)
        self.whole = self.shape
        self.rng = seeded(params.seed, 7, number)
        self.num_placements = self.num_cuts = 0
        self.failures: list[FailureReport] = []
        self.least: tuple[int, int] | None = None
        self.is_hopeless = False
        self._before = int(self.watch[WATCH_TRIES])

    @property
    def is_stopped(self) -> bool:
        return bool(self.watch[WATCH_STOP])

    def found(self, board: Board | None) -> Found:
        spent = int(self.watch[WATCH_TRIES]) - self._before
        cost = inf if board is None else self.cost(board)
        return Found(
            board=board,
            failures=tuple(self.failures),
            placements=self.num_placements,
            iterations=spent,
            cuts=self.num_cuts,
            least=self.least,
            cost=cost,
        )

    def cost(self, board: Board) -> float:
        """What a legal board costs. Repeated blocks count even after they were forgotten."""
        return cost_of(self.whole, board, self.prices)

    def tell(self, board: Board, legal: bool = False) -> None:
        """Tell who watches on which size the restart works, and the area of a legal board."""
        self.watch[WATCH_WIDTH], self.watch[WATCH_HEIGHT] = board.size
        if legal:
            self.watch[WATCH_LEGAL] = board.size[0] * board.size[1]

    def scratch_for(self, board: Board, more: int = 0) -> Scratch:
        """Scratch room for a board, or for one with so many columns and rows more."""
        width, height = int(board.size[0]) + more, int(board.size[1]) + more
        return make_scratch(self.netlist, width, height, self.regime.max_history)

    def forget_matched_blocks(self) -> None:
        """Go on as if no block were repeated."""
        self.blocks = ()
        self.shape = make_shape(self.netlist, self.watch, (), self.regime.is_open)
