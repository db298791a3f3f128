"""The flow as a whole: what it does where a stage comes to nothing."""

from pathlib import Path
from typing import Any

import pytest

from hdl2grid import flow
from hdl2grid.designs import load_machine
from hdl2grid.errors import DesignFailed
from hdl2grid.flow import FlowOptions, map_machine, place_somehow
from hdl2grid.layout.lay_out import LayoutFailed
from hdl2grid.target import load_target

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


def test_without_a_plan_drivers_are_not_joined(monkeypatch: pytest.MonkeyPatch) -> None:
    machine, folder = load_machine("stopwatch"), Path("designs")
    joined = map_machine(machine, folder, OPTIONS)
    apart = map_machine(machine, folder, OPTIONS, may_join=False)
    assert len(joined.circuit.stacks) < len(apart.circuit.stacks)
    monkeypatch.setattr(flow, "lay_out", fails(1))
    placed = place_somehow(joined, folder, OPTIONS)
    assert placed.mapped.circuit == apart.circuit
    assert any("joined" in told for told in placed.mapped.warnings)


@pytest.mark.parametrize("name", ["stopwatch", "dice"])
def test_where_neither_is_placed_the_user_is_told(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    mapped = map_machine(load_machine(name), Path("designs"), OPTIONS)
    monkeypatch.setattr(flow, "lay_out", fails(2))
    with pytest.raises(DesignFailed, match="no plan"):
        place_somehow(mapped, Path("designs"), OPTIONS)
