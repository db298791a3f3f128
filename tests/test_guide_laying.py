"""The guide is followed to the letter by a program that knows only the grid's rules."""

from __future__ import annotations

import json
import re
from collections import Counter
from dataclasses import replace

import numpy as np
import pytest
from support import independent_guide
from support.made_plans import NAMES, guide_named, plan_named

from hdl2grid.base.errors import DesignFailed
from hdl2grid.guide.build import make_guide
from hdl2grid.guide.building_site import kind_of
from hdl2grid.guide.json_io import dump_guide, load_guide
from hdl2grid.guide.laying import differences, lay
from hdl2grid.guide.likeness import with_likeness
from hdl2grid.guide.model import MAX_KINDS, MAX_THINGS, PICTURE, Action, Fresh, Section, Step
from hdl2grid.guide.returning import way_back
from hdl2grid.guide.sentences import Words
from hdl2grid.guide.survey import Survey, block_of
from hdl2grid.guide.world import World
from hdl2grid.plan.extract import extract
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Device
from hdl2grid.sim.pulse_network import network_from_plan
from hdl2grid.sim.waves import PlainEngine


@pytest.mark.parametrize("name", [*NAMES, "week"])
def test_the_guide_ends_in_the_first_state(name):
    guide = load_guide(dump_guide(guide_named(name)))
    laid = lay(guide)
    assert laid.troubles == ()
    assert laid.num_lost == 0
    assert laid.num_seen > 0
    assert differences(laid.world, plan_named(name)) == ()


@pytest.mark.parametrize("name", [*NAMES, "week"])
def test_a_program_that_knows_only_the_rules_can_lay_the_machine(name):
    guide, plan = json.loads(dump_guide(guide_named(name))), json.loads(dump_plan(plan_named(name)))
    assert independent_guide.follow(guide, plan) == []


def test_such_a_program_notices_what_is_wrong():
    name = next(iter(NAMES))
    plan = json.loads(dump_plan(plan_named(name)))
    for do in ("wire", "place"):
        guide = json.loads(dump_guide(guide_named(name)))
        actions = [a for section in guide["sections"] for step in section["steps"] for a in step["actions"]]
        spoiled = [a for a in actions if a["do"] == do and a.get("kind", "pixel") == "pixel"][-1]
        spoiled.update({"do": "backdrop", "area": [0, 0, 0, 0]})
        assert independent_guide.follow(guide, plan)


@pytest.mark.parametrize("name", NAMES)
def test_steps_are_small(name):
    steps = list(guide_named(name).steps())
    things = [sum(action.is_thing for action in step.actions) for step in steps]
    assert max(things) <= MAX_THINGS
    assert float(np.median(things)) <= 5
    for step in steps:
        assert len({kind_of(a) for a in step.actions if a.is_thing}) <= MAX_KINDS
        assert step.text[0].isupper()
        if step.area is not None:
            x0, y0, x1, y1 = step.area
            assert x1 - x0 < PICTURE[0] and y1 - y0 < PICTURE[1]


@pytest.mark.parametrize("name", NAMES)
def test_every_net_is_tested_and_says_what_must_be_seen(name):
    guide, plan = guide_named(name), plan_named(name)
    tested = {step.net for step in guide.steps() if step.net is not None and any(a.do == "press" for a in step.actions)}
    assert tested == set(range(len(extract(plan).nets)))
    for step in guide.steps():
        if any(a.do in ("press", "tick") for a in step.actions):
            assert step.expect, step.text


def test_a_net_test_flips_just_what_extraction_says():
    guide, plan = guide_named("lights"), plan_named("lights")
    found = extract(plan)
    checked = 0
    for step in guide.steps():
        kinds = Counter(action.do for action in step.actions)
        if step.net is None or kinds["press"] != 1 or kinds["remove"]:
            continue
        sinks = [plan.devices[s] for s in found.nets[step.net].sinks]
        if step.mistakes and all(d.kind in ("toggle", "pixel") for d in sinks):
            changed = {e.tile for e in step.expect[: step.changes]}
            late = {(d.x, d.y) for d in sinks if d.kind == "pixel" and not d.lit}
            assert {(d.x, d.y) for d in sinks} - late <= changed
            assert changed <= {(d.x, d.y) for d in sinks}
            checked += 1
    assert checked > 10


@pytest.mark.parametrize("name", ["divider", "counter", "blinker", "lights"])
def test_the_world_plays_as_the_simulator_does(name):
    """Two engines that share no code, on the finished machine, over mixed events."""
    plan = plan_named(name)
    world = lay(guide_named(name)).world
    engine = PlainEngine(network_from_plan(plan))
    network = engine.network
    at = {d.name: (d.x, d.y) for d in plan.devices if d.name}
    order = [t for stack in extract(plan).stacks for t in stack.toggles]
    order += [i for i, d in enumerate(plan.devices) if d.kind == "pixel"]
    state = 1
    for _ in range(300):
        state = state * 48271 % 2147483647
        source = network.sources[state % len(network.sources)]
        do = "tick" if source.kind == "ticker" else "press"
        lost = world.do(Action(do, tile=at[source.name])).lost
        assert len(lost) == len(engine.fire(network.event(source.name)).lost)
        shown = [world.things[plan.devices[i].x, plan.devices[i].y].value for i in order]
        assert shown == engine.bits()[: network.first_probe].tolist()


def test_a_toggle_placed_on_a_wired_stack_makes_it_answer():
    world = World()
    for device in (Device("gate", 0, 2, name="g", function="AND"), Device("pixel", 2, 2, lit=True, signal="p")):
        world.do(Action("place", device=device))
    world.do(Action("wire", colour="black", stroke=(0, 2, 2, 2)))
    world.do(Action("place", device=Device("toggle", 0, 1, bit=0)))
    assert world.value((2, 2), "pixel") == 1
    world.do(Action("place", device=Device("toggle", 0, 1, bit=1)))
    assert world.value((2, 2), "pixel") == 0
    world.do(Action("place", device=Device("toggle", 0, 0, bit=0)))
    assert world.value((2, 2), "pixel") == 1


def test_a_crossover_parts_two_ways():
    world = World()
    for x, y in ((2, 1), (1, 2)):
        world.do(Action("place", device=Device("pixel", x, y, lit=True, signal=f"p{x}")))
    world.do(Action("place", device=Device("button", 0, 1, name="b")))
    world.do(Action("wire", colour="black", stroke=(0, 1, 2, 1)))
    world.do(Action("wire", colour="black", stroke=(1, 0, 1, 2)))
    world.do(Action("press", tile=(0, 1)))
    assert (world.value((2, 1), "pixel"), world.value((1, 2), "pixel")) == (0, 0)
    world.do(Action("place", device=Device("crossover", 1, 1, form="straight")))
    world.do(Action("press", tile=(0, 1)))
    assert (world.value((2, 1), "pixel"), world.value((1, 2), "pixel")) == (1, 0)


def test_what_goes_wrong_is_told():
    guide = guide_named("counter")
    sections = list(guide.sections)
    step = sections[1].steps[0]
    broken = replace(step, actions=(*step.actions, Action("press", tile=(0, 0))))
    sections[1] = replace(sections[1], steps=(broken, *sections[1].steps[1:]))
    laid = lay(replace(guide, sections=tuple(sections)))
    assert "nothing on (0, 0) cannot be pressed" in laid.troubles[0].what


def test_differences_are_found():
    world = lay(guide_named("counter")).world
    plan = plan_named("counter")
    world.do(Action("wire", colour="violet", stroke=(0, 0, 0, 0)))
    world.do(Action("remove", tile=(9, 8)))
    found = differences(world, plan)
    assert any("violet wire too much" in text for text in found)
    assert any(text.startswith("(9, 8)") for text in found)


def test_a_plan_that_breaks_a_rule_has_no_guide():
    plan = plan_named("counter")
    with pytest.raises(DesignFailed, match="G001"):
        make_guide(replace(plan, wires=(((0, 8, 3, 8),), *plan.wires[1:])))


def test_a_game_whose_fresh_pixels_are_dark():
    guide = make_guide(plan_named("lights"), fresh=Fresh(pixel_lit=False))
    laid = lay(guide)
    assert (laid.troubles, laid.num_lost) == ((), 0)
    assert differences(laid.world, plan_named("lights")) == ()
    late = [s for s in guide.steps() if "now (they are dark)" in s.text]
    assert late and all(a.device is None or a.device.lit for s in late for a in s.actions if a.do == "place")


@pytest.mark.parametrize("name", NAMES)
def test_a_game_whose_tickers_run_at_once_and_whose_gates_say_1(name):
    """Tickers that must stand still are stopped by hand; nothing says that a ticker is started."""
    guide = make_guide(plan_named(name), fresh=Fresh(ticker_running=True, gate=1))
    laid = lay(guide)
    assert (laid.troubles, laid.num_lost) == ((), 0)
    assert differences(laid.world, plan_named(name)) == ()
    told = " ".join(f"{section.why} {step.text}" for section in guide.sections for step in section.steps)
    assert "does not run yet" not in told and "placed stopped" not in told
    assert ("runs at once" in told) == any(d.kind == "ticker" for d in plan_named(name).devices)
    assert not any(a.hand == "start" for step in guide.steps() for a in step.actions)


def test_the_same_plan_gives_the_same_guide():
    assert dump_guide(make_guide(plan_named("blinker"))) == dump_guide(guide_named("blinker"))


def test_register_outputs_come_before_what_they_feed_and_strobes_last():
    survey = Survey(plan_named("lights"))
    place = {net: i for i, net in enumerate(survey.order)}
    for net, before in enumerate(survey.before):
        if not survey.nets[net].has_strobe:
            assert all(place[b] < place[net] for b in before if not survey.nets[b].has_strobe)
    strobes = [survey.nets[n].has_strobe for n in survey.order]
    assert strobes == sorted(strobes)


@pytest.mark.parametrize(
    ("name", "block"),
    [
        ("minutes.ones[2].reset", "minutes.ones"),
        ("ones.and3", "ones"),
        ("reset.buf1", "reset"),
        ("q", "q"),
        ("fsm_state[0]", "fsm_state"),
        ("word[1].rep2", "word"),
    ],
)
def test_blocks(name, block):
    assert block_of(name) == block


def test_a_chapter_that_repeats_another_says_so():
    """Two equal blocks, side by side and wired alike: the second chapter is the first, so many tiles right."""
    words = Words()

    def block(number: int, x: int) -> Section:
        gate = Device("gate", x, 3, function="AND", name=f"b{number}")
        toggle, pixel = Device("toggle", x, 2, bit=0), Device("pixel", x, 0, lit=True, signal=f"s{number}")
        steps = (
            Step("", (Action("place", device=gate), Action("place", device=toggle), Action("place", device=pixel)), ()),
            Step("", (Action("wire", colour="blue", stroke=(x, 0, x, 3)), Action("press", tile=(x, 3))), ()),
        )
        return Section(f"{number}", "Why.", tuple(replace(s, number=f"{number}.{i}") for i, s in enumerate(steps, 1)))

    first, second = with_likeness((block(1, 2), block(2, 11)), words)
    assert first.why == "Why."
    assert second.why == "Why. Step by step this is chapter 1 once more, 9 tiles right."
    other = block(2, 11)
    other = replace(other, steps=(other.steps[0], replace(other.steps[1], actions=other.steps[1].actions[:1])))
    assert with_likeness((block(1, 2), other), words)[1].why == "Why."


def test_steps_of_one_shape_say_so():
    guide = guide_named("lights")
    by_number = {step.number: step for step in guide.steps()}
    likes = [step for step in guide.steps() if step.like]
    assert likes
    for step in likes:
        number, right, down = re.fullmatch(
            r"As step (\d+\.\d+), (?:(\d+ tiles? (?:right|left)))?(?: and )?(?:(\d+ tiles? (?:down|up)))?\.", step.like
        ).groups()
        first = by_number[number]
        dx = int(right.split()[0]) * (1 if right.endswith("right") else -1) if right else 0
        dy = int(down.split()[0]) * (1 if down.endswith("down") else -1) if down else 0
        for a, b in zip(first.actions, step.actions, strict=True):
            if a.device is not None:
                assert (a.device.x + dx, a.device.y + dy) == (b.device.x, b.device.y)
                assert (a.device.kind, a.device.bit, a.device.function) == (
                    b.device.kind,
                    b.device.bit,
                    b.device.function,
                )
            elif a.stroke is not None:
                assert b.stroke == tuple(v + d for v, d in zip(a.stroke, (dx, dy, dx, dy), strict=True))
            else:
                assert (a.do, a.times, b.tile) == (b.do, b.times, (a.tile[0] + dx, a.tile[1] + dy))


@pytest.mark.parametrize("given_up", [1, 1000])
def test_checks_after_which_no_way_leads_back_are_left_out(given_up, monkeypatch):
    """A machine without a reset may not find back from where its last checks would take it."""
    plan, ways = plan_named("lights"), []

    def found_later(*arguments):
        ways.append(1)
        return None if len(ways) <= given_up else way_back(*arguments)

    monkeypatch.setattr("hdl2grid.guide.functional.way_back", found_later)
    guide = make_guide(plan)
    laid = lay(guide)
    assert laid.troubles == () and differences(laid.world, plan) == ()
    looks = [step for step in guide.steps() if step.title.startswith("Look:")]
    usual = [step for step in guide_named("lights").steps() if step.title.startswith("Look:")]
    assert len(looks) == max(0, len(usual) - given_up) < len(usual)
