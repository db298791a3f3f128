"""Floorplans: what is refused at once, and that plans keep to them, also on tight grids."""

from dataclasses import replace
from pathlib import Path

import pytest
from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import At, AtEdge, BesidePanel, Button, Floorplan, FromPanel, KeepOut, Machine, Switch, Ticker
from hdl2grid.base.errors import DesignFailed, InputError
from hdl2grid.base.target import load_target
from hdl2grid.flow import FlowOptions, Outcome, limits_of, run_flow
from hdl2grid.panel import beside, lamp
from hdl2grid.plan.model import Plan
from hdl2grid.verify.floorplan_check import check_floorplan_kept

SEEDS = (1, 2)


class Beacon(wiring.Component):
    """Counts to six while it is not held, and shows the count."""

    hold: In(1)
    word: In(2)
    lamps: Out(3)

    def elaborate(self, platform):
        m = Module()
        count = Signal(3)
        with m.If(~self.hold):
            m.d.sync += count.eq(count + 1)
            with m.If(count == 5):
                m.d.sync += count.eq(0)
        m.d.comb += self.lamps.eq(count ^ self.word)
        return m


def beacon(floorplan: Floorplan | None = None, with_panel: bool = True) -> Machine:
    panel = beside(lamp("lamps[2]"), lamp("lamps[1]"), lamp("lamps[0]"), gap=2) if with_panel else None
    return Machine(
        Beacon(),
        clocks={"sync": Ticker(1)},
        reset=Button(),
        inputs={"hold": Switch(), "word": Switch()},
        panel=panel,
        name="beacon",
        floorplan=floorplan,
    )


def flow(floorplan: Floorplan, seed: int = 1, with_panel: bool = True, **options: int) -> Outcome:
    target = load_target()
    machine = beacon(floorplan, with_panel)
    return run_flow(machine, Path("."), FlowOptions(target, seed=seed, effort="quick", **options))


def plan_of(outcome: Outcome) -> Plan:
    assert outcome.is_good, outcome.findings
    assert outcome.verdict == "proved"
    assert any(item.what.startswith("floorplan") and item.good for item in outcome.evidence)
    assert outcome.plan is not None
    return outcome.plan


def source(plan: Plan, name: str) -> tuple[int, int]:
    return next((d.x, d.y) for d in plan.devices if d.name == name)


def pixels(plan: Plan) -> list[tuple[int, int]]:
    return sorted((d.x, d.y) for d in plan.devices if d.kind == "pixel")


def tiles_in_use(plan: Plan) -> set[tuple[int, int]]:
    wired = {
        (x, y)
        for strokes in plan.wires
        for x0, y0, x1, y1 in strokes
        for x in range(x0, x1 + 1)
        for y in range(y0, y1 + 1)
    }
    return wired | {(d.x, d.y) for d in plan.devices}


# -- what a plan keeps to ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("side", ["left", "right", "above", "below"])
def test_the_logic_stands_on_the_side_asked_for(side: str, seed: int) -> None:
    plan = plan_of(flow(Floorplan(logic=side), seed))
    xs, ys = zip(*pixels(plan), strict=True)
    gates = [(d.x, d.y) for d in plan.devices if d.kind in ("gate", "ticker", "button", "switch")]
    beyond = {
        "left": all(x < min(xs) for x, _ in gates),
        "right": all(x > max(xs) for x, _ in gates),
        "above": all(y < min(ys) for _, y in gates),
        "below": all(y > max(ys) for _, y in gates),
    }
    assert beyond[side] and gates


@pytest.mark.parametrize("seed", SEEDS)
def test_a_keep_out_stays_empty_and_places_are_kept(seed: int) -> None:
    keep_out = [KeepOut(9, 0, 3, 6), KeepOut(0, 8, 4, 5)]
    floorplan = Floorplan(panel=At(2, 3), sources={"sync": At(0, 0), "hold": At(14, 1)}, keep_out=keep_out)
    plan = plan_of(flow(floorplan, seed))
    assert pixels(plan)[0] == (2, 3)
    assert source(plan, "sync") == (0, 0) and source(plan, "hold") == (14, 1)
    assert not [tile for tile in tiles_in_use(plan) if any(one.covers(*tile) for one in keep_out)]


def test_sources_stand_by_the_panel() -> None:
    places = {"reset": BesidePanel("left", 2), "hold": BesidePanel("left", 2), "word[1]": FromPanel(3, -2)}
    plan = plan_of(flow(Floorplan(panel=AtEdge("top", "left"), sources=places, margin=1)))
    x, y = min(pixels(plan))
    assert source(plan, "reset") == (x - 3, y) and source(plan, "hold") == (x - 3, y + 2)
    assert source(plan, "word[1]") == (x + 3, y - 2)
    others = [d for d in plan.devices if d.kind == "gate"]
    assert all(d.x >= x - 3 and d.y >= y - 2 for d in others)


def test_a_margin_has_no_devices() -> None:
    plan = plan_of(flow(Floorplan(margin=3)))
    xs, ys = zip(*pixels(plan), strict=True)
    near = [
        d
        for d in plan.devices
        if min(xs) - 3 <= d.x <= max(xs) + 3
        and min(ys) - 3 <= d.y <= max(ys) + 3
        and d.kind not in ("pixel", "crossover")
    ]
    assert near == []


def test_places_without_a_panel() -> None:
    floorplan = Floorplan(sources={"sync": At(5, 0)}, keep_out=[KeepOut(6, 6, 2, 2)], width=30, height=24)
    plan = plan_of(flow(floorplan, with_panel=False))
    assert source(plan, "sync") == (5, 0) and plan.width <= 30 and plan.height <= 24
    assert not {(6, 6), (7, 6), (6, 7), (7, 7)} & tiles_in_use(plan)


@pytest.mark.parametrize("seed", SEEDS)
def test_a_tight_grid_with_a_floorplan(seed: int) -> None:
    """The grid is what the machine took without limits, and little more than the keep-out."""
    free = plan_of(flow(Floorplan(logic="below"), seed))
    width, height = free.width + 2, free.height + 4
    floorplan = Floorplan(logic="below", keep_out=[KeepOut(0, height - 3, 4, 3)], width=width, height=height)
    plan = plan_of(flow(floorplan, seed))
    assert plan.width <= width and plan.height <= height
    assert not [tile for tile in tiles_in_use(plan) if floorplan.keep_out[0].covers(*tile)]


def test_the_same_floorplan_gives_the_same_plan() -> None:
    floorplan = Floorplan(logic="right", keep_out=[KeepOut(0, 0, 2, 2)])
    assert flow(floorplan).plan == flow(floorplan).plan


def test_options_narrow_the_limits() -> None:
    machine = beacon(Floorplan(width=40, height=50))
    assert limits_of(machine, FlowOptions(load_target(), width=30)) == (30, 50)
    assert limits_of(machine, FlowOptions(load_target(), width=60)) == (40, 50)


# -- what is refused -----------------------------------------------------------------------------------------------


def test_a_floorplan_that_holds_no_machine_ends_with_what_would_do() -> None:
    with pytest.raises(DesignFailed) as caught:
        flow(Floorplan(logic="right", width=12, height=7))
    assert caught.value.code == "P001" and "12 x 7" in str(caught.value)
    assert "The least that was reached is" in str(caught.value)


def test_a_keep_out_beyond_the_limits_of_the_command_line() -> None:
    with pytest.raises(InputError) as caught:
        flow(Floorplan(keep_out=[KeepOut(30, 2, 4, 4)]), width=30)
    assert caught.value.code == "M025" and "[30,2,33,5]" in str(caught.value)


def refused(code: str, make, *words: str) -> None:
    with pytest.raises(InputError) as caught:
        make()
    assert caught.value.code == code, caught.value
    assert all(word in str(caught.value) for word in words), caught.value
    assert "test_floorplan.py" in str(caught.value.where)


def test_values_that_cannot_be() -> None:
    refused("M022", lambda: At(-1, 0), "x")
    refused("M022", lambda: At(0, 1.5), "1.5")
    refused("M022", lambda: FromPanel("left", 0), "dx")
    refused("M022", lambda: BesidePanel("lefft"), "left")
    refused("M022", lambda: BesidePanel("left", -1), "gap")
    refused("M022", lambda: AtEdge())
    refused("M022", lambda: AtEdge("left", "right"), "left, right")
    refused("M022", lambda: AtEdge("above"), "above")
    refused("M022", lambda: KeepOut(0, 0, 0, 3), "width")
    refused("M022", lambda: Floorplan(panel="left"), "AtEdge")
    refused("M022", lambda: Floorplan(sources=["sync"]))
    refused("M022", lambda: Floorplan(sources={"sync": (1, 2)}), "sync")
    refused("M022", lambda: Floorplan(keep_out=KeepOut(0, 0, 1, 1)))
    refused("M022", lambda: Floorplan(keep_out=[(0, 0, 1, 1)]))
    refused("M022", lambda: Floorplan(logic="beside"), "around")
    refused("M022", lambda: Floorplan(width=0), "width")
    refused("M022", lambda: Floorplan(margin=True), "margin")


def test_demands_that_contradict_each_other() -> None:
    refused("M024", lambda: Floorplan(panel=AtEdge("top"), logic="above"), "top")
    refused("M024", lambda: Floorplan(sources={"a": At(1, 1), "b": At(1, 1)}), "'a'", "'b'")
    refused("M024", lambda: Floorplan(sources={"a": At(1, 1)}, keep_out=[KeepOut(0, 0, 3, 3)]), "keep-out")
    refused("M025", lambda: Floorplan(sources={"a": At(40, 1)}, width=40), "40")
    refused("M025", lambda: Floorplan(panel=At(0, 9), height=9))
    refused("M025", lambda: Floorplan(keep_out=[KeepOut(0, 9, 1, 1)], height=9))


def test_demands_that_match_nothing_in_the_machine() -> None:
    refused("M020", lambda: beacon({"logic": "left"}))
    refused("M021", lambda: beacon(Floorplan(sources={"sink": At(0, 0)})), "sink", "sync")
    refused("M021", lambda: beacon(Floorplan(sources={"word": At(0, 0)})), "word")
    refused("M023", lambda: beacon(Floorplan(logic="left"), False), "logic")
    refused("M023", lambda: beacon(Floorplan(margin=1), False), "margin")
    refused("M023", lambda: beacon(Floorplan(panel=At(1, 1)), False), "panel")
    refused("M023", lambda: beacon(Floorplan(sources={"hold": FromPanel(1, 9)}), False), "hold")
    refused("M024", lambda: beacon(Floorplan(sources={"hold": FromPanel(0, 0)})), "pixel")
    refused("M024", lambda: beacon(Floorplan(sources={"hold": FromPanel(0, 5), "sync": FromPanel(0, 5)})))
    refused("M024", lambda: beacon(Floorplan(panel=At(5, 5), sources={"hold": At(6, 5)})), "hold")
    refused("M024", lambda: beacon(Floorplan(panel=At(5, 5), keep_out=[KeepOut(6, 4, 1, 9)])), "keep-out")
    refused("M025", lambda: beacon(Floorplan(panel=At(0, 0), sources={"hold": BesidePanel("left")})))
    refused("M025", lambda: beacon(Floorplan(panel=At(8, 0), width=10)), "beyond")


# -- the check after layout finds what is wrong --------------------------------------------------------------------


def test_the_check_finds_what_a_plan_does_not_keep() -> None:
    floorplan = Floorplan(panel=At(2, 3), sources={"sync": At(0, 0), "hold": BesidePanel("right")})
    outcome = flow(floorplan)
    plan, panel = plan_of(outcome), outcome.mapped.machine.panel_layout()

    def codes(changed: Floorplan, of: Plan = plan) -> set[str]:
        return {finding.code for finding in check_floorplan_kept(of, changed, panel)}

    assert codes(floorplan) == set()
    assert codes(Floorplan(width=plan.width - 1)) == codes(Floorplan(height=plan.height - 1)) == {"V030"}
    gate = next(d for d in plan.devices if d.kind == "gate")
    wire = next(stroke for strokes in plan.wires for stroke in strokes)
    assert codes(Floorplan(keep_out=[KeepOut(gate.x, gate.y, 1, 1)])) == {"V031"}
    assert codes(Floorplan(keep_out=[KeepOut(wire[0], wire[1], 1, 1)])) == {"V031"}
    assert codes(Floorplan(sources={"sync": At(0, 1)})) == {"V032"}
    assert codes(Floorplan(sources={"hold": BesidePanel("left")})) == {"V032"}
    assert codes(Floorplan(sources={"hold": FromPanel(1, 1)})) == {"V032"}
    assert codes(Floorplan(sources={"nobody": At(1, 1)})) == {"V032"}
    assert codes(Floorplan(panel=At(3, 3))) == {"V033"}
    assert codes(Floorplan(logic="above")) == {"V034"}
    moved = tuple(replace(d, x=0, y=1) if d is gate else d for d in plan.devices)
    assert "V034" in codes(Floorplan(panel=AtEdge("left"), sources=floorplan.sources), replace(plan, devices=moved))
    assert "V034" in codes(Floorplan(margin=30, sources=floorplan.sources))
