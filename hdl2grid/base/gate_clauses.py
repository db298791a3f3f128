"""Gates as clauses for a SAT solver (G. Tseitin, "On the complexity of derivation in propositional calculus", 1968)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any


class GateClauses:
    """AND and XOR gates over literals as clauses of a solver. A literal is a number, negative where it is inverted; 1
    is true. Equal gates are made once."""

    def __init__(self, solver: Any) -> None:
        self.solver = solver
        self.last = 1
        self.solver.add_clause([1])
        self.known: dict[tuple[str, tuple[int, ...]], int] = {}

    def fresh(self) -> int:
        self.last += 1
        return self.last

    def all_of(self, inputs: Sequence[int]) -> int:
        wanted = sorted({i for i in inputs if i != 1})
        if -1 in wanted or any(-i in wanted for i in wanted):
            return -1
        if len(wanted) < 2:
            return wanted[0] if wanted else 1
        key = "and", tuple(wanted)
        if key not in self.known:
            out = self.known[key] = self.fresh()
            for i in wanted:
                self.solver.add_clause([-out, i])
            self.solver.add_clause([out, *(-i for i in wanted)])
        return self.known[key]

    def any_of(self, inputs: Sequence[int]) -> int:
        return -self.all_of([-i for i in inputs])

    def parity(self, inputs: Sequence[int]) -> int:
        sign = 1
        odd: set[int] = set()
        for i in inputs:
            if i < 0:
                sign, i = -sign, -i
            odd ^= {i}
        if 1 in odd:
            sign = -sign
            odd.discard(1)
        total = -1
        for i in sorted(odd):
            total = i if total == -1 else self._two(total, i)
        return sign * total

    def _two(self, a: int, b: int) -> int:
        if a < 0:
            return -self._two(-a, b)
        key = "xor", (min(a, b), max(a, b))
        if key not in self.known:
            out = self.known[key] = self.fresh()
            for clause in ([-out, a, b], [-out, -a, -b], [out, -a, b], [out, a, -b]):
                self.solver.add_clause(clause)
        return self.known[key]

    def exactly_one(self, inputs: Sequence[int]) -> int:
        one, more = -1, -1
        for i in inputs:
            more = self.any_of([more, self.all_of([one, i])])
            one = self.any_of([one, i])
        return self.all_of([one, -more])
