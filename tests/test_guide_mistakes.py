"""Mistakes of the hands are shown by the guide itself; the functional check and the looks are chosen well."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from support.made_plans import guide_named, plan_named

from hdl2grid.guide.bench import Bench
from hdl2grid.guide.build import make_guide
from hdl2grid.guide.choosing import choose_checks
from hdl2grid.guide.faults import all_faults, hidden_faults
from hdl2grid.guide.laying import differences, lay
from hdl2grid.guide.looks import choose_looks
from hdl2grid.guide.mistakes import fingerprint, judge, machine_of, shown_by_any_press, slips
from hdl2grid.guide.panel_reading import PanelReader
from hdl2grid.guide.press_order import smallest_cover
from hdl2grid.guide.survey import Survey
from hdl2grid.panel import above, beside, colon, lamp, leading_one, seven_segment
from hdl2grid.parts import SEGMENTS
from hdl2grid.plan.model import Device, Plan
from hdl2grid.sim.pulse_network import network_from_plan
from hdl2grid.sim.waves import PlainEngine


@pytest.mark.parametrize("name", ["counter", "lights", "week"])
def test_temporary_buttons_join_no_nets(name):
    """The clock of a week has two registers whose nets can only be pressed from one and the same free tile."""
    survey = Survey(plan_named(name))
    bench = Bench(survey)
    assert len(bench.extraction.nets) == len(survey.extraction.nets)
    for own, net in zip(survey.extraction.nets, bench.extraction.nets, strict=True):
        assert set(own.places) <= set(net.places) and own.sinks == net.sinks
    pressed = [net for group in bench.groups for net in group.nets]
    assert len(pressed) == len(set(pressed)) == sum(len(g.spots) for g in bench.groups)
    assert len({spot.tile for g in bench.groups for spot in g.spots}) == len(pressed)


@pytest.mark.parametrize(("name", "every"), [("counter", 1), ("blinker", 1), ("lights", 12)])
def test_mistakes_are_shown(name, every):
    """All mistakes of the small machines, every twelfth of the larger one's 2,000."""
    guide = guide_named(name)
    chosen = list(slips(guide))[::every]
    right = fingerprint(machine_of(guide, None))
    assert fingerprint(plan_named(name)) == right
    verdicts = judge(guide, chosen)
    assert len(verdicts) == len(chosen)
    effective = [v for v in verdicts if fingerprint(machine_of(guide, v.slip)) != right]
    missed = [v for v in effective if v.shown_at is None]
    assert len(effective) > 50
    assert len(missed) <= 0.005 * len(effective), [v.slip for v in missed]


@pytest.mark.parametrize(("name", "every"), [("counter", 1), ("blinker", 1), ("odd", 1), ("lights", 5)])
def test_a_net_s_own_test_shows_all_that_a_press_of_it_can_show(name, every):
    guide = guide_named(name)
    steps = list(guide.steps())
    chosen = [slip for slip in slips(guide) if steps[slip.step].net is not None][::every]
    late = [v.slip for v in judge(guide, chosen) if v.how in ("later", "not shown")]
    assert shown_by_any_press(guide, late) == []


def test_the_measure_of_own_tests_can_fail():
    """With one press a net, on its first place only, some mistakes would have shown on another tile."""
    guide = guide_named("lights")
    steps = list(guide.steps())
    extra = {s.number for s in steps if s.net is not None and "emporary button" in s.text and "Lay" not in s.text}
    blind = tuple(
        replace(s, steps=tuple(replace(t, expect=(), text="") if t.number in extra else t for t in s.steps))
        for s in guide.sections
    )
    guide = replace(guide, sections=blind)
    chosen = [slip for slip in slips(guide) if steps[slip.step].net is not None]
    late = [v.slip for v in judge(guide, chosen) if v.how in ("later", "not shown")]
    assert shown_by_any_press(guide, late)


def test_the_fewest_tiles_cover_what_all_show():
    masks = [0b0011, 0b0110, 0b1100, 0b1001, 0b0001]
    assert smallest_cover(masks) == [0, 2]
    assert smallest_cover(masks, [1]) == [1, 3]
    assert smallest_cover([0, 0]) == []
    alone = [1 << i for i in range(8)]
    assert sorted(smallest_cover(alone)) == list(range(8))


def test_a_check_less_shows_less():
    """The measure can fail: without any test of wires most of the wire mistakes go unseen."""
    guide = guide_named("counter")
    blind = tuple(
        replace(s, steps=tuple(replace(step, expect=(), text="") for step in s.steps)) for s in guide.sections
    )
    verdicts = judge(replace(guide, sections=blind))
    assert sum(v.shown_at is None for v in verdicts) > 0.5 * len(verdicts)


def test_faults_play_as_the_changed_plan_does():
    """A lost connection in the fast network is the plan with that toggle's wire taken away."""
    bench = Bench(Survey(plan_named("counter")))
    fault = next(f for f in all_faults(bench) if f.lost and "toggle (6,2)" in f.what)
    plan = plan_named("counter")
    without = replace(plan, wires=(plan.wires[0], ((2, 3, 4, 3), (4, 3, 4, 7), (4, 7, 6, 7)), *plan.wires[2:]))
    network = network_from_plan(without)
    engine = PlainEngine(network)
    other = bench.engine(fault)
    for _ in range(8):
        engine.fire(network.event("sync"))
        other.fire(bench.network.event("sync"))
        shown = engine.bits()[: network.first_probe]
        assert shown.tolist() == other.bits()[: network.first_probe].tolist()


def test_the_functional_check_catches_what_the_panel_can_show():
    bench = Bench(Survey(plan_named("lights")))
    faults = hidden_faults(bench)
    checks = choose_checks(bench, faults)
    caught = [fault for check in checks for fault, _ in check.caught]
    assert len(caught) == len({id(f) for f in caught})
    assert len(caught) >= 0.95 * len(faults)
    pressed = sum(times for check in checks for _, times in check.presses)
    assert pressed < 200


def test_looks_show_nearly_all_that_the_panel_shows():
    bench = Bench(Survey(plan_named("lights")))
    (found,) = choose_looks(bench)
    assert len(found.looks) <= 8
    assert found.num_shown >= 0.99 * found.num_visible
    engine = bench.engine()
    watch = list(range(bench.network.first_pixel, bench.network.first_probe))
    course = engine.play(np.full(max(k.ticks for k in found.looks), bench.network.event("sync")), watch).watched
    for look in found.looks:
        assert course[look.ticks - 1].tolist() == list(look.lit)


def two_tickers() -> Plan:
    """Two dividers, each with a ticker of its own, one above the other."""
    one = plan_named("divider")
    lower = [replace(d, y=d.y + 4, name=d.name and f"{d.name} 2", signal=d.signal and "lamp2") for d in one.devices]
    wires = [(*w, *((a, b + 4, c, d + 4) for a, b, c, d in w)) for w in one.wires]
    return replace(one, height=7, devices=(*one.devices, *lower), wires=tuple(wires), signals=())


def test_each_of_several_tickers_is_looked_at_alone():
    """While both run, nobody can say what the panel must read: the looks are steps before both are started."""
    guide = make_guide(two_tickers())
    assert {look.source for look in guide.looks} == {"sync", "sync 2"}
    last = guide.sections[-1]
    assert "When it runs" not in last.why
    counted = [step for step in last.steps if any(a.do == "tick" for a in step.actions) and "in all" in step.text]
    assert len(counted) == len(guide.looks)
    assert all(any(e.see == "pixel" for e in step.expect) for step in counted)
    laid = lay(guide)
    assert not laid.troubles
    assert differences(laid.world, two_tickers()) == ()


def digit_plan(size: int) -> Plan:
    """One digit by the order of segments that the panel's parts document, and a colon, and a leading one."""
    panel = beside(leading_one("lead"), seven_segment("ones", size), colon("dots"), seven_segment("tens", size))
    devices = tuple(Device("pixel", p.x, p.y, lit=True, signal=p.signal) for p in panel.layout().pixels)
    return Plan("digits", "default", ("black",), 40, 40, devices, ((),))


@pytest.mark.parametrize("size", [1, 2, 3])
def test_digits_are_read_off_where_they_stand(size):
    """The codes are those of the project's segment decoder, which its own tests hold to published data books."""
    plan = digit_plan(size)
    reader = PanelReader(plan)
    assert reader.is_digits
    for value, code in enumerate(SEGMENTS[:10]):
        lit = []
        for device in plan.devices:
            name, _, bit = (device.signal or "").partition("[")
            if name == "ones":
                lit.append(code >> int(bit[:-1]) & 1)
            elif name == "tens":
                lit.append(SEGMENTS[8] >> int(bit[:-1]) & 1)
            else:
                lit.append(1)
        assert reader.read(lit) == f"1{value}:8"


def test_digits_beside_lamps_and_in_two_rows_are_read():
    panel = above(beside(seven_segment("ones", 2), lamp("alarm")), seven_segment("tens", 2))
    devices = tuple(Device("pixel", p.x, p.y, lit=True, signal=p.signal) for p in panel.layout().pixels)
    reader = PanelReader(Plan("digits", "default", ("black",), 40, 40, devices, ((),)))
    lit = [1] * len(devices)
    assert reader.read(lit) == "8 / 8, alarm lit"
    assert reader.read([int(d.signal != "alarm") for d in devices]) == "8 / 8, no lamp lit"


def test_lamps_are_read_by_name():
    reader = PanelReader(plan_named("lights"))
    lit = [int(d.signal in ("main_red", "side_green")) for d in reader.pixels]
    assert reader.read(lit) == "main_red and side_green lit"
    assert reader.read([0] * len(lit)) == "nothing lit"
