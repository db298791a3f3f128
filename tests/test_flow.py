"""The flow as a whole: what it does where a stage comes to nothing."""

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from hdl2grid import flow
from hdl2grid.base.errors import DesignFailed
from hdl2grid.base.target import load_target
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, map_machine, map_roomier, place_somehow
from hdl2grid.layout.lay_out import LayoutFailed

OPTIONS = FlowOptions(load_target(), effort="quick")


def fails(times: int) -> Any:
    """`lay_out` that finds nothing the first so many times."""
    calls = []

    def one(*args: Any) -> Any:
        calls.append(args)
        if len(calls) <= times:
            raise LayoutFailed((), 1, None)
        return lay_out(*args)

    lay_out = flow.lay_out
    return one


def test_without_a_plan_on_the_first_sizes_a_roomy_circuit_is_laid(monkeypatch: pytest.MonkeyPatch) -> None:
    machine, folder = load_machine("stopwatch"), Path("designs")
    joined = map_machine(machine, folder, OPTIONS)
    roomy = map_roomier(joined, folder, OPTIONS)
    assert len(joined.circuit.stacks) < len(roomy.circuit.stacks)
    monkeypatch.setattr(flow, "lay_out", fails(1))
    placed = place_somehow(joined, folder, OPTIONS)
    assert placed.mapped.circuit == roomy.circuit
    assert any(f"this one has {len(roomy.circuit.stacks)}" in told for told in placed.mapped.warnings)


def test_where_the_roomy_circuit_fails_too_the_other_sizes_are_tried(monkeypatch: pytest.MonkeyPatch) -> None:
    machine, folder = load_machine("stopwatch"), Path("designs")
    joined = map_machine(machine, folder, OPTIONS)
    monkeypatch.setattr(flow, "lay_out", fails(2))
    placed = place_somehow(joined, folder, OPTIONS)
    assert placed.mapped.circuit == joined.circuit
    assert placed.plan.width * placed.plan.height > 0


def test_limits_are_tried_to_the_end_first(monkeypatch: pytest.MonkeyPatch) -> None:
    machine, folder = load_machine("stopwatch"), Path("designs")
    joined = map_machine(machine, folder, OPTIONS)
    monkeypatch.setattr(flow, "lay_out", fails(1))
    placed = place_somehow(joined, folder, replace(OPTIONS, width=60, height=60))
    assert placed.mapped.circuit != joined.circuit


@pytest.mark.parametrize("name", ["stopwatch", "dice"])
def test_where_neither_is_placed_the_user_is_told(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    mapped = map_machine(load_machine(name), Path("designs"), OPTIONS)
    monkeypatch.setattr(flow, "lay_out", fails(3))
    with pytest.raises(DesignFailed, match="no plan"):
        place_somehow(mapped, Path("designs"), OPTIONS)
