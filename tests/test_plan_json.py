"""plan.json: the same plan back, its schema, and every way in which a file can be wrong."""

from __future__ import annotations

import copy
import json
import random
import tracemalloc
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from support.plans import PAIRS, blinker_plan, counter_plan

from hdl2grid.base.errors import InputError
from hdl2grid.base.strict_json import MAX_BYTES, parse, read_text
from hdl2grid.plan.json_io import dump_plan, load_plan, stroke_tiles
from hdl2grid.plan.model import Device, Plan

SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "plan.schema.json").read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def every_device_plan() -> Plan:
    """Not a machine, but every kind of device once, names beyond ASCII, a backdrop."""
    plan = counter_plan()
    devices = (
        *plan.devices,
        Device("button", 0, 8, name="weiß [1]"),
        Device("switch", 1, 8, name="s.x", on=True),
        Device("delay", 0, 7, to=(3, 7), seconds=0.25),
    )
    return Plan("Zähler", "default", plan.colours, 10, 9, devices, plan.wires, ((8, 2, 9, 8),), plan.signals[:1])


PLANS = [*(make() for make, _ in PAIRS.values()), every_device_plan()]


def test_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("plan", PLANS, ids=lambda plan: plan.name)
def test_round_trip_and_schema(plan: Plan, tmp_path: Path) -> None:
    text = dump_plan(plan)
    VALIDATOR.validate(json.loads(text))
    assert load_plan(text) == plan
    assert dump_plan(load_plan(text)) == text
    path = tmp_path / "plan.json"
    path.write_text(text, encoding="utf-8")
    assert load_plan(path) == plan


def test_one_device_or_stroke_a_line() -> None:
    lines = dump_plan(counter_plan()).splitlines()
    assert '    {"kind": "gate", "x": 6, "y": 8, "function": "AND", "name": "and"},' in lines
    assert "      [6, 3, 9, 3]," in lines
    assert '    "both": {"colour": "violet", "x": 7, "y": 8, "initial": 0},' in lines


def refused(text: str) -> InputError:
    with pytest.raises(InputError) as caught:
        load_plan(text)
    assert caught.value.code.startswith("J") and "plan.json" in (caught.value.where or "")
    return caught.value


def edited(path: str, value: Any) -> str:
    """The counter's plan with the value at a path such as devices/0/x replaced, or taken out (None)."""
    document = json.loads(dump_plan(counter_plan()))
    *way, last = [int(k) if k.isdigit() else k for k in path.split("/")]
    place = document
    for key in way:
        place = place[key]
    if value is None:
        del place[last]
    else:
        place[last] = value
    return json.dumps(document)


WRONG = [
    ("format", "hdl2grid circuit", "J013", ""),
    ("format", None, "J013", ""),
    ("version", 2, "J013", ""),
    ("version", True, "J013", ""),
    ("version", "1", "J013", ""),
    ("name", "", "J011", "at name"),
    ("name", "a\nb", "J011", "at name"),
    ("name", "x" * 201, "J011", "at name"),
    ("name", 5, "J009", "at name"),
    ("target", None, "J008", ""),
    ("extra", 1, "J008", ""),
    ("colours", [], "J010", "at colours"),
    ("colours", ["a", "a"], "J015", "at colours"),
    ("colours/0", "schwarz", "J008", "at wires"),
    ("size", [10], "J009", "at size"),
    ("size/0", 10**9, "J010", "at size[0]"),
    ("size/0", "10", "J009", "at size[0]"),
    ("size/0", 10.0, "J009", "at size[0]"),
    ("size/1", True, "J009", "at size[1]"),
    ("size/0", 9, "J010", "at devices"),
    ("devices", {}, "J009", "at devices"),
    ("devices/0", 3, "J009", "at devices[0]"),
    ("devices/0/kind", None, "J008", "at devices[0]"),
    ("devices/0/kind", "tikker", "J012", "at devices[0].kind"),
    ("devices/0/kind", "gate", "J008", "at devices[0]"),
    ("devices/0/x", -1, "J010", "at devices[0].x"),
    ("devices/0/x", "0", "J009", "at devices[0].x"),
    ("devices/0/x", None, "J008", "at devices[0]"),
    ("devices/0/colour", "black", "J008", "at devices[0]"),
    ("devices/0/name", "r0", "J015", "at devices"),
    ("devices/0/period_s", 0, "J010", "at devices[0].period_s"),
    ("devices/0/period_s", True, "J009", "at devices[0].period_s"),
    ("devices/0/running", 1, "J009", "at devices[0].running"),
    ("devices/1/function", "MAJ", "J012", "at devices[1].function"),
    ("devices/2/bit", 2, "J010", "at devices[2].bit"),
    ("devices/2/bit", True, "J009", "at devices[2].bit"),
    ("devices/10/form", "turned", "J012", "at devices[10].form"),
    ("devices/11/lit", 0, "J009", "at devices[11].lit"),
    ("wires", [], "J009", "at wires"),
    ("wires/black", None, "J008", "at wires"),
    ("wires/red", [], "J008", "at wires"),
    ("wires/black/0", [0, 1, 6, 2], "J014", "at wires.black[0]"),
    ("wires/black/0", [0, 1, 6], "J009", "at wires.black[0]"),
    ("wires/black/0/2", 10, "J010", "at wires.black[0][2]"),
    ("backdrop", [[3, 0, 2, 0]], "J014", "at backdrop[0]"),
    ("signals", None, "J008", ""),
    ("signals/both/colour", "vilet", "J012", "at signals.both.colour"),
    ("signals/both/initial", 2, "J010", "at signals.both.initial"),
    ("signals/both/x", 1e3, "J009", "at signals.both.x"),
]


@pytest.mark.parametrize("path,value,code,place", WRONG, ids=[f"{w[0]}={str(w[1])[:12]}" for w in WRONG])
def test_each_mistake_has_its_code_and_place(path: str, value: Any, code: str, place: str) -> None:
    error = refused(edited(path, value))
    assert (error.code, place in (error.where or "")) == (code, True), str(error)


def test_backdrop_may_be_left_out() -> None:
    assert load_plan(edited("backdrop", None)).backdrop == ()


def test_nearest_name_is_offered() -> None:
    assert "'violet'" in str(refused(edited("signals/both/colour", "vilet")))
    assert "'ticker'" in str(refused(edited("devices/0/kind", "tikker")))


def test_truncated_anywhere_is_refused() -> None:
    text = dump_plan(blinker_plan()).rstrip()
    for end in range(0, len(text) - 1, 7):
        error = refused(text[:end])
        assert error.code == "J004" and "line" in (error.where or "")


@pytest.mark.parametrize(
    "old,new,code",
    [
        ('"x": 0, "y": 1', '"x": NaN, "y": 1', "J007"),
        ('"x": 0, "y": 1', '"x": -Infinity, "y": 1', "J007"),
        ('"period_s": 1', '"period_s": 1e999', "J007"),
        ('"x": 0, "y": 1', '"x": ' + "9" * 5000 + ', "y": 1', "J007"),
        ('"x": 0, "y": 1', '"x": 0, "x": 0, "y": 1', "J006"),
        ('"version": 1', '"version": 1, "version": 1', "J006"),
        ('"black": [', '"black": [], "black": [', "J006"),
        ('"black": [', '"black": [' + "[" * 100_000 + "]" * 100_000 + ",", "J005"),
        ('"black": [', '"black": [' + '{"a":' * 17 + "1" + "}" * 17 + ",", "J005"),
        ('"name": "counter"', '"name": "\\ud800"', "J011"),
    ],
)
def test_what_json_readers_let_through(old: str, new: str, code: str) -> None:
    text = dump_plan(counter_plan())
    assert old in text
    error = refused(text.replace(old, new, 1))
    assert error.code == code
    assert len(str(error)) < 500 and ("line " in (error.where or "") or code in ("J006", "J011"))


def test_brackets_inside_texts_are_no_nesting() -> None:
    document = json.loads(dump_plan(counter_plan()))
    document["name"] = '[{"' * 60
    assert load_plan(json.dumps(document)).name == '[{"' * 60


def test_a_text_without_end_is_quickly_refused() -> None:
    assert refused('{"format": "' + '\\"' * 2_000_000).code == "J004"


def test_too_much_wire_is_refused_in_bounded_memory() -> None:
    document = json.loads(dump_plan(counter_plan()))
    document["size"] = [10_000, 10_000]
    document["wires"]["black"] = [[0, y, 9999, y] for y in range(2000)]
    text = json.dumps(document)
    tracemalloc.start()
    assert refused(text).code == "J002"
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 20_000_000


def test_files_that_cannot_be_read(tmp_path: Path) -> None:
    def code(path: Path) -> str:
        with pytest.raises(InputError) as caught:
            load_plan(path)
        assert str(path) in str(caught.value)
        return caught.value.code

    assert code(tmp_path / "missing.json") == "J001"
    assert code(tmp_path) == "J001"
    binary = tmp_path / "binary.json"
    binary.write_bytes(b'{"name": "\xff\xfe"}')
    assert code(binary) == "J003"
    large = tmp_path / "large.json"
    with large.open("wb") as file:
        file.truncate(MAX_BYTES + 1)
    assert code(large) == "J002"
    marked = tmp_path / "marked.json"
    marked.write_bytes(b"\xef\xbb\xbf" + dump_plan(counter_plan()).encode())
    assert load_plan(marked) == counter_plan() and read_text(marked)[0] == "{"


def test_schema_and_reader_agree_on_random_edits() -> None:
    """What the schema refuses, the reader refuses; what the reader takes, the schema takes."""
    rng = random.Random(7)
    document = json.loads(dump_plan(every_device_plan()))
    values = [None, True, 0, 1, -1, 1.5, "x", "", [], {}, [0, 0], "AND", "black", 10_000, [0, 0, 1, 1]]
    taken = 0
    for _ in range(300):
        changed = copy.deepcopy(document)
        places = list(_places(changed))
        container, key = rng.choice(places)
        if rng.random() < 0.2:
            del container[key]
        else:
            container[key] = copy.deepcopy(rng.choice(values))
        valid = VALIDATOR.is_valid(changed)
        try:
            plan = load_plan(json.dumps(changed))
        except InputError:
            continue
        assert valid
        assert load_plan(dump_plan(plan)) == plan
        taken += 1
    assert taken > 10


def _places(value: Any) -> Any:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, child in items:
        yield value, key
        yield from _places(child)


def test_parse_takes_plain_values() -> None:
    assert parse("[1, 2.5, true, null]", "here") == [1, 2.5, True, None]


def test_stroke_tiles_run_from_end_to_end() -> None:
    assert list(stroke_tiles((3, 1, 1, 1))) == [(3, 1), (2, 1), (1, 1)]
    assert list(stroke_tiles((0, 0, 0, 0))) == [(0, 0)]
    assert list(stroke_tiles((2, 0, 2, 2))) == [(2, 0), (2, 1), (2, 2)]
