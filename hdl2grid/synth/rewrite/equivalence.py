"""Whether two forms are the same function, by SAT."""

from __future__ import annotations

from itertools import count

from pysat.solvers import Glucose4

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import Form, Network

_MOST_CONFLICTS = 20_000


def difference(network: Network, one: Form, other: Form) -> dict[int, int] | None:
    """Levels of the variables under which the forms, of products, differ; empty where there are none, and None where
    that was not found out within a bound of conflicts."""
    with Glucose4(bootstrap_with=[[1]]) as solver:
        fresh = count(2)
        number = {0: 1}

        def total(form: Form) -> int:
            found = -1
            for s in bits(form):
                if s not in number:
                    number[s] = next(fresh)
                if found == -1:
                    found = number[s]
                    continue
                a, b, c = found, number[s], next(fresh)
                solver.append_formula([[-c, a, b], [-c, -a, -b], [c, -a, b], [c, a, -b]])
                found = c
            return found

        for cell in network.cone([one, other]):
            factors = [total(factor) for factor in network.cells[cell].factors]
            number[cell] = next(fresh)
            solver.append_formula([[-number[cell], f] for f in factors])
            solver.add_clause([number[cell], *(-f for f in factors)])
        differ = total(one ^ other)
        solver.conf_budget(_MOST_CONFLICTS)
        answer = solver.solve_limited(assumptions=[differ])
        if answer is None:
            return None
        if not answer:
            return {}
        true = set(solver.get_model())
        return {s: int(number.get(s, 0) in true) for s in bits(network.support([one, other]))}
