"""Lay a netlist out near an old plan: what continues stays where it is, with its wires; the rest is fitted in.

Cells that continue old ones stand on their tiles, nets that continue old ones keep colour and route. New cells take
free places close to what they are wired to, and changed nets are routed around what lies there; wires that stand in
their way are mended where they do, and not taken up.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hdl2grid.base.progress import Progress, silent
from hdl2grid.base.rng import below, seeded
from hdl2grid.circuit.match import match_circuits
from hdl2grid.circuit.model import Circuit
from hdl2grid.layout.arrays import COLOURS, Board, Shape, copy_board, make_board, make_scratch, make_shape, restore
from hdl2grid.layout.colouring import count_usage, variable_clashes
from hdl2grid.layout.crew import Stop
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.lay_out import Layout, LayoutStats
from hdl2grid.layout.near_repair import Before, NearParams, Route, mend_near
from hdl2grid.layout.net_tree import Prices
from hdl2grid.layout.occupancy import lay_all
from hdl2grid.layout.old_plan import Drivers, OldPlan, Tile
from hdl2grid.layout.placement import close_tiles, in_order, index_tiles
from hdl2grid.layout.regime import regime_of
from hdl2grid.layout.repair import RepairParams, better
from hdl2grid.layout.restart import TIGHTEST
from hdl2grid.layout.routing import RouteParams, find_conflicts, reroute
from hdl2grid.layout.units import Room, fits, stamp_cell
from hdl2grid.nets.model import Netlist
from hdl2grid.plan.model import Device

_ROOM = (2, 4, 8)
"""Free columns and rows to the right of the old plan and below it: tried in turn."""
_FIRST = 1
"""The room, as a number, in which every case is tried first."""
_KEEN = 2
"""The best cases together are tried so often in each room as there are tries."""
_TIRED = 0.1
"""Share by which a case counts as worse with each try. Guessed."""
_TRIES = {"quick": 1, "normal": 4, "long": 12}
"""Tries of each room, by effort. Guessed."""
_MORE = 3
"""Times as many tries while more than _ENOUGH of the tiles in use are touched. Guessed."""
_ENOUGH = 0.12
"""Share of the tiles in use. Guessed."""
_LITTLE = 0.04
"""Share of the tiles in use: no further case is tried once fewer are touched. Guessed."""
_TRIES_A_CELL = 150
"""Tries of repair near the old plan, for each cell. Guessed."""
_REPAIRS = 4000
"""Tries of the repair that heeds no old plan, where no other layout near it is legal. Guessed."""
_NONE = 1 << 30
"""Tiles touched by a layout that there is not: more than any grid has."""
_FEW = 12
"""Tiles touched with which nothing else is tried. Guessed."""
_ROUNDS = 40
"""Rounds of routing. Guessed."""
_HOLD = 12
"""Rounds in which only new and changed nets give way; after them all do. Guessed."""
_GAPS = ((2, 1), (1, 1))
"""Free columns and rows around a new cell, tried one after the other. Guessed."""
_COVERED = 6
"""Price of a wire that a new cell would cover, in tiles of wire. Guessed."""
_ELSEWHERE = 1
"""Tiles: places no further apart count as one. Guessed."""


@dataclass(frozen=True)
class NearLayout:
    """A layout near an old plan, and the number of the case that it is of."""

    layout: Layout
    case: int


def lay_out_near(
    cases: Sequence[tuple[Netlist, Circuit]],
    old: OldPlan,
    params: LayoutParams,
    progress: Progress = silent,
    stop: Stop | None = None,
) -> NearLayout | None:
    """A legal layout of one of the cases that touches few tiles of the old plan's, its origin kept; None where none was
    found. Every case is tried once, and then the most promising ones in every room. After `stop.set()` the best so far
    is handed out."""
    search = _Search(cases, old, params, progress, stop)
    search.run()
    best = search.best
    if best is None:
        return None
    board = best.board
    wire, over = int(board.length.sum()), int((board.crossings > 0).sum())
    tries = sum(case.num_tries for case in search.cases)
    is_stopped = stop is not None and stop.is_set
    return NearLayout(
        Layout(
            board,
            LayoutStats(
                num_restarts=1,
                num_placements=search.done,
                num_iterations=tries,
                num_cuts=0,
                num_failed_sizes=0,
                is_stopped=is_stopped,
                wire_tiles=wire,
                crossovers=over,
            ),
        ),
        best.case,
    )


@dataclass(frozen=True)
class _Attempt:
    """A legal layout of a case that touches `differ` tiles."""

    differ: int
    case: int
    board: Board


class _Search:
    """Which case is tried in which room, and the best layout so far."""

    def __init__(
        self,
        cases: Sequence[tuple[Netlist, Circuit]],
        old: OldPlan,
        params: LayoutParams,
        progress: Progress,
        stop: Stop | None,
    ) -> None:
        self.old, self.params, self.progress, self.stop = old, params, progress, stop
        self.cases = [_Near(netlist, circuit, old, params) for netlist, circuit in cases]
        self.turns = [0] * len(cases)
        self.differ = [_NONE] * len(cases)
        self.num_used = len(_in_use(old))
        self.total = _KEEN * len(_ROOM) * _TRIES[params.effort]
        self.best: _Attempt | None = None
        self.done = 0

    def run(self) -> None:
        for case in range(len(self.cases)):
            if self.try_case(case, _FIRST):
                return
            if self.is_within(_LITTLE):
                break
        for number in range(_MORE * self.total):
            if number >= self.total and self.is_within(_ENOUGH):
                return
            case = self.promising()
            if self.try_case(case, (_FIRST + self.turns[case]) % len(_ROOM)):
                return

    def promising(self) -> int:
        """The case that touches the fewest tiles, of those that were not tried much more often than others."""
        return min(range(len(self.cases)), key=lambda c: (self.differ[c] * (1 + _TIRED * self.turns[c]), c))

    def is_within(self, share: float) -> bool:
        """Whether no more than that share of the tiles in use are touched."""
        return self.best is not None and self.best.differ <= share * self.num_used

    def is_done(self) -> bool:
        is_stopped = self.stop is not None and self.stop.is_set
        return is_stopped or (self.best is not None and self.best.differ <= _FEW)

    def try_case(self, case: int, room: int) -> bool:
        """Lays a case once more; whether that is enough."""
        params, plan = self.params, self.old.plan
        width, height = (
            min(params.max_width, plan.width + _ROOM[room]),
            min(params.max_height, plan.height + _ROOM[room]),
        )
        if width < plan.width or height < plan.height:
            return True
        self.turns[case] += 1
        found = self.cases[case].attempt(width, height, self.best is None)
        if found is not None:
            differ, board = found
            self.differ[case] = min(differ, self.differ[case])
            if self.best is None or differ < self.best.differ:
                self.best = _Attempt(differ, case, board)
        self.done += 1
        told = f"{self.best.differ} tiles touched" if self.best is not None else "not legal yet"
        planned = len(self.cases) + self.total
        self.progress(f"layout near the old plan: {told}", self.done, max(planned, self.done))
        return self.is_done()


class _Near:
    def __init__(self, netlist: Netlist, circuit: Circuit, old: OldPlan, params: LayoutParams) -> None:
        self.netlist, self.old = netlist, old
        self.regime = regime_of(netlist, params.style)
        self.shape: Shape = make_shape(netlist, is_open=self.regime.is_open)
        self.names = match_circuits(circuit, old.circuit)
        self.rng = seeded(params.seed, 11)
        self.num_tries = 0
        self.tried: dict[int, list[tuple[int, int]]] = {}
        self.wants: dict[int, Drivers] = {}
        for sink in netlist.sinks:
            drivers = frozenset(d for s in sink.signals for d in netlist.signals[s].drivers)
            self.wants.update(dict.fromkeys(sink.tiles, self.old_names(drivers)))
        self.signals = [self.old_names(frozenset(signal.drivers)) for signal in netlist.signals]
        self.loads = _loads(old)
        self.taken: dict[int, Route] = {}

    def old_names(self, drivers: Drivers) -> Drivers:
        return frozenset(self.names.get(d, f"new {d}") for d in drivers)

    def attempt(self, width: int, height: int, is_dear: bool) -> tuple[int, Board] | None:
        """One board: cells kept and fitted in, colours and routes taken over, the rest routed; None unless legal. Where
        `is_dear`, it is also mended with no heed of the old plan."""
        board = make_board(self.netlist, self.shape, width, height)
        loose = self.place_kept(board)
        for cell in loose:
            if not self.fit_in(board, cell):
                return None
        index_tiles(self.shape, board)
        scratch = make_scratch(self.netlist, width, height, self.regime.max_history)
        fresh = self.take_colours(board)
        self.choose_colours(board, scratch, fresh)
        changed = self.take_routes(board)
        conflicts = self.route(board, scratch, changed)
        before = self.before_on(board)
        tries = _TRIES_A_CELL * len(self.netlist.cells)
        params = NearParams(tries=tries, stall=tries // 2)
        conflicts, differ = mend_near(self.shape, board, scratch, before, loose, params, self.rng)
        self.num_tries += tries
        if conflicts and is_dear:
            free = RepairParams(tries=_REPAIRS, stall=_REPAIRS)
            conflicts, _, used = better(self.shape, board, scratch, free, TIGHTEST, RouteParams(), self.rng, True)
            self.num_tries += used
            if conflicts == 0:
                conflicts, differ = mend_near(self.shape, board, scratch, before, loose, params, self.rng)
        legal = conflicts == 0 and in_order(self.shape, board)
        return (differ, board) if legal else None

    # ---- places

    def place_kept(self, board: Board) -> list[int]:
        """Puts every cell that continues one on its old tiles; returns those that cannot be, or are new."""
        loose = []
        pinned = self.shape.pinned
        for number in np.flatnonzero(pinned).tolist():
            stamp_cell(number, self.shape, board, number)
        order = sorted(range(len(self.netlist.cells)), key=lambda c: (self.netlist.cells[c].kind != "panel", c))
        if self.shape.panel < 0:
            close_tiles(self.shape, board)
        for number in order:
            if pinned[number]:
                if number == self.shape.panel:
                    close_tiles(self.shape, board)
                continue
            corner = self.corner(board, number)
            if (
                corner is None
                or not fits(number, *corner, self.shape, board, Room(gap_x=0, gap_y=0, margin=0))
                or self.touches(board, number, corner)
            ):
                loose.append(number)
                continue
            board.x[number], board.y[number] = corner
            stamp_cell(number, self.shape, board, number)
            if number == self.shape.panel:
                close_tiles(self.shape, board)
        return loose

    def touches(self, board: Board, number: int, corner: Tile) -> bool:
        """Whether a stack of another height than the old one's would stand right above or below another cell."""
        return self.netlist.cells[number].kind in ("stack", "register") and not fits(
            number, *corner, self.shape, board, Room(gap_x=0, gap_y=1, margin=0)
        )

    def corner(self, board: Board, number: int) -> Tile | None:
        """The top left tile of a cell on its old tiles; its toggles and columns are put in the old order."""
        cell = self.netlist.cells[number]
        if cell.kind == "panel":
            return self.panel_corner(number)
        if cell.kind == "pixel":
            return next((tile for tile, signal in self.old.pixels if signal == cell.name), None)
        if cell.kind == "source":
            return self.old.sources.get(self.names.get(cell.name, ""))
        columns: list[tuple[int, list[int]]] = []
        for t in cell.tiles:
            if self.netlist.tiles[t].device.kind == "gate":
                columns.append((t, []))
            columns[-1][1].append(t)
        gates = []
        for gate, tiles in columns:
            stack = self.old.stacks.get(self.names.get(self.netlist.tiles[gate].device.name or "", ""))
            if stack is None:
                return None
            gates.append(stack.gate)
            self.order_toggles(board, number, [t for t in tiles if self.netlist.tiles[t].device.kind == "toggle"])
        if len(gates) == 2 and (abs(gates[0][0] - gates[1][0]) != 1 or gates[0][1] != gates[1][1]):
            return None
        if len(gates) == 2:
            for column, (_, tiles) in enumerate(columns):
                board.dx[tiles] = column if gates[0][0] < gates[1][0] else 1 - column
        return min(x for x, _ in gates), gates[0][1] - cell.height + 1

    def order_toggles(self, board: Board, number: int, tiles: list[int]) -> None:
        """Puts toggles on the heights of those that had the same drivers."""
        cell = self.netlist.cells[number]
        if len(cell.exchangeable) < 2:
            return
        gate = next(t for t in cell.tiles if self.netlist.tiles[t].device.kind == "gate")
        old = self.old.stacks[self.names[self.netlist.tiles[gate].device.name or ""]]
        slots: dict[int, int] = {}
        for with_bit in (True, False):
            for t in tiles:
                for slot, (_, drivers, bit) in enumerate(old.toggles[: len(tiles)]):
                    same = drivers == self.wants.get(t, frozenset())
                    bits_fit = not with_bit or bit == self.netlist.tiles[t].device.bit
                    if t not in slots and slot not in slots.values() and same and bits_fit:
                        slots[t] = slot
        free = [slot for slot in range(len(tiles)) if slot not in slots.values()]
        for t in tiles:
            slot = slots[t] if t in slots else free.pop(0)
            board.dy[t] = cell.height - 2 - slot

    def panel_corner(self, number: int) -> Tile | None:
        """Where most pixels stand on a pixel of the same bit, or on any."""
        votes: dict[Tile, int] = {}
        for t in self.netlist.cells[number].tiles:
            tile = self.netlist.tiles[t]
            for (x, y), signal in self.old.pixels:
                at = x - tile.dx, y - tile.dy
                votes[at] = votes.get(at, 0) + (3 if signal == tile.device.signal else 1)
        inside = {at: n for at, n in votes.items() if min(at) >= 0}
        return min(inside, key=lambda at: (-inside[at], at), default=None)

    def fit_in(self, board: Board, cell: int) -> bool:
        """A free place close to what the cell is wired to, with little wire lying there, and away from those tried."""
        w, h = int(self.shape.w[cell]), int(self.shape.h[cell])
        height, width = board.grid.shape
        pulls = list(self.pulls(board, cell))
        found = []
        for gap_x, gap_y in _GAPS:
            room = Room(gap_x=gap_x, gap_y=gap_y, margin=0)
            for y in range(height - h + 1):
                for x in range(width - w + 1):
                    if fits(cell, x, y, self.shape, board, room):
                        far = sum(min(abs(x - px) + abs(y + h // 2 - py) for px, py in pins) for pins in pulls)
                        covered = sum(self.loads.get((xx, yy), 0) for xx in range(x, x + w) for yy in range(y, y + h))
                        found.append((far + _COVERED * covered, y, x))
            if found:
                break
        if not found:
            return False
        found.sort()
        tried = self.tried.setdefault(cell, [])
        fresh = [at for at in found if all(max(abs(at[1] - y), abs(at[2] - x)) > _ELSEWHERE for y, x in tried)]
        _, y, x = (fresh or found)[0]
        tried.append((y, x))
        board.y[cell], board.x[cell] = y, x
        stamp_cell(cell, self.shape, board, cell)
        return True

    def pulls(self, board: Board, cell: int) -> Iterator[list[Tile]]:
        """For each signal on the cell the tiles where it lies, or where placed cells bear it."""
        shape = self.shape
        for s in shape.of_cell[shape.of_cell_start[cell] : shape.of_cell_start[cell + 1]]:
            wires = [tile for net in self.old.nets if net.drivers == self.signals[s] for tile in net.ways]
            pins = []
            for t in shape.sig_tiles[shape.sig_start[s] : shape.sig_start[s + 1]]:
                at = int(shape.cell_of[t])
                if at != cell and board.grid[board.y[at] + board.dy[t], board.x[at] + board.dx[t]] == at:
                    pins.append((int(board.x[at] + board.dx[t]), int(board.y[at] + board.dy[t])))
            if wires or pins:
                yield wires or pins

    # ---- colours

    def take_colours(self, board: Board) -> list[int]:
        """The old colour for every variable that has one; returns the others."""
        fresh = []
        for v, s in enumerate(self.shape.signal_of.tolist()):
            t = int(self.shape.var_tiles[self.shape.var_start[v]])
            nets = [self.old.nets[n] for n in self.old.nets_on.get(self.tile(board, t), ())]
            mine = self.signals[s]
            best = max(nets, key=lambda n: (n.drivers == mine, len(n.drivers & mine)), default=None)
            if best is None or not best.drivers & mine:
                fresh.append(v)
            else:
                board.colour[v] = best.colour
        return fresh

    def choose_colours(self, board: Board, scratch: Any, fresh: list[int]) -> None:
        """A colour for each of the variables `fresh`: without a clash on its tiles, and of a net that lies close."""
        shape = self.shape
        waiting = set(fresh)
        for v in fresh:
            s = int(shape.signal_of[v])
            used = [0] * COLOURS
            for j in shape.of_vars[shape.of_start[s] : shape.of_start[s + 1]].tolist():
                used[board.colour[j]] += j not in waiting
            x, y = self.tile(board, int(shape.var_tiles[shape.var_start[v]]))
            prices = []
            for c in range(COLOURS):
                board.colour[v] = c
                count_usage(shape, board)
                wires = [t for n in self.old.nets if n.colour == c and n.drivers == self.signals[s] for t in n.ways]
                pins = shape.drive_tiles[shape.drive_start[s] : shape.drive_start[s + 1]].tolist()
                tiles = wires if wires and used[c] else [self.tile(board, t) for t in pins]
                far = min((abs(x - a) + abs(y - b) for a, b in tiles), default=0)
                clashes = variable_clashes(v, c, shape, board, scratch.seen)
                prices.append((100 * clashes + far + (0 if used[c] else 6), c))
            board.colour[v] = min(prices)[1]
            waiting.discard(v)
        count_usage(shape, board)

    # ---- wires

    def tile(self, board: Board, t: int) -> Tile:
        cell = int(self.shape.cell_of[t])
        return int(board.x[cell] + board.dx[t]), int(board.y[cell] + board.dy[t])

    def pins(self, board: Board, s: int, c: int) -> set[Tile]:
        shape = self.shape
        tiles = shape.drive_tiles[shape.drive_start[s] : shape.drive_start[s + 1]].tolist()
        for v in shape.of_vars[shape.of_start[s] : shape.of_start[s + 1]].tolist():
            if board.colour[v] == c:
                tiles += shape.var_tiles[shape.var_start[v] : shape.var_start[v + 1]].tolist()
        return {self.tile(board, t) for t in tiles}

    def take_routes(self, board: Board) -> list[int]:
        """The old tiles for every net that continues one; returns the nets to be routed or mended."""
        width = int(board.size[0])
        devices = {(d.x, d.y) for d in self.old.plan.devices if d.kind != "crossover"}
        devices |= {
            (int(x), int(y)) for y, x in zip(*np.nonzero(board.tile_at.reshape(board.grid.shape) >= 0), strict=True)
        }
        changed = []
        self.taken = {}
        taken: set[int] = set()
        for s, mine in enumerate(self.signals):
            for c in range(COLOURS):
                if board.usage[s, c] == 0:
                    continue
                net = COLOURS * s + c
                rivals = [
                    i for i, n in enumerate(self.old.nets) if n.colour == c and i not in taken and n.drivers & mine
                ]
                pins = self.pins(board, s, c)
                best = max(rivals, key=lambda i: (len(pins & self.old.nets[i].ways.keys()), -i), default=None)
                if best is None or len(self.old.nets[best].ways) >= board.route.shape[1]:
                    changed.append(net)
                    continue
                taken.add(best)
                ways = self.old.nets[best].ways
                for i, ((x, y), way) in enumerate(ways.items()):
                    board.route[net, i], board.ways[net, i] = y * width + x, way
                board.length[net] = len(ways)
                board.reached[net] = True
                self.taken[net] = board.route[net, : len(ways)].tolist(), board.ways[net, : len(ways)].tolist()
                if pins != ways.keys() & devices:
                    changed.append(net)
        return changed

    def route(self, board: Board, scratch: Any, changed: list[int]) -> int:
        """Routes what has changed, keeping what is sound; others give way only after some rounds. What is left."""
        route, shape = RouteParams(), self.shape
        lay_all(board)
        find_conflicts(board, scratch, 0.0)
        mine = np.zeros(len(board.bad), np.bool_)
        mine[changed] = True
        bad = mine.copy()
        present, best = 4.0, (1 << 30, board)
        for turn in range(_ROUNDS):
            order = np.flatnonzero(bad).tolist()
            for i in range(len(order) - 1, 0, -1):
                j = below(self.rng, i + 1)
                order[i], order[j] = order[j], order[i]
            prices = Prices(present, route.bend, route.cross)
            for net in order:
                reroute(net, shape, board, scratch, prices, route.slack, turn % 5 < 4)
            conflicts = int(find_conflicts(board, scratch, route.raise_by))
            if conflicts < best[0]:
                best = conflicts, copy_board(board)
            if conflicts == 0:
                break
            bad = board.bad & mine if turn < _HOLD else board.bad.copy()
            if not bad.any():
                bad = board.bad.copy()
            present = min(20.0, present * 1.15)
        restore(board, best[1])
        return best[0]

    # ---- the outcome

    def before_on(self, board: Board) -> Before:
        """The old plan on the board's grid, with the routes that `take_routes` has put there."""
        width, height = (int(n) for n in board.size)
        wires = np.zeros((COLOURS, width * height), np.bool_)
        for net in self.old.nets:
            for x, y in net.ways:
                wires[net.colour, y * width + x] = True
        numbers: dict[tuple[Any, ...], int] = {}

        def number(d: Device) -> int:
            return numbers.setdefault((d.kind, d.function, d.bit, d.lit), len(numbers) + 1)

        devices = np.zeros(width * height, np.int64)
        crossed = np.zeros(width * height, np.bool_)
        for device in self.old.plan.devices:
            if device.kind == "crossover":
                crossed[device.y * width + device.x] = True
            elif device.kind != "delay":
                devices[device.y * width + device.x] = number(device)
        device_of = np.array([number(tile.device) for tile in self.netlist.tiles], np.int64)
        pins = {net: frozenset(t for t in tiles if devices[t] > 0) for net, (tiles, _) in self.taken.items()}
        return Before(
            wires=wires, devices=devices, crossed=crossed, device_of=device_of, routes=dict(self.taken), pins=pins
        )


def _in_use(old: OldPlan) -> set[Tile]:
    """The tiles of the old plan that bear wire or a device."""
    return {(d.x, d.y) for d in old.plan.devices} | {tile for net in old.nets for tile in net.ways}


def _loads(old: OldPlan) -> dict[Tile, int]:
    """How many nets lie on each tile."""
    loads: dict[Tile, int] = {}
    for net in old.nets:
        for tile in net.ways:
            loads[tile] = loads.get(tile, 0) + 1
    return loads
