"""circuit.json and `check_circuit`."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from support.plans import PAIRS, counter_circuit

from hdl2grid.base.errors import InputError, SourceLine
from hdl2grid.circuit.check import check_circuit
from hdl2grid.circuit.json_io import dump_circuit, load_circuit
from hdl2grid.circuit.model import Circuit, Level, Origin, Pixel, Source, Stack, Toggle

SCHEMA = json.loads((Path(__file__).parents[1] / "docs" / "circuit.schema.json").read_text(encoding="utf-8"))
VALIDATOR = jsonschema.Draft202012Validator(SCHEMA)


def test_schema_is_a_schema() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("name", PAIRS)
def test_round_trip_and_schema(name: str) -> None:
    circuit = PAIRS[name][1]()
    origin = (Origin("block", "", SourceLine("C:\\d x.py", 12)), *circuit.origin[1:])
    circuit = replace(circuit, origin=origin)
    text = dump_circuit(circuit)
    VALIDATOR.validate(json.loads(text))
    assert load_circuit(text) == replace(circuit, levels=())
    assert dump_circuit(load_circuit(text)) == text
    assert check_circuit(circuit) == ()


def edited(path: str, value: Any) -> str:
    document = json.loads(dump_circuit(counter_circuit()))
    *way, last = [int(k) if k.isdigit() else k for k in path.split("/")]
    place = document
    for key in way:
        place = place[key]
    if value == "DELETE":
        del place[last]
    else:
        place[last] = value
    return json.dumps(document)


@pytest.mark.parametrize(
    "path,value,code",
    [
        ("format", "hdl2grid plan", "J013"),
        ("version", 1.0, "J013"),
        ("levels", [], "J008"),
        ("sources/0/kind", "delay", "J012"),
        ("sources/0/kind", "DELETE", "J008"),
        ("sources/0/on", True, "J008"),
        ("sources/0/period_s", "1", "J009"),
        ("sources/0/name", "r0", "J015"),
        ("stacks/0/function", "and", "J012"),
        ("stacks/0/strobe", "DELETE", "J008"),
        ("stacks/0/strobe", ["sync", "sync"], "J015"),
        ("stacks/0/strobe", ["snyc"], "J017"),
        ("stacks/2/strobe", ["sync"], "J016"),
        ("stacks/2/toggles", [], "J016"),
        ("stacks/2/toggles/0/bit", True, "J009"),
        ("stacks/2/toggles/0/drivers", ["both"], "J017"),
        ("stacks/2/toggles/0/drivers", "r0", "J009"),
        ("pixels/0/signal", "q[1]", "J015"),
        ("pixels/0/drivers/0", 5, "J009"),
        ("origin/r0", "DELETE", "J008"),
        ("origin/rx", {"block": "", "signal": "", "source": None}, "J008"),
        ("origin/r0/source", "file.py", "J011"),
        ("origin/r0/source", 5, "J009"),
    ],
)
def test_each_mistake_has_its_code(path: str, value: Any, code: str) -> None:
    with pytest.raises(InputError) as caught:
        load_circuit(edited(path, value))
    assert caught.value.code == code, str(caught.value)
    assert "circuit.json" in (caught.value.where or "")


def test_drivers_are_sorted_when_read() -> None:
    loaded = load_circuit(edited("stacks/2/toggles/0/drivers", ["sync", "r0"]))
    assert loaded.stacks[2].toggles[0].drivers == ("r0", "sync")


def test_check_lists_every_offence() -> None:
    broken = Circuit(
        "broken",
        (Source("ticker", "t"), Source("button", "t", on=True), Source("lamp", "")),
        (Stack("s", "MAJ", (Toggle(2, ("t", "a")), Toggle(0, ("t", "t"))), ("gone",)), Stack("e", "OR", ())),
        (Pixel("p", True, ("s",)), Pixel("p", True, ("q",))),
        (Origin("", ""),),
        (Level("l", ("s", "e"), 0), Level("l", (), 0)),
    )
    said = "\n".join(str(finding) for finding in check_circuit(broken))
    for part in (
        "'t' stands twice",
        "no name",
        "lacks 'period_s'",
        "lacks 'running'",
        "no use for 'on'",
        "'lamp' is no kind",
        "'MAJ' is no function",
        "over 2 toggles",
        "placed as 2",
        "called 'a'",
        "called 'gone'",
        "called 'q'",
        "must ascend",
        "at least one toggle",
        "pixel of 'p' stands twice",
        "level of 'l' stands twice",
        "1 origins for 2 stacks",
    ):
        assert part in said, part
