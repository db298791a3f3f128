"""State machines with free codes, their inputs on switches, against what general tools take."""

from __future__ import annotations

import csv
import math
import os
from pathlib import Path

import pytest
from support.circuit_files import is_complete, read_kiss
from support.lockstep import compare, sources_of, walk

from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise

FREE = SynthParams(toggle_terms=999, register_terms=999, pixel_terms=999)
CHECK_DATA = os.environ.get("HDL2GRID_CHECK_DATA")


@pytest.mark.skipif(not CHECK_DATA, reason="no HDL2GRID_CHECK_DATA")
def test_state_machines_take_at_most_seven_tenths_of_the_best_peers_cells() -> None:
    # tables/and_counts_peers.csv, rows of kind fsm; a gate counts as a cell here.
    assert CHECK_DATA is not None
    lines = (Path(CHECK_DATA) / "tables" / "and_counts_peers.csv").read_text().splitlines()
    rows = [row for row in csv.DictReader(line for line in lines if not line.startswith("#")) if row["kind"] == "fsm"]
    assert {row["circuit"] for row in rows} >= {"modulo12", "bbtas", "dk15", "lion", "mc"}
    ratios = []
    for row in rows:
        name = row["circuit"]
        logic = read_kiss(Path(CHECK_DATA) / "logic" / "kiss2" / f"{name}.kiss2", name)
        made = synthesise(logic, sources_of(logic))
        compare(logic, made.circuit, walk(logic, 1000, 1))
        cells = made.report.products + made.report.exactly_ones + made.report.gates
        ratios.append(max(cells, 1) / int(row["best"]))
    assert math.prod(ratios) ** (1 / len(ratios)) <= 0.7


@pytest.mark.skipif(not CHECK_DATA, reason="no HDL2GRID_CHECK_DATA")
@pytest.mark.parametrize(("name", "cubes"), [("dk27", 8), ("shiftreg", 7), ("bbtas", 8)])
def test_machines_that_are_not_in_the_table(name: str, cubes: int) -> None:
    # Distinct cubes of EXORCISM-4, the best of the peers of benchmarks/state_machines.py (November 2026).
    assert CHECK_DATA is not None
    logic = read_kiss(Path(CHECK_DATA) / "logic" / "kiss2" / f"{name}.kiss2", name)
    report = synthesise(logic, sources_of(logic), FREE).report
    assert report.stacks - report.registers - report.resets <= 0.7 * cubes


@pytest.mark.skipif(not CHECK_DATA, reason="no HDL2GRID_CHECK_DATA")
def test_which_machines_answer_every_input() -> None:
    # tables/fsm_benchmarks.csv: complete, or bbsse and mark1, complete in the states that they can reach.
    assert CHECK_DATA is not None
    lines = (Path(CHECK_DATA) / "tables" / "fsm_benchmarks.csv").read_text().splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    complete = {row["fsm"] for row in rows if row["complete"] == "yes"}
    folder = Path(CHECK_DATA) / "logic" / "kiss2"
    found = {path.stem for path in folder.glob("*.kiss2") if is_complete(path)}
    assert found == complete | {"bbsse", "mark1"}
