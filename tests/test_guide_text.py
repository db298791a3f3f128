"""guide.json and guide.txt: written, read back, and the same plan again."""

from __future__ import annotations

import json
from pathlib import Path

import jsonschema
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from support.made_plans import NAMES, guide_named, plan_named, tiles_of_plan

from hdl2grid.base.errors import InputError
from hdl2grid.guide.json_io import dump_guide, load_guide
from hdl2grid.guide.model import Action
from hdl2grid.guide.text_in import parse_text, plan_of_text
from hdl2grid.guide.text_lines import action_line, parse_action
from hdl2grid.guide.world import tiles_of
from hdl2grid.plan.cover import fewest_strokes
from hdl2grid.plan.model import Device
from hdl2grid.show.guide_text import guide_text

SCHEMA = json.loads((Path(__file__).parent.parent / "docs" / "guide.schema.json").read_text())


@pytest.mark.parametrize("name", NAMES)
def test_guide_json_is_of_its_schema_and_comes_back(name):
    text = dump_guide(guide_named(name))
    jsonschema.validate(json.loads(text), SCHEMA)
    assert dump_guide(load_guide(text)) == text


@pytest.mark.parametrize("name", NAMES)
def test_guide_txt_read_back_is_the_plan(name):
    guide, plan = guide_named(name), plan_named(name)
    text = guide_text(guide)
    assert max(len(line) for line in text.splitlines()) <= 80
    found = parse_text(text)
    again = plan_of_text(found)
    assert tiles_of_plan(again) == tiles_of_plan(plan)
    assert (again.name, again.target, again.signals) == (plan.name, plan.target, plan.signals)
    assert found.plan_sha256 == guide.plan_sha256
    assert [number for number, _ in found.steps] == [step.number for step in guide.steps()]
    assert [actions for _, actions in found.steps] == [step.actions for step in guide.steps()]


def test_the_sheets_are_in_the_text():
    text = guide_text(guide_named("lights"))
    for heading in ("Restore sheet", "From-to list", "When to look at the running machine"):
        assert f"\n{heading}\n" in text


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("hdl2grid guide", "another thing", "G003"),
        ("size: ", "sizes: ", "G003"),
        ("    - place strobe", "    - plaice strobe", "G002"),
        ("    - wire black", "    - wire", "G002"),
        (" starts dark", " starts maybe", "G002"),
    ],
)
def test_a_spoilt_text_is_refused(old, new, code):
    text = guide_text(guide_named("counter"))
    assert old in text
    with pytest.raises(InputError) as caught:
        parse_text(text.replace(old, new, 1))
    assert caught.value.code == code


@pytest.mark.parametrize(
    ("change", "code"),
    [
        (lambda g: g.pop("sections"), "J008"),
        (lambda g: g.update(version=2), "J013"),
        (lambda g: g["sections"][0]["steps"][0].update(also=1), "J008"),
        (lambda g: g["sections"][1]["steps"][0]["actions"].append({"do": "fly"}), "J012"),
        (lambda g: g["sections"][1]["steps"][0]["actions"].append({"do": "press", "x": -1, "y": 0}), "J010"),
        (
            lambda g: g["sections"][1]["steps"][0]["expect"].append({"see": "toggle", "x": 1, "y": 0, "bit": True}),
            "J009",
        ),
        (
            lambda g: g["sections"][1]["steps"][0]["actions"].append(
                {"do": "wire", "colour": "black", "stroke": [0, 0, 1, 1]}
            ),
            "J014",
        ),
    ],
)
def test_a_spoilt_guide_json_is_refused(change, code):
    data = json.loads(dump_guide(guide_named("counter")))
    change(data)
    with pytest.raises(InputError) as caught:
        load_guide(json.dumps(data))
    assert caught.value.code == code


NAMES_OF_DEVICES = st.text(st.characters(codec="utf-8", exclude_categories=("C", "Z")), min_size=1, max_size=12)
COORDINATE = st.integers(0, 9999)


@settings(derandomize=True, max_examples=60)
@given(NAMES_OF_DEVICES, COORDINATE, COORDINATE, st.booleans(), st.floats(0.001, 1e6) | st.integers(1, 10**6))
def test_any_device_survives_its_line(name, x, y, flag, seconds):
    for device in (
        Device("gate", x, y, name=name, function="XNOR" if flag else "OR"),
        Device("toggle", x, y, bit=int(flag)),
        Device("strobe", x, y),
        Device("pixel", x, y, lit=flag, signal=name),
        Device("ticker", x, y, name=name, period_s=seconds, running=flag),
        Device("button", x, y, name=name),
        Device("switch", x, y, name=name, on=flag),
        Device("delay", x, y, to=(y, x), seconds=seconds),
        Device("crossover", x, y, form="straight"),
    ):
        action = Action("place", device=device)
        assert parse_action(action_line(action), "here") == action


@settings(derandomize=True, max_examples=60)
@given(st.sets(st.tuples(st.integers(0, 7), st.integers(0, 7)), min_size=1, max_size=24))
def test_fewest_strokes_cover_exactly_and_are_fewest(tiles):
    """Against an independent exact method: a largest matching is as large as the smallest cover (Koenig, 1931)."""
    strokes = fewest_strokes(dict.fromkeys(tiles))
    assert {t for stroke in strokes for t in tiles_of(stroke)} == tiles
    assert len(strokes) == _largest_matching(tiles)


def _largest_matching(tiles):
    def run(tile, dx, dy):
        x, y = tile
        while (x - dx, y - dy) in tiles:
            x, y = x - dx, y - dy
        return x, y

    partner: dict = {}
    edges: dict = {}
    for tile in tiles:
        edges.setdefault(run(tile, 1, 0), set()).add(run(tile, 0, 1))

    def grow(row, seen):
        for column in edges[row]:
            if column not in seen:
                seen.add(column)
                if column not in partner or grow(partner[column], seen):
                    partner[column] = row
                    return True
        return False

    return sum(grow(row, set()) for row in sorted(edges))
