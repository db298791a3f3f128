"""Whether two forms are the same function, by SAT."""

from __future__ import annotations

from pysat.solvers import Glucose4

from hdl2grid.base.gate_clauses import GateClauses
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import EXACTLY_ONE, Form, Network

_MOST_CONFLICTS = 20_000
"""Conflicts of the solver (guessed)."""


def difference(network: Network, one: Form, other: Form) -> dict[int, int] | None:
    """Levels of the variables under which the forms differ; empty where there are none, and None where that was not
    found out within a bound of conflicts."""
    with Glucose4() as solver:
        make = GateClauses(solver)
        literal = {0: 1} | {s: make.fresh() for s in bits(network.support([one, other]))}
        for cell in network.cone([one, other]):
            gate = make.exactly_one if network.cells[cell].kind == EXACTLY_ONE else make.all_of
            literal[cell] = gate([make.parity([literal[s] for s in bits(f)]) for f in network.cells[cell].factors])
        differ = make.parity([literal[s] for s in bits(one ^ other)])
        solver.conf_budget(_MOST_CONFLICTS)
        answer = solver.solve_limited(assumptions=[differ])
        if answer is None:
            return None
        true = set(solver.get_model() or ())
        return {s: int(literal[s] in true) for s in bits(network.support([one, other]))} if answer else {}
