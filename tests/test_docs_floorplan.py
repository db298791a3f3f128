"""The example of docs/floorplan.md is a design that works, and the page names every demand that there is."""

import dataclasses
import re
from pathlib import Path

from hdl2grid.base.target import load_target
from hdl2grid.design import floorplan
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, run_flow

PAGE = Path(__file__).parent.parent / "docs" / "floorplan.md"


def example(folder: Path) -> Path:
    code = re.search(r"<!-- example -->\n```python\n(.*?)```", PAGE.read_text(), re.DOTALL)
    assert code
    file = folder / "pier_light.py"
    file.write_text(code[1])
    return file


def test_the_example_is_planned_and_keeps_its_floorplan(tmp_path: Path) -> None:
    machine = load_machine(str(example(tmp_path)))
    outcome = run_flow(machine, tmp_path, FlowOptions(load_target(), effort="quick"))
    assert outcome.is_good and outcome.verdict == "proved"
    assert any(item.what.startswith("floorplan: ") and item.good for item in outcome.evidence)


def test_every_demand_is_told() -> None:
    text = PAGE.read_text()
    fields = {field.name for field in dataclasses.fields(floorplan.Floorplan)} - {"source"}
    assert {name for name in fields if f"`{name}=`" in text} == fields
    for words in (floorplan.LOGIC, ("At(", "AtEdge(", "FromPanel(", "BesidePanel(", "KeepOut(")):
        assert all(word in text for word in words)
