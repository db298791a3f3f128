"""Mend a layout near an old plan: legal first, and then few tiles that differ.

Annealing (N. Metropolis et al., J. Chem. Phys. 21, 1953) as in `repair.py`, with other moves and another energy: a
net is put back onto its old tiles, a colour is changed, a new cell takes another place, and only now and then an old
cell moves by a little; conflicts and tiles that differ are what counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from hdl2grid.base.annealing import accepts, cooling
from hdl2grid.base.rng import below
from hdl2grid.layout.arrays import COLOURS, Board, Scratch, Shape, copy_board, restore
from hdl2grid.layout.occupancy import lay, lay_all, pins_of
from hdl2grid.layout.placement import index_tiles
from hdl2grid.layout.repair import change_colours, mark_cell, mark_covered, pick_cell, reroute_bad
from hdl2grid.layout.routing import RouteParams, find_conflicts
from hdl2grid.layout.units import Room, fits, mirror, move_to, stamp_cell

Route = tuple[list[int], list[int]]
State = tuple[int, int, Board]
"""Conflicts, tiles that differ, and a copy of the board."""


@dataclass(frozen=True)
class Before:
    """The old plan on a grid of the board's size: which colours lie on each tile, what stands there (a number for
    each kind of device, 0 for none), where crossovers lie, the number of each netlist tile's device, and, for nets
    that continue old ones, the routes as grid tiles and what the net does on them, and which of those were pins."""

    wires: npt.NDArray[np.bool_]
    devices: npt.NDArray[np.int64]
    crossed: npt.NDArray[np.bool_]
    device_of: npt.NDArray[np.int64]
    routes: dict[int, Route]
    pins: dict[int, frozenset[int]]


@dataclass(frozen=True)
class NearParams:
    """Each annealing makes at most `tries`, from one temperature to another.

    As long as something is in conflict, a conflict counts as much as `conflict` tiles that differ, and `dearer` times
    more with each of `cycles` annealings; their temperatures, `hot` to `cool`, are counted in conflicts, so that the
    search stays able to leave a state with few. Then come `polish` annealings from `warm` to `cold`, in tiles, which
    end after `stall` tries without a better state; in these a tile that did not bear the wire's colour costs the
    router `strange` tiles more.
    """

    tries: int = 6000
    stall: int = 2500
    rounds: int = 4
    cycles: int = 4
    dearer: float = 2.0
    conflict: float = 25.0
    hot: float = 0.7
    cool: float = 0.25
    polish: int = 2
    warm: float = 8.0
    cold: float = 0.7
    strange: float = 1.0
    reach: int = 5


def touched(before: Before, shape: Shape, board: Board) -> int:
    """Tiles on which wire, a device or a crossover differs from the old plan's."""
    differ = ((board.ways_on.sum(2) > 0) != before.wires).any(0)
    differ |= (board.crossings.ravel() > 0) != before.crossed
    now = np.zeros_like(before.devices)
    width = int(board.size[0])
    now[(board.y[shape.cell_of] + board.dy) * width + board.x[shape.cell_of] + board.dx] = before.device_of
    return int((differ | (now != before.devices)).sum())


def mend_near(
    shape: Shape, board: Board, scratch: Scratch, before: Before, loose: list[int], params: NearParams, rng: Any
) -> tuple[int, int]:
    """Betters the board; returns (conflicts, tiles touched) of the best state met, which it ends in."""
    search = _Mender(shape, board, scratch, before, loose, params, rng)
    return search.run()


class _Mender:
    def __init__(
        self,
        shape: Shape,
        board: Board,
        scratch: Scratch,
        before: Before,
        loose: list[int],
        params: NearParams,
        rng: Any,
    ) -> None:
        self.shape, self.board, self.scratch, self.before = shape, board, scratch, before
        self.loose, self.params, self.rng = loose, params, rng
        self.routes = RouteParams(rounds=params.rounds, present=5.0, growth=1.5, raise_by=0.3)
        self.home = board.x.copy(), board.y.copy()
        self.changed = np.zeros((2, len(board.colour) + 2), np.int64)
        self.moved = np.zeros(len(board.bad), np.bool_)
        self.floor: npt.NDArray[np.float64] = np.zeros(before.wires.shape)
        self.listed = np.zeros(len(board.bad), np.int64)

    def run(self) -> tuple[int, int]:
        board, params = self.board, self.params
        lay_all(board)
        conflicts = int(find_conflicts(board, self.scratch, 0.0))
        best = conflicts, touched(self.before, self.shape, board), copy_board(board)
        worth = params.conflict
        for _ in range(params.cycles):
            if best[0] == 0:
                break
            best = self.anneal(best, worth, params.hot * worth, params.cool * worth)
            worth *= params.dearer
        self.floor = np.where(self.before.wires, 0.0, params.strange)
        for _ in range(params.polish if best[0] == 0 else 0):
            best = self.anneal(best, params.conflict, params.warm, params.cold)
        restore(board, best[2])
        lay_all(board)
        find_conflicts(board, self.scratch, 0.0)
        return best[:2]

    def anneal(self, best: State, price: float, hot: float, cold: float) -> State:
        """From the best state met so far; ends as soon as it is legal, if it was not before."""
        board, params = self.board, self.params
        restore(board, best[2])
        lay_all(board)
        conflicts, differ = int(find_conflicts(board, self.scratch, 0.0)), best[1]
        was_legal = conflicts == 0
        now = price * conflicts + differ
        factor, heat, since = cooling(hot, cold, params.tries), hot, 0
        for _ in range(params.tries):
            heat *= factor
            since += 1
            if best[1] == 0 or (was_legal and since > params.stall) or (best[0] == 0 and not was_legal):
                break
            aside = copy_board(board)
            if not self.move(conflicts):
                continue
            fresh = self.settle()
            was, differ = differ, touched(self.before, self.shape, board)
            value = price * fresh + differ
            if accepts(self.rng, value - now, heat):
                now, conflicts = value, fresh
                if (fresh > 0, value) < (best[0] > 0, price * best[0] + best[1]):
                    best, since = (fresh, differ, copy_board(board)), 0
            else:
                differ = was
                restore(board, aside)
        return best

    def settle(self) -> int:
        """Reroutes what a move has marked, and what that puts in conflict, for some rounds."""
        np.maximum(0.9 * self.board.history, self.floor, out=self.board.history)
        return int(reroute_bad(self.rng, self.shape, self.board, self.scratch, self.routes, self.moved, self.listed))

    def nets(self, conflicts: int) -> list[int]:
        """Those in conflict; where there are none, those that do not lie as before."""
        board = self.board
        if conflicts:
            return [int(n) for n in np.flatnonzero(board.bad) if board.length[n] > 0]
        lying = np.flatnonzero(board.length > 0).tolist()
        return [n for n in lying if not self.is_as_before(n)]

    def is_as_before(self, net: int) -> bool:
        old = self.before.routes.get(net)
        if old is None or len(old[0]) != self.board.length[net]:
            return False
        return set(old[0]) == set(self.board.route[net, : self.board.length[net]].tolist())

    def move(self, conflicts: int) -> bool:
        """One change; what it concerns is marked bad."""
        nets = self.nets(conflicts)
        if not nets:
            return False
        net = nets[below(self.rng, len(nets))]
        dice = below(self.rng, 100)
        self.board.bad[...] &= conflicts > 0
        if dice < 25:
            return self.put_back(net if below(self.rng, 2) else self.any_moved())
        if dice < 60:
            return int(change_colours(self.rng, net, self.shape, self.board, self.scratch, self.changed)) > 0
        if dice < 77 and self.loose:
            return self.shift(self.loose[below(self.rng, len(self.loose))], 2 * self.params.reach)
        if dice < 84:
            return self.bring_back()
        if dice < 90:
            return self.shift(int(pick_cell(self.rng, self.shape, self.board, net)), 3)
        if dice < 95:
            return self.exchange(int(pick_cell(self.rng, self.shape, self.board, net)))
        self.board.bad[net] = True
        return True

    def any_moved(self) -> int:
        moved = [n for n in self.before.routes if not self.is_as_before(n)]
        return moved[below(self.rng, len(moved))] if moved else -1

    def put_back(self, net: int) -> bool:
        """Lays a net where it lay; what is in its way is marked."""
        old, board = self.before.routes.get(net), self.board
        if old is None or self.is_as_before(net) or board.usage[net // COLOURS, net % COLOURS] == 0:
            return False
        lay(net, board, -1)
        tiles, ways = old
        board.length[net] = len(tiles)
        board.route[net, : len(tiles)], board.ways[net, : len(tiles)] = tiles, ways
        board.reached[net] = True
        lay(net, board, 1)
        find_conflicts(board, self.scratch, 0.0)
        board.bad[net] = not self.fits_old(net)
        return True

    def fits_old(self, net: int) -> bool:
        """Whether the old route reaches all pins, passes under no other device, and has no end too many."""
        pins = self.scratch.pins
        wanted = set(pins[: pins_of(net, self.shape, self.board, pins, False)].tolist())
        tiles = self.before.routes[net][0]
        strange = any(self.board.tile_at[t] >= 0 and t not in wanted for t in tiles)
        return wanted <= set(tiles) and not strange and self.before.pins[net] <= wanted

    def exchange(self, cell: int) -> bool:
        """Two toggles of a cell trade places, or the cell is mirrored."""
        shape, board = self.shape, self.board
        tiles = shape.swap_tiles[shape.swap_start[cell] : shape.swap_start[cell + 1]]
        if shape.mirrorable[cell]:
            mirror(cell, shape, board)
        elif len(tiles) >= 2:
            a, b = tiles[below(self.rng, len(tiles))], tiles[below(self.rng, len(tiles))]
            if a == b:
                return False
            board.dy[a], board.dy[b] = board.dy[b], board.dy[a]
        else:
            return False
        index_tiles(shape, board)
        mark_cell(cell, shape, board)
        return True

    def shift(self, cell: int, reach: int) -> bool:
        board = self.board
        x = int(board.x[cell]) + below(self.rng, 2 * reach + 1) - reach
        y = int(board.y[cell]) + below(self.rng, 2 * reach + 1) - reach
        if (x, y) == (board.x[cell], board.y[cell]):
            return False
        return self.move_cell(cell, x, y, 1)

    def bring_back(self) -> bool:
        """A cell that has left its first place goes back there."""
        board = self.board
        away = np.flatnonzero((board.x != self.home[0]) | (board.y != self.home[1])).tolist()
        if not away:
            return False
        cell = away[below(self.rng, len(away))]
        return self.move_cell(cell, int(self.home[0][cell]), int(self.home[1][cell]), 0)

    def move_cell(self, cell: int, x: int, y: int, gap: int) -> bool:
        shape, board = self.shape, self.board
        stamp_cell(cell, shape, board, -1)
        room = fits(cell, x, y, shape, board, Room(gap_x=gap, gap_y=1, margin=0))
        stamp_cell(cell, shape, board, cell)
        if not room:
            return False
        move_to(shape, board, cell, x, y)
        index_tiles(shape, board)
        mark_cell(cell, shape, board)
        mark_covered(np.array([cell], np.int64), 1, shape, board, self.scratch)
        return True
