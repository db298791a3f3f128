"""Colours without clashes on devices: whatever they were, near those that there are, or none."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from hdl2grid.base.rng import below, seeded
from hdl2grid.base.target import load_target
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, map_machine
from hdl2grid.layout.arrays import COLOURS, Board, Shape, make_board, make_scratch, make_shape
from hdl2grid.layout.attempt import copy_offsets
from hdl2grid.layout.clash_free import ClashFree
from hdl2grid.layout.colouring import count_clashes, count_usage
from hdl2grid.layout.matched_blocks import MatchedBlock, find_matched_blocks
from hdl2grid.layout.placement import PlaceParams, pack
from hdl2grid.nets.form import form_nets
from hdl2grid.nets.model import Netlist


@pytest.fixture(scope="module")
def netlist() -> Netlist:
    machine = load_machine("clock_12h")
    mapped = map_machine(machine, Path("."), FlowOptions(load_target()))
    return form_nets(mapped.circuit, machine.panel_layout())


SIDE = 80


def placed(netlist: Netlist, seed: int, shape: Shape, blocks: tuple[MatchedBlock, ...] = ()) -> Board:
    """All cells somewhere, all colours at random."""
    board = make_board(netlist, shape, SIDE, SIDE)
    places = PlaceParams(gap_x=2, gap_y=2)
    assert pack(shape, board, (0.5, 0.5), places, copy_offsets(netlist, blocks, places, (SIDE, SIDE), 0))
    rng = seeded(seed)
    board.colour[:] = [below(rng, COLOURS) for _ in board.colour]
    count_usage(shape, board)
    return board


def clashes(netlist: Netlist, shape: Shape, board: Board, colours: np.ndarray) -> int:
    board.colour[:] = colours
    count_usage(shape, board)
    return int(count_clashes(shape, board, make_scratch(netlist, SIDE, SIDE).seen))


@pytest.mark.parametrize("seed", range(1, 9))
def test_any_colours_become_free_of_clashes_and_these_stay(netlist: Netlist, seed: int) -> None:
    shape = make_shape(netlist)
    board = placed(netlist, seed, shape)
    assert clashes(netlist, shape, board, board.colour.copy()) > 0
    with ClashFree(shape, board) as colours:
        legal = colours.nearest(board)
        assert legal is not None and clashes(netlist, shape, board, legal) == 0
        again = colours.nearest(board)
        assert again is not None and (again == legal).all()


@pytest.mark.parametrize("seed", range(1, 9))
def test_what_is_wanted_and_what_is_fixed_is_so(netlist: Netlist, seed: int) -> None:
    shape = make_shape(netlist)
    board = placed(netlist, seed, shape)
    rng = seeded(seed, 1)
    with ClashFree(shape, board) as colours:
        legal = colours.nearest(board)
        assert legal is not None and clashes(netlist, shape, board, legal) == 0
        v = below(rng, len(legal))
        wanted = {v: (int(legal[v]) + 1) % COLOURS}
        fixed = [u for u in range(len(legal)) if u % 4 == seed % 4]
        fresh = colours.nearest(board, wanted, fixed)
        if fresh is not None:
            assert fresh[v] == wanted[v] and all(fresh[u] == legal[u] for u in fixed if u != v)
            assert clashes(netlist, shape, board, fresh) == 0
        board.colour[:] = legal
        everything = [u for u in range(len(legal)) if u != v]
        alone = colours.nearest(board, wanted, everything)
        legal[v] = wanted[v]
        assert (alone is None) == (clashes(netlist, shape, board, legal) > 0)


def test_two_signals_on_a_tile_cannot_have_one_colour(netlist: Netlist) -> None:
    shape = make_shape(netlist)
    board = placed(netlist, 1, shape)
    tiles: dict[int, list[int]] = {}
    for v in range(len(board.colour)):
        tiles.setdefault(int(shape.var_tiles[shape.var_start[v]]), []).append(v)
    pair = next(row for row in tiles.values() if len(row) > 1)
    with ClashFree(shape, board) as colours:
        assert colours.nearest(board, {pair[0]: 2, pair[1]: 2}) is None


def test_what_is_laid_alike_keeps_one_colour() -> None:
    machine = load_machine("clock_24h")
    mapped = map_machine(machine, Path("."), FlowOptions(load_target()))
    netlist = form_nets(mapped.circuit, machine.panel_layout())
    blocks = find_matched_blocks(netlist)
    shape = make_shape(netlist, None, blocks)
    led = np.flatnonzero((shape.lead_var >= 0) & (shape.lead_var != np.arange(len(shape.lead_var))))
    board = placed(netlist, 1, shape, blocks)
    with ClashFree(shape, board) as colours:
        legal = colours.nearest(board)
    assert legal is not None and len(led) > 0
    assert (legal[led] == legal[shape.lead_var[led]]).all()
