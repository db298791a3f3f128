"""Files that lie beside a plan and tell more about it."""

from __future__ import annotations

from pathlib import Path

from hdl2grid.circuit.json_io import load_circuit
from hdl2grid.circuit.model import Circuit


def circuit_beside(plan: Path) -> Circuit | None:
    """The circuit.json in the plan's folder, which tells what the stacks stand for; None where there is none.

    Raises InputError (J...) when it is no circuit.
    """
    path = plan.parent / "circuit.json"
    return load_circuit(path) if path.is_file() else None
