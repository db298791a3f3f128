"""Other cells of the same space, of which the sinks are shorter sums: sound, no more of them, within four colours."""

from __future__ import annotations

import csv
import os
import random
from pathlib import Path

import numpy as np
import pytest
from support.circuit_files import load
from support.equivalence import circuit_functions, same_functions, source_functions
from support.lockstep import sources_of

from hdl2grid.logic.reachability import States
from hdl2grid.nets.partition import share_nets
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import Network
from hdl2grid.synth.rewrite.covers import table_variable
from hdl2grid.synth.rewrite.shorter_sums import shorter_sums
from hdl2grid.synth.sinks import OUTPUT, Problem, Sink
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazards import find_hazards

DATA = os.environ.get("HDL2GRID_CHECK_DATA", "")


def all_states(signals: tuple[int, ...], limit: int) -> States | None:
    return np.arange(1 << len(signals), dtype=np.uint64) if 1 << len(signals) <= limit else None


def drawn(seed: int, width: int, cells: int, outputs: int) -> Problem:
    """Pixels that gather a random half of some random products, and variables."""
    rng = random.Random(seed)
    network = Network(width, 12)
    made = []
    while len(made) < cells:
        cell = network.product([rng.randrange(1 << width) << 1 | rng.randrange(2) for _ in range(rng.randint(2, 3))])
        if cell.bit_length() - 1 > width and cell not in made:
            made.append(cell)
    forms = [sum(c for c in made if rng.random() < 0.5) | rng.randrange(1 << width) << 1 for _ in range(outputs)]
    return Problem(network, tuple(Sink(OUTPUT, f"y{i}", f) for i, f in enumerate(forms)), ())


def excess(problem: Problem) -> int:
    return sum(max(0, (s.form >> 1).bit_count() - 4) for s in problem.sinks)


@pytest.mark.parametrize(("seed", "width"), [(1, 4), (2, 5), (3, 5), (4, 6), (5, 7)])
def test_the_same_functions_of_as_many_cells(seed: int, width: int) -> None:
    problem = drawn(seed, width, 10, 14)
    forms = [s.form for s in problem.sinks]
    other = shorter_sums(problem, set(forms), all_states, 1)
    values = {1 + i: table_variable(i, width) for i in range(width)}
    ones = (1 << (1 << width)) - 1
    network = problem.network
    assert network.evaluate([s.form for s in other.sinks], values, ones) == network.evaluate(forms, values, ones)
    assert len(network.cone([s.form for s in other.sinks])) <= len(network.cone(forms))
    assert excess(other) <= excess(problem)
    assert other == shorter_sums(problem, set(forms), all_states, 1)


def test_sums_that_are_short_stay() -> None:
    problem = drawn(6, 4, 6, 8)
    assert shorter_sums(problem, set(), all_states, 1) == problem


def test_a_cell_that_another_reads_stays() -> None:
    problem = drawn(7, 5, 8, 10)
    network = problem.network
    read = problem.sinks[0].form & ~((1 << 6) - 1)
    kept = read & -read
    deep = network.product([kept, 2])
    sinks = (*problem.sinks, Sink(OUTPUT, "deep", deep))
    other = shorter_sums(Problem(network, sinks, ()), {s.form for s in sinks}, all_states, 1)
    assert other.sinks[-1].form == deep
    assert all(bool(a.form & kept) == bool(b.form & kept) for a, b in zip(sinks, other.sinks, strict=True))


def column() -> dict[str, tuple[str, int]]:
    lines = (Path(DATA) / "tables/and_counts_peers.csv").read_text(encoding="utf-8").splitlines()
    rows = csv.DictReader(line for line in lines if not line.startswith("#"))
    return {row["circuit"]: (row["kind"], int(row["best_one_round_safe"])) for row in rows}


# The table's column counts AND-type cells of general methods, which know no colours; ours include what colours need.
@pytest.mark.skipif(not DATA, reason="HDL2GRID_CHECK_DATA is not set")
@pytest.mark.parametrize("name", ["bw", "ctrl", "dec", "dk15", "misex1", "5xp1"])
def test_no_more_stacks_within_four_colours_than_general_methods(name: str) -> None:
    kind, most = column()[name]
    logic = load(kind, name, Path(DATA))
    made = synthesise(logic, sources_of(logic), SynthParams(keep_codes=True, espp_steps=200_000))
    assert made.report.stacks - made.report.registers - made.report.resets <= most
    assert not share_nets(made.circuit).crowded
    assert find_hazards(made.circuit).is_safe_by_structure
    assert same_functions(source_functions(logic), circuit_functions(logic, made.circuit), logic)
