"""Old plan and change list give the new plan, tile for tile, with the fewest strokes."""

from __future__ import annotations

import json
import random
import re
from dataclasses import replace
from importlib import resources

import pytest
from click.testing import CliRunner
from support.changed_world import apply_changes
from support.made_plans import plan_named, tiles_of_plan

from hdl2grid.base.errors import DesignFailed, InputError
from hdl2grid.cli import main
from hdl2grid.compare.change_list import compare, first_state
from hdl2grid.compare.difference import difference, likely_shift, moved, wire_tiles
from hdl2grid.compare.json_io import dump_changes
from hdl2grid.guide.json_io import load_guide
from hdl2grid.guide.laying import differences, follow, is_seen
from hdl2grid.guide.model import Fresh
from hdl2grid.guide.world import tiles_of
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Plan
from hdl2grid.show.changes_text import changes_text

NAMES = ("divider", "counter", "blinker", "odd", "lights")
PAIRS = [(a, b) for a in NAMES for b in NAMES]


@pytest.mark.parametrize(("old", "new"), PAIRS)
def test_the_list_makes_the_new_plan_in_its_first_state(old, new):
    """Even where the two are quite different machines; the way back is the other pair."""
    changes = compare(plan_named(old), plan_named(new))
    assert differences(apply_changes(changes), plan_named(new)) == ()
    assert changes.difference.is_empty == (old == new)
    if old == new:
        assert changes.sections == ()


FRESH = [
    Fresh(pixel_lit=False),
    Fresh(ticker_running=True),
    Fresh(gate=1),
    Fresh(pixel_lit=False, ticker_running=True, gate=1),
]


@pytest.mark.parametrize("fresh", FRESH)
@pytest.mark.parametrize(("old", "new"), [("blinker", "counter"), ("counter", "divider"), ("odd", "counter")])
def test_other_games_place_things_otherwise(old, new, fresh):
    changes = compare(plan_named(old), plan_named(new), fresh)
    assert differences(apply_changes(changes), plan_named(new)) == ()
    if fresh.ticker_running:
        early = [a for section in changes.sections[:-1] for step in section.steps for a in step.actions]
        assert all(a.device is None or a.device.kind != "ticker" for a in early)


@pytest.mark.parametrize(("old", "new"), [p for p in PAIRS if p[0] != p[1]])
def test_what_must_be_seen_is_seen(old, new):
    changes = compare(plan_named(old), plan_named(new))
    world = first_state(plan_named(old))
    for section in changes.sections:
        for step in section.steps:
            lost, failures = follow(world, step)
            assert not lost and not failures
            assert all(is_seen(world, e) for e in step.expect), step.text


@pytest.mark.parametrize("shift", [(1, 0), (2, 0), (3, 1)])
def test_no_pulse_is_lost_while_stacks_grow_on_wire_that_stays(shift):
    """Laid again a little further to the right, stacks come to stand on wire of other nets: what they say meanwhile
    must go nowhere."""
    old = plan_named("lights")
    new = moved(old, *shift)
    assert difference(old, new) != compare(old, new).difference
    for before, after in ((old, new), (new, old)):
        changes = compare(before, after)
        assert differences(apply_changes(changes), after) == ()
        world = first_state(before)
        for section in changes.sections:
            for step in section.steps:
                lost, failures = follow(world, step)
                assert not lost and not failures


def changed(plan: Plan, seed: int) -> Plan:
    """A plan with some toggles of the other bit, some gates of another function and some names changed."""
    chooser = random.Random(seed)
    devices = list(plan.devices)
    for i, device in enumerate(devices):
        if device.kind == "toggle" and chooser.random() < 0.2:
            devices[i] = replace(device, bit=1 - (device.bit or 0))
        elif device.kind == "gate" and chooser.random() < 0.2:
            devices[i] = replace(device, function="NOR")
        elif device.kind == "gate" and chooser.random() < 0.2:
            devices[i] = replace(device, name=f"{device.name}.new")
        elif device.kind == "pixel" and chooser.random() < 0.3:
            devices[i] = replace(device, lit=not device.lit)
    return replace(plan, devices=tuple(devices))


@pytest.mark.parametrize("seed", range(6))
def test_small_changes_stay_small(seed):
    old = plan_named("lights")
    new = changed(old, seed)
    changes = compare(old, new)
    found = changes.difference
    stacks = len({device.x for device, _ in found.changed if device.kind == "toggle"})
    assert len(found.unwired) + len(found.wired) <= 8 * stacks, "wire on gates only, which stand bare meanwhile"
    assert len(found.touched) == len(found.changed) > 0
    world = apply_changes(changes)
    assert differences(world, new) == ()


def test_strokes_are_fewest():
    """Against Koenig's bound: no fewer strokes can cover the tiles that change (see test_guide_text.py)."""
    old, new = plan_named("counter"), plan_named("lights")
    found = difference(old, new)
    before, after = wire_tiles(old), wire_tiles(new)
    for colour in new.colours:
        laid = {t for c, s in found.wired if c == colour for t in tiles_of(s)}
        taken = {t for c, s in found.unwired if c == colour for t in tiles_of(s)}
        assert taken == before[colour] - after[colour]
        assert after[colour] - before[colour] <= laid <= after[colour]


def test_wire_that_stays_may_be_laid_over():
    old = replace(plan_named("counter"), wires=((), (), (), ()))
    gap = ((0, 1, 1, 1), (3, 1, 6, 1))
    new = replace(old, wires=(((0, 1, 6, 1),), (), (), ()))
    assert difference(replace(old, wires=(gap, (), (), ())), new).wired == (("black", (2, 1, 2, 1)),)
    gaps = ((2, 1, 2, 1), (4, 1, 4, 1))
    found = difference(replace(old, wires=(gaps, (), (), ())), new)
    assert found.wired == (("black", (0, 1, 6, 1)),)


def test_a_moved_machine_is_known_again():
    new = plan_named("lights")
    old = moved(new, 2, 1)
    assert likely_shift(old, new) == (-2, -1)
    assert tiles_of_plan(moved(old, -2, -1))[3:] == tiles_of_plan(new)[3:]
    assert difference(moved(new, 0, 0), new).is_empty
    with pytest.raises(InputError, match="D002"):
        moved(new, -1, 0)


def test_other_colours_cannot_be_compared():
    old = plan_named("counter")
    with pytest.raises(InputError, match="D001"):
        compare(replace(old, colours=("black", "orange", "blue", "green"), signals=()), old)


def test_a_broken_plan_is_refused():
    old = plan_named("counter")
    with pytest.raises(DesignFailed, match="G001"):
        compare(old, replace(old, wires=(((0, 8, 3, 8),), *old.wires[1:])))


def test_text_and_data_say_the_same():
    changes = compare(plan_named("blinker"), plan_named("counter"))
    text = changes_text(changes)
    assert max(len(line) for line in text.splitlines()) <= 80
    data = json.loads(dump_changes(changes))
    assert data["strokes"] == {"unwire": len(changes.difference.unwired), "wire": len(changes.difference.wired)}
    guide = {"format": "hdl2grid guide", "version": 1, "plan": "p", "plan_sha256": "0" * 64}
    again = load_guide(json.dumps({**guide, "sections": data["sections"]}))
    assert [s.actions for s in again.steps()] == [st.actions for s in changes.sections for st in s.steps]
    for heading in ("Nets to test again", "Restore sheet", "Names that change"):
        assert heading in text or (heading.startswith("Names") and not changes.difference.renamed)


def run(*arguments: object):
    return CliRunner().invoke(main, ["compare", *(str(a) for a in arguments)])


def test_the_command(tmp_path):
    files = {}
    for name in ("blinker", "counter"):
        files[name] = tmp_path / f"{name}.json"
        files[name].write_text(dump_plan(plan_named(name)))
    result = run(files["blinker"], files["counter"])
    assert result.exit_code == 0 and "strokes of wire are taken up" in " ".join(result.output.split())
    report = json.loads(run(files["blinker"], files["counter"], "--json").stdout)
    assert report["same"] is False and report["strokes_laid"] > 0
    out = tmp_path / "list.json"
    assert run(files["blinker"], files["counter"], "--out", out).exit_code == 0
    assert json.loads(out.read_text())["format"] == "hdl2grid changes"
    assert run(files["blinker"], files["counter"], "--out", out).exit_code == 2
    assert "same machine" in run(files["counter"], files["counter"]).output
    assert run(files["counter"], tmp_path / "none.json").exit_code == 2
    assert "D003" in run(files["counter"], files["counter"], "--shift", "east").output


def test_the_command_heeds_the_target(tmp_path):
    target = tmp_path / "night.toml"
    text = resources.files("hdl2grid").joinpath("base", "targets", "default.toml").read_text(encoding="utf-8")
    target.write_text(re.sub(r'(fresh_pixel = )"lit"', r'\1"dark"', text))
    files = []
    for name in ("blinker", "lights"):
        files.append(tmp_path / f"{name}.json")
        files[-1].write_text(dump_plan(plan_named(name)))
    result = run(*files, "--target", target)
    assert result.exit_code == 0
    assert "start lit" in result.output
    assert "start dark" not in result.output


def test_the_command_says_which_shift_fits(tmp_path):
    new = plan_named("lights")
    (tmp_path / "new.json").write_text(dump_plan(new))
    (tmp_path / "old.json").write_text(dump_plan(moved(new, 1, 0)))
    result = run(tmp_path / "old.json", tmp_path / "new.json")
    assert "--shift -1,0 only 0 tiles change" in result.output
    assert "same machine" in run(tmp_path / "old.json", tmp_path / "new.json", "--shift=-1,0").output
