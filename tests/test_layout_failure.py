"""Where a size fails: why, by HDL signals, in words, in data and in a picture; and what would do."""

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner

from hdl2grid.base.failure_report import FailureReport, Spot, nearest_miss
from hdl2grid.base.outputs import ResultFolder
from hdl2grid.base.target import load_target
from hdl2grid.cli.app import main
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, layout_job, map_machine
from hdl2grid.layout.not_placed import NotPlaced
from hdl2grid.layout.retries import place_circuits
from hdl2grid.show.congestion import congestion_svg


def failure(width: int = 5, conflicts: int | None = 3) -> FailureReport:
    spots = (Spot(1, 1, 0, ("a", "b")), Spot(2, 1, 3, ("a",)), Spot(4, 3, 1, ("c[1]",), True))
    wires = ((0, 1, 2, 3, 4),) * 4
    return FailureReport(width, 4, conflicts, spots, wires, ((0, 0),), ((3, 3),))


@pytest.fixture(scope="module")
def failed() -> NotPlaced:
    options = FlowOptions(load_target(), effort="quick", width=20, height=16)
    mapped = map_machine(load_machine("traffic_light"), Path("."), options)
    with pytest.raises(NotPlaced) as caught:
        place_circuits([mapped.synthesis.with_nets], layout_job(mapped.machine, options))
    return caught.value


def test_what_is_in_the_way_in_words() -> None:
    assert failure().wanted() == [("a", 2), ("b", 1), ("c[1]", 1)]
    told = failure().told()
    assert told == "5 x 4: 3 conflicts within (1,1) to (4,3); tiles wanted by a (2), b (1), c[1] (1)"
    assert "find no places" in FailureReport(3, 3, None).told()
    assert failure().renamed(str.upper).wanted()[0] == ("A", 2)


def test_the_nearest_miss() -> None:
    assert nearest_miss([FailureReport(9, 9, None)]) is None
    assert nearest_miss([failure(9, 4), failure(8, 2), failure(7, 2), FailureReport(3, 3, None)]) == failure(7, 2)


def test_a_failed_size_names_hdl_signals_and_what_would_do(failed: NotPlaced) -> None:
    text = str(failed)
    assert failed.code == "P001" and failed.exit_code == 1 and "within 20 x 16 tiles" in text
    least = re.search(r"The least that was reached is (\d+) x (\d+) = ", text)
    assert least is not None
    width, height = (int(number) for number in least.groups())
    assert width > 20 or height > 16
    assert failed.worst is not None and failed.worst.conflicts
    circuit = map_machine(load_machine("traffic_light"), Path("."), FlowOptions(load_target())).circuit
    known = {origin.signal for origin in circuit.origin} | {source.name for source in circuit.sources}
    nets = {net for one in failed.failures for net, _ in one.wanted()}
    assert nets and nets <= known
    for one in failed.failures:
        assert all(0 <= spot.x < one.width and 0 <= spot.y < one.height for spot in one.spots)


def test_the_picture_shows_every_tile_in_conflict() -> None:
    svg = congestion_svg(failure(), "lamp", load_target())
    root = ET.fromstring(svg)
    titles = [element.text for element in root.iter("{http://www.w3.org/2000/svg}title")]
    assert "(1,1) black: wanted by a and b" in titles
    assert "(4,3) orange: cut off by c[1]" in titles
    texts = [element.text for element in root.iter("{http://www.w3.org/2000/svg}text")]
    assert {"a", "b", "c[1]"} <= set(texts)
    assert any("no plan on 5 x 4 tiles" in (text or "") for text in texts)


def test_the_command_draws_it_beside_what_is_there(tmp_path: Path) -> None:
    """An earlier result stays, the picture joins it, and the next good run takes it away."""
    out = tmp_path / "traffic_light"
    runner = CliRunner()
    good = ["plan", "traffic_light", "--effort", "quick", "--no-guide", "--out", str(out)]
    assert runner.invoke(main, good).exit_code == 0
    before = (out / "plan.json").read_bytes()
    result = runner.invoke(main, [*good, "--width", "19", "--height", "16", "--json"])
    assert result.exit_code == 1, result.output
    report = json.loads(result.stdout)
    assert report["error"]["code"] == "H2G-P001" and "plan-congestion.svg" in report["error"]["hint"]
    assert any("tiles wanted by" in told and "conflict" in told for told in report["failed_sizes"])
    assert (out / "plan-congestion.svg").exists() and (out / "plan.json").read_bytes() == before
    ResultFolder(out)  # it is still known as ours
    assert runner.invoke(main, good).exit_code == 0
    assert (out / "plan.json").read_bytes() == before and not (out / "plan-congestion.svg").exists()
