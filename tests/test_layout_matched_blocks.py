"""Equal blocks of a machine are found, and laid alike in tidy style."""

from collections import Counter
from pathlib import Path
from statistics import median

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out

from hdl2grid import Button, Machine, Ticker
from hdl2grid.base.target import load_target
from hdl2grid.flow import FlowOptions, map_machine
from hdl2grid.layout.assemble import assemble
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.lay_out import lay_out
from hdl2grid.layout.matched_blocks import find_matched_blocks
from hdl2grid.nets.form import form_nets, spread_toggles
from hdl2grid.panel import beside, seven_segment
from hdl2grid.parts import SegmentDecoder
from hdl2grid.plan.extract import extract
from hdl2grid.plan.model import Plan
from hdl2grid.plan.rules import check_plan
from hdl2grid.verify.lvs import compare


class Two(wiring.Component):
    """Two decimal counters side by side, each with its digit."""

    left: Out(7)
    right: Out(7)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        for name, port in (("left", self.left), ("right", self.right)):
            value = Signal(range(10), name=f"{name}_value")
            m.d.sync += value.eq(value + 1)
            with m.If(value == 9):
                m.d.sync += value.eq(0)
            m.submodules[name] = decoder = SegmentDecoder()
            m.d.comb += [decoder.value.eq(value), port.eq(decoder.segments)]
        return m


def strokes_of_part(plan: Plan, part: str) -> set[tuple[int, ...]]:
    """(colour, stroke) of all nets whose drivers are stacks of one counter."""
    owner = {}
    for net in extract(plan).nets:
        names = [plan.devices[d].name or "" for d in net.drivers]
        for x, y, _ in net.places:
            owner.setdefault((net.colour, x, y), []).append(all(name.startswith(part) for name in names))
    return {
        (colour, *stroke)
        for colour, strokes in enumerate(plan.wires)
        for stroke in strokes
        if any(owner[colour, *end] == [True] for end in (stroke[:2], stroke[2:]))
    }


def share_alike(left: set[tuple[int, ...]], right: set[tuple[int, ...]]) -> float:
    """The share of strokes that are translates of one another, by the step that most of them have in common."""
    steps = Counter(
        (u0 - x0, v0 - y0)
        for c, x0, y0, x1, y1 in left
        for d, u0, v0, u1, v1 in right
        if c == d and (u0 - x0, v0 - y0) == (u1 - x1, v1 - y1)
    )
    (_, alike), *_ = steps.most_common(1)
    return 2 * alike / (len(left) + len(right))


def test_two_equal_counters_are_found_and_laid_alike() -> None:
    machine = Machine(
        Two(),
        clocks={"sync": Ticker(seconds=1)},
        reset=Button(),
        panel=beside(seven_segment("left"), seven_segment("right")),
    )
    circuit = spread_toggles(map_machine(machine, Path("."), FlowOptions(load_target())).circuit)
    panel = machine.panel_layout()
    netlist = form_nets(circuit, panel)
    (block,) = find_matched_blocks(netlist)
    assert len(block.cells) == 2 and len(block.cells[0]) == 7
    for row, part in zip(block.cells, ("left", "right"), strict=True):
        assert all(netlist.cells[c].name.startswith(part) for c in row)
    shares = []
    for seed in (1, 2, 3):
        board = lay_out(netlist, LayoutParams("quick", seed)).board
        plan = assemble(circuit, netlist, board, panel, "default", ("black", "orange", "blue", "violet"))
        assert check_plan(plan) == () and compare(plan, circuit) == ()
        shares.append(share_alike(strokes_of_part(plan, "left"), strokes_of_part(plan, "right")))
    assert median(shares) >= 0.8
