"""The router on Deutsch's difficult channel (D. N. Deutsch, A dogleg channel router, DAC 1976).

A channel is 175 columns of pins above and below; 72 nets join them by wires in between, and what counts is the number
of tracks (rows). 19 nets pass the densest column. Published: 19 to 28 tracks in two layers, one for each direction;
10, 7 and 5 tracks with 2, 3 and 4 layers for rows, and as many for columns (N.-F. Zhou, 1996, no doglegs).

Here a column of the channel is a column of tiles and a track is a row of tiles. Pins are devices that stay where they
are; where the channel has no pin at its edge no wire may lie. The four wire colours are four planes, and what differs
from the layers of a channel is:

- A plane takes wires of both directions, and two wires cross in it, at the price of a crossover. A channel's layers
  have one direction each. This is to our advantage: four planes do the work of four layers for rows and four for
  columns.
- There is no via. A net in one colour stays in it. A net leaves its first pin in several colours if that helps; then
  that pin is the only place where they are joined.
- Wires of one colour on neighbouring tiles touch. A plane has room for wires in every second row only, in R rows for
  (R + 1) // 2, so that 19 nets need 9 rows or more; pins of one colour never are side by side, and no wire turns on
  another colour's crossover. This is to our disadvantage: in a channel, neighbouring tracks never touch.

So R rows of tiles are (R + 1) / 2 tracks, with the space between them that a channel's tracks have too, and the 11
rows of this test are 6 tracks: fewer than the 10 published for four layers in all and the 7 for six, one more than the
5 for eight. If each row of tiles is taken for a track, 11 is one more than the 10 for four layers in all.
"""

from __future__ import annotations

import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from hdl2grid.base.rng import below, seeded, unit
from hdl2grid.layout.arrays import COLOURS, Board, Scratch, Shape, make_board, make_scratch, make_shape
from hdl2grid.layout.colouring import count_clashes, count_usage
from hdl2grid.layout.placement import PlaceParams, index_tiles, pack
from hdl2grid.layout.repair import RepairParams, better
from hdl2grid.layout.routing import RouteParams, find_conflicts, rip_all, route
from hdl2grid.nets.model import Cell, CellTile, Netlist, Signal, Sink, Site
from hdl2grid.plan.model import Device

DATA = Path(os.environ.get("HDL2GRID_CHECK_DATA", "/nonexistent")) / "routing"
pytestmark = pytest.mark.skipif(not DATA.is_dir(), reason="HDL2GRID_CHECK_DATA names no folder with routing/")
ROWS = 11
BEGINNINGS = 10
ROUTE = RouteParams(rounds=300, stall=100, slack=200, cross=1.5)


def edges() -> list[list[int]]:
    """The net of each column's pin at the top, and at the bottom; 0 where there is none."""
    lines = (DATA / "deutsch.txt").read_text().splitlines()
    return [[int(word) for word in line.split()] for line in lines if not line.startswith("#")]


def channel(rows: int) -> tuple[Netlist, int, int]:
    """The channel with a number of rows between the pins, as pinned cells of a tile; width and height of the grid."""
    top, bottom = edges()
    width, height = len(top), rows + 2
    places = [(net, x, y) for y, row in ((0, top), (height - 1, bottom)) for x, net in enumerate(row) if net]
    nets = [[i for i, place in enumerate(places) if place[0] == net] for net in sorted({net for net, _, _ in places})]
    taken = {(x, y) for _, x, y in places}
    netlist = Netlist(
        tuple(Cell(f"{net} at {x}", "pixel", 1, 1, (i,), False, ()) for i, (net, x, _) in enumerate(places)),
        tuple(CellTile(i, 0, 0, Device("pixel", 0, 0)) for i in range(len(places))),
        tuple(Signal((str(k),), (pins[0],)) for k, pins in enumerate(nets)),
        tuple(Sink((pin,), (k,)) for k, pins in enumerate(nets) for pin in pins[1:]),
        Site(
            pinned=tuple((i, x, y) for i, (_, x, y) in enumerate(places)),
            keep_out=tuple((x, y, x, y) for y in (0, height - 1) for x in range(width) if (x, y) not in taken),
        ),
    )
    return netlist, width, height


def share_out(netlist: Netlist, board: Board, room: int, rng: Any, moves: int = 30_000) -> Any:
    """A colour for each net, by annealing: in no column more nets of a colour than `room`, and pins of one colour
    neither side by side nor facing each other. That is the assignment to layers with which channel routers begin."""
    net_of = {signal.tiles[0]: k for k, signal in enumerate(netlist.signals)}
    net_of |= {sink.tiles[0]: sink.signals[0] for sink in netlist.sinks}
    at = {(int(board.x[i]), int(board.y[i])): net for i, net in net_of.items()}
    count, bottom = len(netlist.signals), int(board.size[1]) - 1
    columns = [[x for (x, _), net in at.items() if net == k] for k in range(count)]
    spans = [(min(xs), max(xs) + 1) for xs in columns]
    apart = np.zeros((count, count))
    for (x, y), net in at.items():
        close = [((x + 1, y), 4.0)]
        if y == 0:
            close += [((x, bottom), 1.5), ((x - 1, bottom), 0.7), ((x + 1, bottom), 0.7)]
        for place, price in close:
            other = at.get(place, net)
            apart[net, other] += price * (other != net)
            apart[other, net] += price * (other != net)
    colour = np.array([below(rng, COLOURS) for _ in range(count)])
    dense = np.zeros((COLOURS, int(board.size[0])), np.int64)
    for k, (a, b) in enumerate(spans):
        dense[colour[k], a:b] += 1

    def crowd(c: int) -> float:
        over = np.maximum(0, dense[c] - room + 1)
        return float(0.3 * (over * over).sum() + 6.0 * (np.maximum(0, over - 1) ** 2).sum())

    for move in range(moves):
        heat = 20.0 * 0.01 ** (move / moves)
        k, new = int(below(rng, count)), int(below(rng, COLOURS))
        old = int(colour[k])
        if new == old:
            continue
        a, b = spans[k]
        delta = apart[k] @ ((colour == new).astype(float) - (colour == old)) - crowd(old) - crowd(new)
        dense[old, a:b] -= 1
        dense[new, a:b] += 1
        delta += crowd(old) + crowd(new)
        if delta <= 0.0 or unit(rng) < np.exp(-delta / heat):
            colour[k] = new
        else:
            dense[new, a:b] -= 1
            dense[old, a:b] += 1
    return colour


def finish(shape: Shape, board: Board, scratch: Scratch, rng: Any, turns: int = 5) -> int:
    """Route and repair in turns; returns the conflicts left."""
    rip_all(board)
    left, _ = route(shape, board, scratch, ROUTE, rng)
    for turn in range(turns):
        if left:
            left, _, _ = better(shape, board, scratch, RepairParams(1500, 1500), PlaceParams(), ROUTE, rng, True)
        if left and turn < turns - 1:
            again = replace(ROUTE, rounds=150, stall=60, present=(3.0, 0.5, 1.0)[turn % 3])
            left, _ = route(shape, board, scratch, again, rng)
    return left


WORST = 60.0
"""Greatest history of a tile, as `Regime.max_history` of a machine with as many cells."""


def attempt(rows: int, seed: int) -> tuple[int, Shape, Board, Scratch]:
    """One beginning: the conflicts left, and the board."""
    netlist, width, height = channel(rows)
    shape = make_shape(netlist)
    board, scratch = make_board(netlist, shape, width, height), make_scratch(netlist, width, height, WORST)
    pack(shape, board, (0.0, 0.0), PlaceParams(0, 0, 0))
    index_tiles(shape, board)
    rng = seeded(seed)
    colours = share_out(netlist, board, (rows + 1) // 2, rng)
    board.colour[:] = colours[shape.signal_of]
    count_usage(shape, board)
    return finish(shape, board, scratch, rng), shape, board, scratch


def test_deutschs_difficult_channel() -> None:
    for seed in range(1, BEGINNINGS + 1):
        left, shape, board, scratch = attempt(ROWS, seed)
        if left == 0:
            break
    assert left == 0, f"{left} conflicts at the last beginning"
    assert find_conflicts(board, scratch, 0.0) == 0 and count_clashes(shape, board, scratch.seen) == 0
    check_independently(board)


def check_independently(board: Board) -> None:
    """Read the wires back by the rules in docs/grid-model.md: each colour's connected pieces bear pins of one net, and
    the pins of a net hang together."""
    top, bottom = edges()
    width, height = int(board.size[0]), int(board.size[1])
    pin = {x: net for x, net in enumerate(top) if net}
    pin |= {(height - 1) * width + x: net for x, net in enumerate(bottom) if net}
    nets_of = [range(c, len(board.length), COLOURS) for c in range(COLOURS)]
    wires = [{int(t) for n in row for t in board.route[n, : board.length[n]]} for row in nets_of]
    crossovers = {int(t) for t in np.flatnonzero(board.crossings)}
    assert all(t in pin for wire in wires for t in wire if t < width or t >= (height - 1) * width)
    assert not crossovers & set(pin)
    leader: dict[Any, Any] = {}

    def find(node: Any) -> Any:
        while leader.setdefault(node, node) != node:
            leader[node] = leader[leader[node]]
            node = leader[node]
        return node

    for c, wire in enumerate(wires):
        for tile in wire:
            for axis, step in (("x", 1), ("y", width)):
                to = tile + step
                if to in wire and (axis == "y" or tile % width < width - 1):
                    ends = ((c, t, axis if t in crossovers else "") for t in (tile, to))
                    a, b = (find(end) for end in ends)
                    leader[a] = b
        for tile in wire & set(pin):
            leader[find((c, tile, ""))] = find(("pin", tile))
    nets: dict[Any, set[int]] = {}
    for tile, net in pin.items():
        nets.setdefault(find(("pin", tile)), set()).add(net)
    assert all(len(piece) == 1 for piece in nets.values()), "no short"
    assert len(nets) == len(set(pin.values())) == 72, "no open"
