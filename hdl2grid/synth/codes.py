"""State codes: a free code with the fewest stacks, and how far it is proved that none has fewer.

Let F be the span, over the points of a group's machine, of the constant, its context and what is wanted of it.
A code of r bits b asks for the space W = F + <b, b after a tick>, and takes c r + dim W - dim A stacks, A being
the span of the constant, the context and the bits, and c what a register costs. Both b and "b after a tick" are
linear in b as a function of states. So the rank of W over F is what a search has to make small:

- rank 0: all bits lie in the subspace of functions that are in F now and after a tick. It is computed, and all
  its subspaces are looked at;
- rank 1: the same for F + <f>, for every f for which that subspace is larger;
- linear codes: the kernels of polynomials in "after a tick" (no cells for counting at all);
- annealing over codes for the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hdl2grid.layout.rng import seeded
from hdl2grid.synth.codekernels import anneal_codes, anneal_functions, rank_of, subspaces
from hdl2grid.synth.codewiring import Wired, wire
from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.groups import Behaviour

_MOST_CODES = 24
_MOST_WORK = 300_000
_MOST_RANK_ONE_STATES = 14
_MOST_WIDTH = 6
_STEPS = 30_000
_LONG_STEPS = 100_000
_TRIES = 6
_PENALTIES = (0.3, 1.0, 0.4)
_WIRE_STEPS = (1500, 20_000)
_FINALISTS = 3
_MARGIN = 4


@dataclass(frozen=True)
class Coding:
    """A code: `codes[s]` of `width` bits for state s. `stacks` are its registers, resets and cells at the least;
    `bound` the fewest that any code has; `verdict` 'proved minimal' or 'open'. `own`: it is the design's own."""

    width: int
    codes: tuple[int, ...]
    stacks: int
    bound: int
    verdict: str
    own: bool


class _Problem:
    """A machine's vectors over F, packed into words."""

    def __init__(self, behaviour: Behaviour) -> None:
        self.behaviour = behaviour
        n = behaviour.num_states
        ones = (1 << len(behaviour.here)) - 1
        fixed = Basis([ones, *behaviour.context, *behaviour.wanted])
        self.dim = len(fixed)
        self.context = len(Basis([ones, *behaviour.context])) - 1
        now, then = [0] * n, [0] * n
        for p, (a, b) in enumerate(zip(behaviour.here, behaviour.after, strict=True)):
            now[a] |= 1 << p
            then[b] |= 1 << p
        now, then = [fixed.reduce(v) for v in now], [fixed.reduce(v) for v in then]
        span = Basis([*now, *then])
        pivots = sorted(span.rows)
        self.size = len(pivots)
        self.now = [sum((v >> p & 1) << i for i, p in enumerate(pivots)) for v in now]
        self.then = [sum((v >> p & 1) << i for i, p in enumerate(pivots)) for v in then]

    def base(self, width: int) -> int:
        """The stacks of a code of that width and rank 0."""
        return (self.behaviour.register_cost - 1) * width + self.dim - 1 - self.context

    def least_rank(self, width: int) -> int:
        return max(0, width + 1 + self.context - self.dim)

    def rank(self, codes: Sequence[int], width: int) -> int:
        vectors = []
        for j in range(width):
            now = then = 0
            for s, code in enumerate(codes):
                if code >> j & 1:
                    now ^= self.now[s]
                    then ^= self.then[s]
            vectors += [now, then]
        array = np.array(vectors, dtype=np.uint64)
        return int(rank_of(array, len(array), np.zeros(len(array), dtype=np.uint64)))


def find_code(behaviour: Behaviour, seed: int) -> Coding | None:
    """The best code found, the design's own where no other is clearly better; None where the machine is too large
    for the search."""
    problem = _Problem(behaviour)
    if problem.size > 64:
        return None
    search = _Search(problem, seed)
    search.run()
    return search.best()


class _Search:
    def __init__(self, problem: _Problem, seed: int) -> None:
        self.problem, self.seed = problem, seed
        self.behaviour = problem.behaviour
        self.least = max(1, (self.behaviour.num_states - 1).bit_length())
        self.found: dict[int, list[tuple[int, tuple[int, ...]]]] = {}
        self.cheapest = 1 << 30
        self.excluded: dict[int, int] = {}

    def offer(self, codes: Sequence[int], width: int, rank: int) -> None:
        stacks = self.problem.base(width) + rank
        self.cheapest = min(self.cheapest, stacks)
        kept = self.found.setdefault(stacks, [])
        entry = width, tuple(int(c) for c in codes)
        if len(kept) < _MOST_CODES and entry not in kept:
            kept.append(entry)

    def run(self) -> None:
        for width, codes in self._given():
            self.offer(codes, width, self.problem.rank(codes, width))
        for width, codes in self._linear():
            self.offer(codes, width, self.problem.rank(codes, width))
        for width in range(self.least, min(_MOST_WIDTH, self.behaviour.num_states) + 1):
            lowest = self.problem.least_rank(width)
            if self.problem.base(width) + lowest > self.cheapest:
                self.excluded[width] = lowest
                continue
            self.excluded[width] = self._exact(width, lowest)
            if self.problem.base(width) + self.excluded[width] < self.cheapest:
                self._anneal(width)

    def _given(self) -> Iterator[tuple[int, tuple[int, ...]]]:
        """The design's own code, and the states' numbers."""
        own = self.behaviour.code
        yield self._own_width(), own
        yield self.least, tuple(range(self.behaviour.num_states))

    def _linear(self) -> Iterator[tuple[int, tuple[int, ...]]]:
        """Codes that a linear map steps, for machines without context."""
        n = self.behaviour.num_states
        if self.behaviour.context:
            return
        step = dict(zip(self.behaviour.here, self.behaviour.after, strict=True))
        if len(step) < n:
            return
        path = [list(range(n))]
        for _ in range(_MOST_WIDTH + 1):
            path.append([step[s] for s in path[-1]])
        for polynomial in range(3, 1 << (_MOST_WIDTH + 2), 2):
            kernel = _kernel([[path[i][s] for i in bits(polynomial)] for s in range(n)], n)
            width = len(kernel) - 1
            if self.least <= width <= _MOST_WIDTH and len(kernel) == polynomial.bit_length() - 1:
                space = Basis([(1 << n) - 1])
                chosen = [v for v in kernel if space.add(v)]
                codes = [sum((v >> s & 1) << j for j, v in enumerate(chosen)) for s in range(n)]
                if len(chosen) == width and len(set(codes)) == n:
                    yield width, tuple(codes)

    def _exact(self, width: int, lowest: int) -> int:
        """Looks at all codes of ranks 0 and 1 as far as they may be the best; the least rank not excluded."""
        if lowest > 0:
            return self._rank_one(width) if lowest == 1 else lowest
        space = self._space_within([])
        codes, count, complete = self._subspaces(space, width, _MOST_WORK)
        for row in codes[: min(count, _MOST_CODES)]:
            self.offer(row, width, self.problem.rank(row, width))
        if count or not complete:
            return 0
        if self.problem.base(width) + 1 > self.cheapest:
            return 1
        return self._rank_one(width)

    def _rank_one(self, width: int) -> int:
        n = self.behaviour.num_states
        if n > _MOST_RANK_ONE_STATES:
            return 1
        now, then = _all_sums(self.problem.now[1:]), _all_sums(self.problem.then[1:])
        value = np.where(now != 0, now, then)
        fits = (value != 0) & ((now == 0) | (now == value)) & ((then == 0) | (then == value))
        exact, work = True, _MOST_WORK
        for f in np.unique(value[fits]):
            space = self._space_within([int(f)])
            if len(space) < width + 1:
                continue
            codes, count, complete = self._subspaces(space, width, work // 8)
            exact &= complete
            for row in codes[: min(count, 4)]:
                self.offer(row, width, self.problem.rank(row, width))
            if count:
                exact = False
        return 2 if exact else 1

    def _space_within(self, extra: list[int]) -> list[int]:
        """A basis of the functions b of states with b and b after a tick in F + <extra>, the constant first."""
        n = self.behaviour.num_states
        modulo = Basis(extra)
        rows = [modulo.reduce(self.problem.now[s]) | modulo.reduce(self.problem.then[s]) << 64 for s in range(n)]
        ones = (1 << n) - 1
        found = Basis([ones])
        rest = [v for v in Basis(_kernel_of(rows)).sorted_rows() if found.add(v)]
        return [ones, *rest]

    def _subspaces(self, space: list[int], width: int, work: int) -> tuple[Any, int, bool]:
        if len(space) > 20:
            return np.zeros((0, 0), dtype=np.int64), 0, False
        vectors = np.array(space[1:], dtype=np.uint64)
        codes, count, complete = subspaces(vectors, self.behaviour.num_states, width, _MOST_CODES, work)
        return codes, int(count), bool(complete)

    def _anneal(self, width: int) -> None:
        """Annealing over codes, then over functions, which goes further where a tick is a permutation of states."""
        n = self.behaviour.num_states
        now, then = np.array(self.problem.now, dtype=np.uint64), np.array(self.problem.then, dtype=np.uint64)
        own = np.arange(n, dtype=np.int64)
        rank, codes = anneal_codes(now, then, width, own, _STEPS, seeded(self.seed, width), _MOST_CODES)
        for row in codes:
            self.offer(row, width, int(rank))
        following, preceding = np.full(n, -1), np.full(n, -1)
        if not self.behaviour.context:
            for a, b in zip(self.behaviour.here, self.behaviour.after, strict=True):
                following[a], preceding[b] = b, a
        inside = np.array(self._inside(), dtype=np.uint64)
        start = np.array([sum((s >> j & 1) << s for s in range(n)) for j in range(width)], dtype=np.uint64)
        steps, tries = (_STEPS, 2) if n <= 12 else (_LONG_STEPS, _TRIES)
        for number in range(tries):
            penalty = _PENALTIES[number % len(_PENALTIES)]
            random = seeded(self.seed, width, number)
            rank, codes = anneal_functions(
                now, then, following, preceding, inside, start, steps, random, _MOST_CODES, penalty
            )
            for row in codes:
                self.offer(row, width, int(rank))
            if self.problem.base(width) + self.excluded[width] >= self.cheapest:
                return

    def _inside(self) -> list[int]:
        """A basis of the functions of states that are in F."""
        return _kernel_of(self.problem.now)

    def best(self) -> Coding:
        """The best wired of the cheapest codes; codes whose cells are not all products come later."""
        wired: list[tuple[int, int, int, Wired]] = []
        for stacks in sorted(self.found)[:2]:
            for width, codes in self.found[stacks]:
                result = wire(self.behaviour, codes, width, _WIRE_STEPS[0], self.seed) or Wired(0, 0, codes)
                wired.append((stacks + result.missing, result.price, width, result))
            if wired and min(w[0] for w in wired) <= stacks:
                break
        wired.sort(key=lambda w: (w[0], w[1]))
        finals = []
        for stacks, price, width, result in wired[:_FINALISTS]:
            again = wire(self.behaviour, result.codes, width, _WIRE_STEPS[1], self.seed + 1) or result
            better = again if again.price < price else result
            finals.append((stacks, min(price, again.price), width, better))
        stacks, price, width, result = min(finals, key=lambda w: (w[0], w[1]))
        bound = min(self.problem.base(w) + rank for w, rank in self.excluded.items())
        # A code of more bits than were looked at takes at least this much.
        wider = max(self.excluded) + 1
        if wider <= self.behaviour.num_states:
            bound = min(bound, self.problem.base(wider) + self.problem.least_rank(wider))
        verdict = "proved minimal" if bound >= stacks else "open"
        own_stacks, own_price = self._own_figures()
        if (own_stacks, own_price) <= (stacks, price + _MARGIN):
            return Coding(self._own_width(), self.behaviour.code, own_stacks, bound, verdict, True)
        return Coding(width, result.codes, stacks, bound, verdict, False)

    def _own_width(self) -> int:
        return max(max(self.behaviour.code).bit_length(), 1)

    def _own_figures(self) -> tuple[int, int]:
        """Stacks and price of wiring of the design's own code as it is."""
        width = self._own_width()
        stacks = self.problem.base(width) + self.problem.rank(self.behaviour.code, width)
        wired = wire(self.behaviour, self.behaviour.code, width, _WIRE_STEPS[1], self.seed, fixed_code=True)
        return (stacks + wired.missing, wired.price) if wired else (stacks, 0)


def _kernel(terms: list[list[int]], n: int) -> list[int]:
    """The functions b of states with, for each state, the sum of b over the states listed for it being 0."""
    columns = [0] * n
    for row, states in enumerate(terms):
        for s in states:
            columns[s] ^= 1 << row
    return _kernel_of(columns)


def _kernel_of(rows: Sequence[int]) -> list[int]:
    """A basis of the sets (masks) of rows that add up to 0."""
    n = len(rows)
    tagged = Basis(ignore=(1 << n) - 1)
    kernel = []
    for s, row in enumerate(rows):
        residue = tagged.reduce(row << n | 1 << s)
        if residue >> n:
            tagged.add(residue)
        else:
            kernel.append(residue)
    return kernel


def _all_sums(vectors: Sequence[int]) -> Any:
    sums = np.zeros(1, dtype=np.uint64)
    for v in vectors:
        sums = np.concatenate((sums, sums ^ np.uint64(v)))
    return sums
