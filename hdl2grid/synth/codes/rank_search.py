"""The search for codes of least rank over F (see `code_stacks.py`), and for the least rank that there can be.

- rank 0: all bits lie in the subspace of functions that are in F now and after a tick. It is computed, and all
  its subspaces are looked at;
- rank k: the same for F + U, for all spaces U of k dimensions that a code can lie in (see `spaces_of_rank.py`), k
  going up until there is a code, or until there would be too many;
- linear codes: the kernels of polynomials in "after a tick" (no cells for counting at all), and those with one jump
  (see `jump_counters.py`);
- annealing over codes for the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hdl2grid.base.rng import seeded
from hdl2grid.synth.codes.code_stacks import CodeProblem
from hdl2grid.synth.codes.jump_counters import jump_codes
from hdl2grid.synth.codes.rank_kernels import Tick, anneal_codes, anneal_functions, subspaces
from hdl2grid.synth.codes.spaces_of_rank import spaces_of_rank
from hdl2grid.synth.gf2 import Basis, Coordinates, bits

Code = tuple[int, tuple[int, ...]]
"""Width, and the code of each state."""


@dataclass(frozen=True)
class RankBudget:
    """Limits of the search. Guessed, but where it is said."""

    few_states: int = 12
    """Machines of more states get more annealing and jump codes, and end where one of the first codes meets the bound;
    those of fewer are annealed until a code meets it."""
    kept: int = 400
    """Codes kept of each width for one number of stacks."""
    dimension: int = 20
    """Of a space of functions whose subspaces are gone through. (Measured: without it a ring of 42 states in 38
    registers takes hours, with it six seconds. The number is guessed.)"""
    subspaces: int = 300_000
    """Subspaces looked at in one space."""
    spaces: int = 3000
    """Spaces U found of one rank."""
    spaces_looked_into: int = 300
    """Spaces U of one rank whose subspaces are looked at."""
    bits: int = 2_500_000
    """Bits tried while spaces U of one rank are found: 131,072 take a tenth of a second (docs/synthesis.md)."""
    width: int = 6
    """Widest codes that are annealed, or looked for among the linear ones."""
    steps: int = 30_000
    long_steps: int = 50_000
    """Steps of one annealing: of codes, and of functions of few states; of functions of many states."""
    tries: int = 9
    few_tries: int = 2
    """Annealings of functions for one width: of many states; of few, or where no better code can come of it."""
    penalties: tuple[float, ...] = (0.5, 1.0, 0.3)
    """What a state costs that a function loses, in ranks: try by try."""
    annealed: int = 24
    """Codes taken from one annealing."""
    expanded: int = 6
    """Spaces W of the cheapest codes in which others are looked for."""
    expand_subspaces: int = 20_000
    """Subspaces looked at in each of these."""
    expand_taken: int = 12
    """Codes taken from each of these."""


BUDGET = RankBudget()


class RankSearch:
    """`found`: codes by their stacks; `excluded`: for each width a rank that no code is below."""

    def __init__(self, problem: CodeProblem, seed: int) -> None:
        self.problem, self.seed = problem, seed
        self.behaviour = problem.behaviour
        self.has_many_states = self.behaviour.num_states > BUDGET.few_states
        self.found: dict[int, list[Code]] = {}
        self.cheapest = 1 << 30
        self.excluded: dict[int, int] = {}
        self.spaces: dict[tuple[int, int], tuple[list[list[int]], bool]] = {}
        self.inside_both = problem.functions_within([])

    def run(self) -> None:
        problem, many = self.problem, self.has_many_states
        for width, codes in self._given():
            self._offer(codes, width)
        for code in jump_codes(self.behaviour) if many else ():
            self._offer(code.codes, code.width)
        widths = range(problem.least_width, self.behaviour.num_states)
        ranks = {w: self._least_rank(w) for w in widths}
        if many and self.cheapest <= problem.bound(ranks):
            self.excluded = ranks
            return
        for width in widths:
            all_known = self._exact(width)
            if width > BUDGET.width:
                continue
            # One register more may be wired with fewer stacks for long sums: as good as one stack fewer.
            slack = 1 if many else 0
            if not all_known and problem.base(width) + self.excluded[width] < self.cheapest + 2 * slack:
                self._anneal(width)
        if many:
            self._expand()

    def _offer(self, codes: Sequence[int], width: int, rank: int | None = None) -> None:
        rank = self.problem.rank(codes, width) if rank is None else rank
        stacks = self.problem.base(width) + rank
        self.cheapest = min(self.cheapest, stacks)
        kept = self.found.setdefault(stacks, [])
        entry = width, tuple(int(c) for c in codes)
        if sum(w == width for w, _ in kept) < BUDGET.kept and entry not in kept:
            kept.append(entry)

    def _given(self) -> Iterator[Code]:
        """The design's own code, the states' numbers, and codes that a linear map steps, where there is no context."""
        yield self.problem.own_width, self.behaviour.code
        n = self.behaviour.num_states
        yield self.problem.least_width, tuple(range(n))
        step = dict(zip(self.behaviour.here, self.behaviour.after, strict=True))
        if self.behaviour.context or len(step) < n:
            return
        path = [list(range(n))]
        for _ in range(BUDGET.width + 1):
            path.append([step[s] for s in path[-1]])
        for polynomial in range(3, 1 << (BUDGET.width + 2), 2):
            kernel = _summing_to_zero([[path[i][s] for i in bits(polynomial)] for s in range(n)])
            width = len(kernel) - 1
            if self.problem.least_width <= width <= BUDGET.width and len(kernel) == polynomial.bit_length() - 1:
                space = Basis([(1 << n) - 1])
                chosen = [v for v in kernel if space.add(v)]
                codes = [sum((v >> s & 1) << j for j, v in enumerate(chosen)) for s in range(n)]
                if len(chosen) == width and len(set(codes)) == n:
                    yield width, tuple(codes)

    def _exact(self, width: int) -> bool:
        """Looks at all codes of rank 0, 1 .. as far as they may be the best, and notes the least rank that is not
        excluded. True where the best codes of that width were all found."""
        rank = self._least_rank(width)
        while self.problem.base(width) + rank <= self.cheapest:
            spaces, all_known = self._spaces(width, rank)
            met = False
            for number, extra in enumerate(spaces):
                if number == BUDGET.spaces_looked_into:
                    all_known = False
                    break
                space = self.problem.functions_within(extra)
                codes, count, complete = self._subspaces(space, width, BUDGET.subspaces)
                all_known &= complete
                met |= count > 0
                for row in codes[: min(count, BUDGET.kept)]:
                    self._offer(row, width)
            if met or not all_known:
                self.excluded[width] = rank
                return all_known
            rank += 1
        self.excluded[width] = rank
        return False

    def _least_rank(self, width: int) -> int:
        """A rank that no code of that width is below: V(U) has at most 2 dim U more dimensions than V(0)."""
        within = (width + 2 - len(self.inside_both)) // 2
        return max(self.problem.least_rank(width), self.problem.counted_rank(width), within)

    def _spaces(self, width: int, rank: int) -> tuple[list[list[int]], bool]:
        """The spaces of that rank in which a code can lie, and whether these are all."""
        key = width, rank
        if key not in self.spaces:
            now, then = self.problem.now, self.problem.then
            rows, count, complete = spaces_of_rank(now, then, rank, width + 1, BUDGET.spaces, BUDGET.bits)
            spaces = {Basis(int(v) for v in row).sorted_rows() for row in rows[:count]}
            self.spaces[key] = [list(rows) for rows in sorted(spaces)], bool(complete)
        return self.spaces[key]

    def _subspaces(self, space: list[int], width: int, work: int) -> tuple[Any, int, bool]:
        """Codes in a space of functions, how many there are, and whether all were looked at."""
        if len(space) > BUDGET.dimension:
            return np.zeros((0, 0), dtype=np.int64), 0, False
        vectors = np.array(space[1:], dtype=np.uint64)
        codes, count, complete = subspaces(vectors, self.behaviour.num_states, width, BUDGET.kept, work)
        return codes, int(count), bool(complete)

    def _anneal(self, width: int) -> None:
        """Annealing over codes, then over functions, which goes further where a tick is a permutation of states."""
        n = self.behaviour.num_states
        tick, own = self._tick(), np.arange(n, dtype=np.int64)
        rank, codes = anneal_codes(tick, width, own, BUDGET.steps, seeded(self.seed, width), BUDGET.annealed)
        for row in codes:
            self._offer(row, width, int(rank))
        start = np.array([sum((s >> j & 1) << s for s in range(n)) for j in range(width)], dtype=np.uint64)
        steps, tries = (BUDGET.long_steps, BUDGET.tries) if self.has_many_states else (BUDGET.steps, BUDGET.few_tries)
        if self.problem.base(width) + self.excluded[width] > self.cheapest:
            tries = BUDGET.few_tries
        for number in range(tries):
            penalty = BUDGET.penalties[number % len(BUDGET.penalties)]
            random = seeded(self.seed, width, number)
            rank, codes = anneal_functions(tick, start, penalty, steps, random, BUDGET.annealed)
            for row in codes:
                self._offer(row, width, int(rank))
            if rank <= self.excluded[width] and not self.has_many_states:
                return

    def _tick(self) -> Tick:
        n = self.behaviour.num_states
        following, preceding = np.full(n, -1), np.full(n, -1)
        if not self.behaviour.context:
            for a, b in zip(self.behaviour.here, self.behaviour.after, strict=True):
                following[a], preceding[b] = b, a
        return Tick(
            before=np.array(self.problem.now, dtype=np.uint64),
            after=np.array(self.problem.then, dtype=np.uint64),
            following=following,
            preceding=preceding,
            inside=np.array(self.problem.inside, dtype=np.uint64),
        )

    def _expand(self) -> None:
        """Other codes of the space W of each of the cheapest found."""
        seen: set[tuple[int, ...]] = set()
        for width, codes in list(self.found[self.cheapest]):
            key = Basis(self.problem.vectors(codes, width)).sorted_rows()
            if key in seen or len(seen) == BUDGET.expanded:
                continue
            seen.add(key)
            space = self.problem.functions_within(key)
            rows, count, _ = self._subspaces(space, width, BUDGET.expand_subspaces)
            for row in rows[: min(count, BUDGET.expand_taken)]:
                self._offer(row, width)


def _summing_to_zero(terms: Sequence[Sequence[int]]) -> list[int]:
    """The functions b of states with, for each state, the sum of b over the states listed for it being 0."""
    columns = [0] * len(terms)
    for row, states in enumerate(terms):
        for s in states:
            columns[s] ^= 1 << row
    return Coordinates(columns).relations
