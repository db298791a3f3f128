"""The circuit in lock-step with the logic, on machines by hand and at random; no pulse is ever lost."""

from __future__ import annotations

import pytest
from support.lockstep import compare, sources_of, walk
from support.small_logic import clock_12h, random_logic

from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise

QUICK = SynthParams(search_steps=2000)


@pytest.mark.parametrize("seed", range(40))
def test_random_machines(seed: int) -> None:
    logic = random_logic(seed, most_nodes=60 if seed % 2 else 150)
    made = synthesise(logic, sources_of(logic), QUICK)
    assert made.report.stacks == len(made.circuit.stacks)
    compare(logic, made.circuit, walk(logic, 250, seed))


def test_clock_through_all_its_states_and_resets() -> None:
    logic = clock_12h()
    made = synthesise(logic, sources_of(logic))
    assert made.report.stacks <= 45
    compare(logic, made.circuit, ["sync"] * 1445 + walk(logic, 500, 1))
