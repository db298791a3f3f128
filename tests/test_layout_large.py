"""What is different for machines of many cells: cells between the pixels of the panel, nets that change colour."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from amaranth.hdl import Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out

from hdl2grid import Button, Machine, Ticker
from hdl2grid.base.rng import seeded
from hdl2grid.base.target import load_target
from hdl2grid.circuit.model import Circuit
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, Mapped, layout_job, map_machine, map_roomier
from hdl2grid.layout.arrays import Board, Shape, make_board, make_scratch, make_shape
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.grid_lines import all_apart, pick_line, with_line, without_line
from hdl2grid.layout.placement import PlaceParams, pack, place
from hdl2grid.layout.regime import FUTILE, LARGE, Regime, regime_of
from hdl2grid.layout.restart import Restart
from hdl2grid.layout.retries import LayoutJob, place_circuits, place_somehow
from hdl2grid.layout.routing import RouteParams, rip_all, route
from hdl2grid.layout.sizes import first_legal
from hdl2grid.nets.form import form_nets
from hdl2grid.nets.model import Cell, CellTile, Netlist, Sink
from hdl2grid.nets.model import Signal as NetSignal
from hdl2grid.panel import above, beside, seven_segment
from hdl2grid.panel.model import PanelLayout
from hdl2grid.parts import SegmentDecoder
from hdl2grid.plan.extract import extract
from hdl2grid.plan.model import Device
from hdl2grid.plan.rules import check_plan
from hdl2grid.verify.lvs import compare


class FourDigits(wiring.Component):
    """Four digits that count to 5, in a square with a wide cross of free tiles."""

    def __init__(self):
        super().__init__({f"digit{i}": Out(7) for i in range(4)})

    def elaborate(self, platform):
        m = Module()
        for i in range(4):
            count = Signal(range(6), name=f"count{i}", init=i)
            m.d.sync += count.eq(Mux(count == 5, 0, count + 1))
            m.submodules[f"decoder{i}"] = decoder = SegmentDecoder()
            m.d.comb += [decoder.value.eq(count), getattr(self, f"digit{i}").eq(decoder.segments)]
        return m


@pytest.fixture(scope="module")
def mapped():
    digits = [seven_segment(f"digit{i}") for i in range(4)]
    panel = above(beside(*digits[:2], gap=12), beside(*digits[2:], gap=12), gap=12)
    machine = Machine(FourDigits(), clocks={"sync": Ticker(1)}, reset=Button(), panel=panel, name="four_digits")
    return map_machine(machine, Path(__file__).parent, FlowOptions(load_target()))


def as_large(netlist: Netlist, style: str) -> Regime:
    """The regime of a machine of few cells, as if they were many."""
    return regime_of(netlist, style, large=5)


def job_of(mapped: Mapped, style: str = "compact") -> LayoutJob:
    return layout_job(mapped.machine, FlowOptions(load_target(), 1, "quick", style=style))


def _between_pixels(netlist: Netlist, panel: int, board: Board) -> list[int]:
    """Cells within the panel's rectangle."""
    x0, y0 = board.x[panel], board.y[panel]
    x1, y1 = x0 + netlist.cells[panel].width, y0 + netlist.cells[panel].height
    return [c for c in range(len(board.x)) if c != panel and x0 <= board.x[c] < x1 and y0 <= board.y[c] < y1]


def _near_pixels(netlist: Netlist, panel: int, board: Board) -> int:
    """Cells that have a pixel on one of their tiles or on one around them, corners included."""
    pixels = {(board.x[panel] + board.dx[t], board.y[panel] + board.dy[t]) for t in netlist.cells[panel].tiles}
    count = 0
    for c, cell in enumerate(netlist.cells):
        around = (
            (board.x[c] + i, board.y[c] + j) for i in range(-1, cell.width + 1) for j in range(-1, cell.height + 1)
        )
        count += c != panel and any(tile in pixels for tile in around)
    return count


def _placed(circuit: Circuit, panel: PanelLayout, large: int = 5) -> tuple[Netlist, Shape, Board]:
    netlist = form_nets(circuit, panel)
    shape = make_shape(netlist, is_open=regime_of(netlist, "compact", large).is_open)
    board = make_board(netlist, shape, 50, 50)
    places = PlaceParams(gap_x=2, gap_y=1, moves_per_cell=3000)
    assert pack(shape, board, (0.5, 0.5), places)
    place(shape, board, places, 1)
    return netlist, shape, board


@pytest.mark.parametrize("style", ["compact", "tidy"])
def test_cells_stand_between_the_pixels_of_a_large_machine(mapped, style: str) -> None:
    placed = place_circuits([mapped.synthesis.with_nets], replace(job_of(mapped, style), regime_of=as_large))
    extraction = extract(placed.plan)
    assert check_plan(placed.plan, extraction) == ()
    assert compare(placed.plan, placed.circuit, extraction) == ()
    pixels = [(d.x, d.y) for d in placed.plan.devices if d.kind == "pixel"]
    xs, ys = zip(*pixels, strict=True)
    gates = [d for d in placed.plan.devices if d.kind == "gate"]
    assert any(min(xs) < d.x < max(xs) and min(ys) < d.y < max(ys) for d in gates)


def test_a_small_machine_keeps_out_of_its_panel(mapped) -> None:
    netlist, shape, board = _placed(mapped.circuit, mapped.machine.panel_layout(), LARGE)
    assert not shape.is_open and _between_pixels(netlist, shape.panel, board) == []


def test_lines_come_and_go_beside_an_open_panel(mapped) -> None:
    netlist, shape, board = _placed(mapped.circuit, mapped.machine.panel_layout())
    assert len(_between_pixels(netlist, shape.panel, board)) > 5
    assert _near_pixels(netlist, shape.panel, board) == 0 and all_apart(shape, board, 1, 1)
    scratch = make_scratch(netlist, 120, 120)
    tight = PlaceParams(gap_x=1, gap_y=1, margin=0)
    rng = seeded(3)
    done = 0
    for number in range(60):
        axis, at = pick_line(shape, board, rng)
        first = (board.x, board.y)[axis][shape.panel]
        assert not first <= at < first + (shape.w, shape.h)[axis][shape.panel]
        new = without_line(shape, board, scratch, tight, axis, at)
        if number % 4 == 3:
            new = with_line(shape, board, scratch, axis, at)
        if isinstance(new, Board):
            done += 1
            board = new
            assert _near_pixels(netlist, shape.panel, board) == 0 and all_apart(shape, board, 1, 1)
    assert done > 8
    moved = board.x[shape.panel] + board.dx[list(netlist.cells[shape.panel].tiles)]
    assert (moved >= 0).all() and (moved < board.size[0]).all()


def test_cells_that_touch_pixels_are_not_apart(mapped) -> None:
    netlist, shape, board = _placed(mapped.circuit, mapped.machine.panel_layout())
    inside = _between_pixels(netlist, shape.panel, board)[0]
    pixel = netlist.cells[shape.panel].tiles[0]
    board.x[inside] = board.x[shape.panel] + board.dx[pixel] + 1
    board.y[inside] = board.y[shape.panel] + board.dy[pixel]
    assert not all_apart(shape, board, 1, 1)


def crowded(netlist: Netlist, style: str) -> Regime:
    """The regime of a machine, as if its panel were overfull by five nets."""
    return replace(regime_of(netlist, style), excess=5)


def test_a_crowded_panel_gets_the_roomy_circuit_at_once() -> None:
    options, folder = FlowOptions(load_target(), 1, "quick", style="compact"), Path(__file__).parent
    clock = map_machine(load_machine("clock_12h"), folder, options)
    roomy = map_roomier(clock, folder, options).synthesis.with_nets
    nets = len(form_nets(clock.circuit, clock.machine.panel_layout()).signals)

    def as_crowded(netlist: Netlist, style: str) -> Regime:
        return (crowded if len(netlist.signals) == nets else regime_of)(netlist, style)

    laid = place_somehow([clock.synthesis.with_nets], lambda: roomy, replace(job_of(clock), regime_of=as_crowded))
    assert laid.is_roomy and laid.failures == () and len(roomy.circuit.stacks) > len(clock.circuit.stacks)
    assert any("the panel is too narrow for" in warning for warning in laid.warnings)


def test_no_roomy_circuit_where_it_does_not_help(mapped) -> None:
    roomy = map_roomier(mapped, Path(__file__).parent, FlowOptions(load_target())).synthesis.with_nets
    laid = place_somehow([mapped.synthesis.with_nets], lambda: roomy, replace(job_of(mapped), regime_of=crowded))
    assert not laid.is_roomy and laid.case == 0


@pytest.mark.parametrize(("excess", "placements"), [(0, 2), (FUTILE + 1, 1)])
def test_of_a_panel_that_is_far_too_narrow_one_size_is_tried(mapped, excess: int, placements: int) -> None:
    netlist = form_nets(mapped.circuit, mapped.machine.panel_layout())
    regime = regime_of(netlist, "compact", large=5, excess=excess)
    effort = replace(regime.efforts["quick"], tries=0, lines=0)
    once = RouteParams(rounds=1)
    regime = replace(regime, efforts={"quick": effort}, routes=once, again=once, panel_exits=False)
    search = Restart(netlist, LayoutParams("quick", 1, style="compact", last_size=2), regime, 0)
    assert first_legal(search) is None
    assert search.num_placements >= placements and (len(search.failures) == 1) == (placements == 1)


def _crossing_pairs(width: int) -> tuple[Netlist, list[tuple[int, int]]]:
    """Two nets of two pins each in a street one tile wide: both in one colour they cannot be laid."""
    places = [(0, 0), (2, 0), (width - 3, 0), (width - 1, 0)]
    cells = tuple(Cell(f"c{i}", "source", 1, 1, (i,), False, ()) for i in range(4))
    tiles = tuple(CellTile(i, 0, 0, Device("button" if i < 2 else "pixel", 0, 0, name=f"d{i}")) for i in range(4))
    signals = (NetSignal(("d0",), (0,)), NetSignal(("d1",), (1,)))
    return Netlist(cells, tiles, signals, (Sink((2,), (0,)), Sink((3,), (1,)))), places


@pytest.mark.parametrize(("recolour", "left"), [(0, True), (1, False)])
def test_nets_in_conflict_change_colour_if_they_may(recolour: int, left: bool) -> None:
    netlist, places = _crossing_pairs(12)
    shape = make_shape(netlist)
    board = make_board(netlist, shape, 12, 2)
    board.x[:], board.y[:] = zip(*places, strict=True)
    board.tile_at[:] = -1
    for number, (x, y) in enumerate(places):
        board.tile_at[y * 12 + x] = number
    board.colour[:] = 2
    board.usage[:, 2] = 1
    rip_all(board)
    scratch = make_scratch(netlist, 12, 2)
    conflicts, _ = route(shape, board, scratch, RouteParams(rounds=30, stall=30, recolour=recolour), seeded(1))
    assert (conflicts > 0) == left
    used = np.zeros_like(board.usage)
    for variable, colour in enumerate(board.colour):
        used[shape.signal_of[variable], colour] += 1
    assert (used == board.usage).all()
