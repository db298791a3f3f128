"""The flow as a whole: what it does where a stage comes to nothing."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from hdl2grid.base.errors import DesignFailed
from hdl2grid.base.target import load_target
from hdl2grid.circuit.model import Circuit
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, layout_job, map_machine
from hdl2grid.layout.lay_out import LayoutFailed, lay_out
from hdl2grid.layout.retries import LayoutJob, place_somehow

OPTIONS = FlowOptions(load_target(), effort="quick")


def fails(times: int) -> Any:
    """`lay_out` that finds nothing the first so many times."""
    calls = []

    def one(*args: Any) -> Any:
        calls.append(args)
        if len(calls) <= times:
            raise LayoutFailed((), 1, None)
        return lay_out(*args)

    return one


def circuits_of(name: str, times: int, options: FlowOptions = OPTIONS) -> tuple[Circuit, Circuit, LayoutJob]:
    """A design's circuit and its roomy one, and a job that fails the first so many times."""
    machine, folder = load_machine(name), Path("designs")
    circuit = map_machine(machine, folder, options).circuit
    roomy = map_machine(machine, folder, options, is_roomy=True).circuit
    return circuit, roomy, replace(layout_job(machine, options), lay_out=fails(times))


def test_without_a_plan_on_the_first_sizes_a_roomy_circuit_is_laid() -> None:
    joined, roomy, job = circuits_of("stopwatch", 1)
    assert len(joined.stacks) < len(roomy.stacks)
    laid = place_somehow([joined], lambda: roomy, job)
    assert laid.is_roomy
    assert any(f"this one has {len(roomy.stacks)}" in told for told in laid.warnings)


def test_where_the_roomy_circuit_fails_too_the_other_sizes_are_tried() -> None:
    joined, roomy, job = circuits_of("stopwatch", 2)
    laid = place_somehow([joined], lambda: roomy, job)
    assert not laid.is_roomy
    assert laid.plan.width * laid.plan.height > 0


def test_limits_are_tried_to_the_end_first() -> None:
    joined, roomy, job = circuits_of("stopwatch", 1, replace(OPTIONS, width=60, height=60))
    assert place_somehow([joined], lambda: roomy, job).is_roomy


@pytest.mark.parametrize("name", ["stopwatch", "dice"])
def test_where_neither_is_placed_the_user_is_told(name: str) -> None:
    joined, roomy, job = circuits_of(name, 3)
    with pytest.raises(DesignFailed, match="no plan"):
        place_somehow([joined], lambda: roomy, job)
