"""Where nets leave a panel, on panels small enough to count by hand; and the search in windows that ends conflicts."""

from __future__ import annotations

import numpy as np

from hdl2grid.base.rng import seeded
from hdl2grid.layout.arrays import Board, Shape, copy_board, make_board, make_scratch, make_shape
from hdl2grid.layout.panel_exits import find_exits
from hdl2grid.layout.placement import index_tiles
from hdl2grid.layout.routing import RouteParams, rip_all, route
from hdl2grid.layout.windows import EaseParams, ease
from hdl2grid.nets.model import Cell, CellTile, Netlist, Signal, Sink
from hdl2grid.plan.model import Device


def _panel(rows: list[str], share: int = 1) -> Netlist:
    """A panel with a pixel at every `#`, each on a signal of its own but that every `share` of them share one, and a
    button for each signal."""
    places = [(x, y) for y, row in enumerate(rows) for x, mark in enumerate(row) if mark == "#"]
    count = -(-len(places) // share)
    panel = Cell("panel", "panel", len(rows[0]), len(rows), tuple(range(len(places))), False, ())
    tiles = [CellTile(0, x, y, Device("pixel", 0, 0, lit=False, signal=f"p{i}")) for i, (x, y) in enumerate(places)]
    cells, signals = [panel], []
    for s in range(count):
        tiles.append(CellTile(len(cells), 0, 0, Device("button", 0, 0, name=f"b{s}")))
        cells.append(Cell(f"b{s}", "source", 1, 1, (len(tiles) - 1,), False, ()))
        signals.append(Signal((f"b{s}",), (len(tiles) - 1,)))
    sinks = tuple(Sink((i,), (i // share,)) for i in range(len(places)))
    return Netlist(tuple(cells), tuple(tiles), tuple(signals), sinks)


def test_a_net_leaves_at_the_nearest_side() -> None:
    netlist = _panel(["#......#", "........", "........", "........", "...#...."])
    exits = find_exits(netlist)
    assert exits.excess == 0
    assert exits.tiles == {0: (0,), 1: (1,), 2: (2,)}


def test_pixels_of_one_signal_branch_inside_if_they_are_near() -> None:
    together = find_exits(_panel([".....", ".#.#.", "....."], share=2))
    assert len(together.tiles[0]) == 1
    far = find_exits(_panel(["#" + "." * 40 + "#"], share=2))
    assert far.tiles[0] == (0, 1)


def test_a_panel_too_narrow_has_an_excess() -> None:
    """Ten pixels in a street between two walls, with one row of free tiles beside them that is open at its ends only.
    With free tiles instead of one wall there is room."""
    closed = ["#" * 19, "#.#.#.#.#.#.#.#.#.#", "." * 19, "#" * 19]
    assert find_exits(_panel(closed)).excess > 0
    opened = [*closed[:3], "." * 19]
    assert find_exits(_panel(opened)).excess == 0


def test_no_panel_has_no_exits() -> None:
    netlist = Netlist((), (), (), ())
    assert find_exits(netlist).tiles == {} and find_exits(netlist).excess == 0


def _knot() -> tuple[Netlist, Shape, Board]:
    """A street one tile wide and six long with two nets of two pins each, in one colour: one of them has to change."""
    places = [(0, 0), (2, 0), (3, 0), (5, 0)]
    cells = tuple(Cell(f"c{i}", "source", 1, 1, (i,), False, ()) for i in range(4))
    tiles = tuple(CellTile(i, 0, 0, Device("button" if i < 2 else "pixel", 0, 0, name=f"d{i}")) for i in range(4))
    signals = (Signal(("d0",), (0,)), Signal(("d1",), (1,)))
    netlist = Netlist(cells, tiles, signals, (Sink((2,), (0,)), Sink((3,), (1,))))
    shape = make_shape(netlist)
    board = make_board(netlist, shape, 6, 2)
    board.x[:], board.y[:] = zip(*places, strict=True)
    index_tiles(shape, board)
    board.colour[:] = 2
    board.usage[:, 2] = 1
    rip_all(board)
    return netlist, shape, board


def test_windows_end_a_conflict_that_routing_alone_does_not() -> None:
    netlist, shape, board = _knot()
    scratch = make_scratch(netlist, 6, 2)
    conflicts, _ = route(shape, board, scratch, RouteParams(rounds=20, stall=20), seeded(1))
    assert conflicts > 0
    before = copy_board(board)
    eased, left = ease(shape, board, scratch, conflicts, EaseParams(60, 60), seeded(2))
    assert left == 0 and len(set(eased.colour.tolist())) == 2
    assert (board.colour == before.colour).all() and (board.length == before.length).all()
    again, _ = ease(shape, board, scratch, conflicts, EaseParams(60, 60), seeded(2))
    assert (again.route == eased.route).all() and (again.colour == eased.colour).all()


def test_easing_gives_up_in_its_bounds() -> None:
    netlist, shape, board = _knot()
    scratch = make_scratch(netlist, 6, 2)
    conflicts, _ = route(shape, board, scratch, RouteParams(rounds=20, stall=20), seeded(1))
    same, left = ease(shape, board, scratch, conflicts, EaseParams(0, 5), seeded(1))
    assert same is board and left == conflicts
    assert np.array_equal(same.colour, board.colour)
