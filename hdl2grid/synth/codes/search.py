"""State codes: a free code with the fewest stacks, and how far it is proved that none has fewer.

Let F be the span, over the points of a group's machine, of the constant, its context and what is wanted of it.
A code of r bits b asks for the space W = F + <b, b after a tick>, and takes c r + dim W - dim A stacks, A being
the span of the constant, the context and the bits, and c what a register costs. Both b and "b after a tick" are
linear in b as a function of states. So the rank of W over F is what a search has to make small:

- rank 0: all bits lie in the subspace of functions that are in F now and after a tick. It is computed, and all
  its subspaces are looked at;
- rank k: the same for F + U, for all spaces U of k dimensions that a code can lie in (see `codespaces.py`), k
  going up until there is a code, or until there would be too many;
- linear codes: the kernels of polynomials in "after a tick" (no cells for counting at all), and those with one jump
  (see `jumpcodes.py`);
- annealing over codes for the rest.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from hdl2grid.base.rng import seeded
from hdl2grid.synth.codes.code_basis import Wired, spread, wire
from hdl2grid.synth.codes.jump_counters import jump_code_with_cells, jump_codes, most_bits_inside
from hdl2grid.synth.codes.kernels import anneal_codes, anneal_functions, rank_of, subspaces
from hdl2grid.synth.codes.pseudoproduct_search import find_flat_codes
from hdl2grid.synth.codes.register_groups import MOST_STATES, REGISTER_TERMS, Behaviour
from hdl2grid.synth.codes.spaces import spaces_of_rank
from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.one_level import one_level
from hdl2grid.synth.gf2 import Basis, Coordinates, bits
from hdl2grid.synth.rewrite.covers import Flat

BY_DIMENSION = "dimension: c r + dim F - 1"
BY_COUNTING = "counting: c r + dim F - dim F & A; a sum of code bits is 1 in at most half of the codes, and 0 in half"
BY_SPACES = "exhaustion: no code lies in any space of lower rank"
_MOST_CODES = 400
_MOST_ANNEALED = 24
_MOST_WORK = 300_000
_MOST_BITS = 2_500_000
_MOST_SPACES = 3000
_MOST_LOOKED_INTO = 300
_MOST_WIDTH = 6
_STEPS = 30_000
_LONG_STEPS = 50_000
_TRIES = 9
_PENALTIES = (0.5, 1.0, 0.3)
_WIRE_STEPS = (300, 1500, 12_000)
_FINALISTS = 4
_MADE_STEPS = 6000
_MOST_RIVALS = 4
_FEW_POINTS = 32
_MOST_VARIABLES = 12
_MARGIN = 4
_LEVELS = 3
_MOST_WIRED = 24
_MOST_TESTED = 8
_MOST_LOOKED_AT = 120
_UNKNOWN = 4  # what sums are thought to take where cells are not products alone
_Key = tuple[int, int, int]
_MOST_EXPANDED = 6
_EXPAND_WORK = 20_000
_FEW_STATES = 12


@dataclass(frozen=True)
class Coding:
    """A code: `codes[s]` of `width` bits for state s.

    `stacks`: its registers, resets and cells (for more than 64 points, where `verdict` is 'open', at the least);
    `bound`: the fewest that any code has; `verdict` 'proved minimal' or 'open', `proof` the kind of proof. `own`: it
    is the design's own. `flats`: products that do for it (see `codeflats.py`), where these were looked for.
    """

    width: int
    codes: tuple[int, ...]
    stacks: int
    bound: int
    verdict: str
    proof: str
    own: bool
    flats: tuple[Flat, ...] = ()


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
        self.inside = Coordinates(self.now).relations

    def base(self, width: int) -> int:
        """The stacks of a code of that width and rank 0."""
        return (self.behaviour.register_cost - 1) * width + self.dim - 1 - self.context

    def least_rank(self, width: int) -> int:
        return max(0, width + 1 + self.context - self.dim)

    def counted_rank(self, width: int) -> int:
        """As `least_rank`, by how many sums of a code's bits can be in F."""
        return width - most_bits_inside(self.inside, self.behaviour.num_states, width)

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


def find_codes(behaviour: Behaviour, seed: int) -> tuple[Coding, ...]:
    """The best code found, the design's own where no other is clearly better, and others that look nearly as good
    where sums that are too long make it hard to tell; none where the machine is too large for the search."""
    if behaviour.num_states > MOST_STATES:
        return _jumping(behaviour)
    problem = _Problem(behaviour)
    found: tuple[Coding, ...] = ()
    given = [(max(max(behaviour.code).bit_length(), 1), behaviour.code)]
    bound = problem.base(max(1, (behaviour.num_states - 1).bit_length()))
    if problem.size <= 64:
        search = _Search(problem, seed)
        search.run()
        found = search.best()
        if found[0].verdict == "proved minimal":
            return found
        bound = found[0].bound
        given += [(coding.width, coding.codes) for coding in found]
    flat = find_flat_codes(behaviour, given, bound, seed)
    if len(behaviour.here) > 64:
        found = found[:1]  # nothing is known of the cells that it will take
    made = [Coding(c.width, c.codes, c.stacks, bound, *_verdict(c.stacks, bound), False, c.flats) for c in flat]
    return (*made, *found) if len(behaviour.here) > 64 else (*found, *made)


def _jumping(behaviour: Behaviour) -> tuple[Coding, ...]:
    """A code for a counter of many states."""
    found = jump_code_with_cells(behaviour)
    if found is None:
        return ()
    code, cells = found
    n, cost = behaviour.num_states, behaviour.register_cost
    fixed = Basis([(1 << n) - 1, *behaviour.wanted])
    inside = [sum((v >> p & 1) << s for p, s in enumerate(behaviour.here)) for v in fixed.sorted_rows()]
    widths = range(code.width, n)
    bound = min(cost * w + len(fixed) - 1 - most_bits_inside(inside, n, w) for w in widths)
    stacks = cost * code.width + len(cells)
    verdict, proof = ("proved minimal", BY_COUNTING) if stacks <= bound else ("open", "")
    return (Coding(code.width, code.codes, stacks, bound, verdict, proof, False, cells),)


def code_of(behaviour: Behaviour, width: int, codes: Sequence[int], own: bool = False) -> Coding | None:
    """A given code, priced; None where the machine is too large for that."""
    problem = _Problem(behaviour)
    if problem.size > 64:
        return None
    stacks = problem.base(width) + problem.rank(codes, width)
    least = max(1, (behaviour.num_states - 1).bit_length())
    bound = min(stacks, *(problem.base(w) + problem.least_rank(w) for w in range(least, max(width, least) + 2)))
    return Coding(width, tuple(codes), stacks, bound, "open", "", own)


def _verdict(stacks: int, bound: int) -> tuple[str, str]:
    return ("proved minimal", BY_DIMENSION) if stacks <= bound else ("open", "")


def own_stacks(behaviour: Behaviour) -> tuple[int, int]:
    """The least stacks of the design's own code, and of any code of fewest bits, by dimension."""
    problem = _Problem(behaviour)
    width = max(max(behaviour.code).bit_length(), 1)
    own = problem.base(width)
    if problem.size <= 64:
        own += problem.rank(behaviour.code, width)
    return own, problem.base(max(1, (behaviour.num_states - 1).bit_length()))


class _Search:
    def __init__(self, problem: _Problem, seed: int) -> None:
        self.problem, self.seed = problem, seed
        self.behaviour = problem.behaviour
        self.least = max(1, (self.behaviour.num_states - 1).bit_length())
        self.found: dict[int, list[tuple[int, tuple[int, ...]]]] = {}
        self.cheapest = 1 << 30
        self.excluded: dict[int, int] = {}
        self.spaces: dict[tuple[int, int], tuple[list[list[int]], bool]] = {}
        self.inside_both = self._space_within([])

    def offer(self, codes: Sequence[int], width: int, rank: int) -> None:
        stacks = self.problem.base(width) + rank
        self.cheapest = min(self.cheapest, stacks)
        kept = self.found.setdefault(stacks, [])
        entry = width, tuple(int(c) for c in codes)
        if sum(w == width for w, _ in kept) < _MOST_CODES and entry not in kept:
            kept.append(entry)

    def run(self) -> None:
        for width, codes in self._given():
            self.offer(codes, width, self.problem.rank(codes, width))
        for width, codes in self._linear():
            self.offer(codes, width, self.problem.rank(codes, width))
        many = self.behaviour.num_states > _FEW_STATES
        for code in jump_codes(self.behaviour) if many else ():
            self.offer(code.codes, code.width, self.problem.rank(code.codes, code.width))
        widths = range(self.least, self.behaviour.num_states)
        ranks = {w: self._least_rank(w) for w in widths}
        if many and self.cheapest <= self._bound_of(ranks):
            self.excluded = ranks
            return
        for width in widths:
            all_known = self._exact(width)
            if width > _MOST_WIDTH:
                continue
            # One register more may be wired with fewer stacks for long sums: as good as one stack fewer.
            slack = 1 if many else 0
            if not all_known and self.problem.base(width) + self.excluded[width] < self.cheapest + 2 * slack:
                self._anneal(width)
        if many:
            self._expand()

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

    def _exact(self, width: int) -> bool:
        """Looks at all codes of rank 0, 1 .. as far as they may be the best, and notes the least rank that is not
        excluded. True where the best codes of that width were all found."""
        rank = self._least_rank(width)
        while self.problem.base(width) + rank <= self.cheapest:
            spaces, all_known = self._spaces(width, rank)
            met = False
            for number, extra in enumerate(spaces):
                if number == _MOST_LOOKED_INTO:
                    all_known = False
                    break
                codes, count, complete = self._subspaces(self._space_within(extra), width, _MOST_WORK)
                all_known &= complete
                met |= count > 0
                for row in codes[: min(count, _MOST_CODES)]:
                    self.offer(row, width, self.problem.rank(row, width))
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
            rows, count, complete = spaces_of_rank(now, then, rank, width + 1, _MOST_SPACES, _MOST_BITS)
            spaces = {Basis(int(v) for v in row).sorted_rows() for row in rows[:count]}
            self.spaces[key] = [list(rows) for rows in sorted(spaces)], bool(complete)
        return self.spaces[key]

    def _space_within(self, extra: list[int]) -> list[int]:
        """A basis of the functions b of states with b and b after a tick in F + <extra>, the constant first."""
        n = self.behaviour.num_states
        modulo = Basis(extra)
        rows = [modulo.reduce(self.problem.now[s]) | modulo.reduce(self.problem.then[s]) << 64 for s in range(n)]
        ones = (1 << n) - 1
        found = Basis([ones])
        rest = [v for v in Basis(Coordinates(rows).relations).sorted_rows() if found.add(v)]
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
        rank, codes = anneal_codes(now, then, width, own, _STEPS, seeded(self.seed, width), _MOST_ANNEALED)
        for row in codes:
            self.offer(row, width, int(rank))
        following, preceding = np.full(n, -1), np.full(n, -1)
        if not self.behaviour.context:
            for a, b in zip(self.behaviour.here, self.behaviour.after, strict=True):
                following[a], preceding[b] = b, a
        inside = np.array(self.problem.inside, dtype=np.uint64)
        start = np.array([sum((s >> j & 1) << s for s in range(n)) for j in range(width)], dtype=np.uint64)
        steps, tries = (_STEPS, 2) if n <= _FEW_STATES else (_LONG_STEPS, _TRIES)
        if self.problem.base(width) + self.excluded[width] > self.cheapest:
            tries = 2
        for number in range(tries):
            penalty = _PENALTIES[number % len(_PENALTIES)]
            random = seeded(self.seed, width, number)
            rank, codes = anneal_functions(
                now, then, following, preceding, inside, start, steps, random, _MOST_ANNEALED, penalty
            )
            for row in codes:
                self.offer(row, width, int(rank))
            if rank <= self.excluded[width] and n <= _FEW_STATES:
                return

    def _expand(self) -> None:
        """Other codes of the space W of each of the cheapest found."""
        seen: set[tuple[int, ...]] = set()
        for width, codes in list(self.found[self.cheapest]):
            modulo = Basis()
            for j in range(width):
                for rows in (self.problem.now, self.problem.then):
                    total = 0
                    for s, code in enumerate(codes):
                        total ^= rows[s] if code >> j & 1 else 0
                    modulo.add(total)
            key = modulo.sorted_rows()
            if key in seen or len(seen) == _MOST_EXPANDED:
                continue
            seen.add(key)
            space = self._space_within(list(key))
            rows_found, count, _ = self._subspaces(space, width, _EXPAND_WORK)
            for row in rows_found[: min(count, _MOST_ANNEALED // 2)]:
                self.offer(row, width, self.problem.rank(row, width))

    def best(self) -> tuple[Coding, ...]:
        """The code of fewest stacks, those for sums that are too long among them; then of fewest without those;
        then the best wired. After it the next ones, where it takes more than its stacks."""
        tried: list[tuple[_Key, int, Wired]] = []
        for stacks in sorted(self.found)[:_LEVELS]:
            if any(key[0] <= 2 * stacks for key, _, _ in tried):
                break
            tried += self._tried(sorted(self.found[stacks], key=lambda entry: -entry[0]))
        tried.sort(key=lambda entry: entry[:2])
        least = min(key[1] for key, _, _ in tried)
        leanest = [entry for entry in tried[_FINALISTS:] if entry[0][1] == least]
        finals = [*tried[:_FINALISTS], *leanest[:_FINALISTS]]
        for _, width, wired in list(finals):
            finals.append(self._wired(width, wired.codes, _WIRE_STEPS[2], self.seed + 1))
        finals.append(self._wired(self._own_width(), self.behaviour.code, _WIRE_STEPS[2], self.seed, True))
        own = len(finals) - 1
        bound = self._bound()
        made: list[int] = []
        sure_stacks: list[int] = []
        judged: dict[tuple[int, tuple[int, ...]], tuple[int, int]] = {}
        for key, width, wired in finals:
            total, sure = key[1], key[1]
            if key[0] > 2 * bound or not wired.known:
                if (width, wired.codes) not in judged:
                    judged[width, wired.codes] = self._made(width, wired)
                total, sure = judged[width, wired.codes]
            made.append(total)
            sure_stacks.append(key[1] if wired.known else sure)
        order = [(made[i], *key[1:]) for i, (key, _, _) in enumerate(finals)]
        order[own] = (*order[own][:2], order[own][2] - _MARGIN)
        ranked = sorted(range(len(finals)), key=lambda i: (order[i], -i))
        if made[ranked[0]] == sure_stacks[ranked[0]] == bound:
            del ranked[1:]
        found: dict[tuple[int, ...], Coding] = {}
        for i in ranked:
            key, width, wired = finals[i]
            is_sure = self._is_small() or key[1] == width * self.behaviour.register_cost
            proof = self._proof(bound) if bound >= sure_stacks[i] and is_sure else ""
            verdict = "proved minimal" if proof else "open"
            coding = Coding(width, wired.codes, sure_stacks[i], bound, verdict, proof, i == own)
            if made[i] <= made[ranked[0]] + 1 and len(found) < _MOST_RIVALS:
                found.setdefault(wired.codes, coding)
        return tuple(found.values())

    def _proof(self, bound: int) -> str:
        """The kind of proof that no code has fewer than `bound` stacks."""
        if bound <= self._bound_of({w: self.problem.least_rank(w) for w in self.excluded}):
            return BY_DIMENSION
        counted = {w: max(self.problem.least_rank(w), self.problem.counted_rank(w)) for w in self.excluded}
        return BY_COUNTING if bound <= self._bound_of(counted) else BY_SPACES

    def _tried(self, entries: Sequence[tuple[int, tuple[int, ...]]]) -> list[tuple[_Key, int, Wired]]:
        """The codes that look best wired after a short search, after a longer one; where products alone will not do
        for enough of them, some for which exactly-ones may."""
        step = -(-len(entries) // _MOST_LOOKED_AT)
        entries = entries[::step]
        first = [self._wired(*entry, _WIRE_STEPS[0], self.seed, tests=False) for entry in entries]
        order = sorted(range(len(first)), key=lambda i: (first[i][0], i))
        plain = [i for i in order if not first[i][2].missing][:_MOST_WIRED]
        rest = [i for i in order if first[i][2].missing] if len(plain) < _MOST_TESTED else []
        return [self._wired(*entries[i], _WIRE_STEPS[1], self.seed) for i in (*plain, *rest[:_MOST_TESTED])]

    def _bound(self) -> int:
        """The fewest stacks that are not excluded. (Of as many independent bits as states, one is a sum of the
        others, up to the constant.)"""
        return self._bound_of(self.excluded)

    def _bound_of(self, ranks: Mapping[int, int]) -> int:
        return min(self.problem.base(w) + rank for w, rank in ranks.items())

    def _wired(
        self, width: int, codes: tuple[int, ...], steps: int, seed: int, fixed: bool = False, tests: bool = True
    ) -> tuple[_Key, int, Wired]:
        """A code with its key: twice its stacks and the terms that are too many (a stack takes about two off),
        its stacks, its price."""
        wired = wire(self.behaviour, codes, width, steps, seed, fixed, tests) or Wired(0, 0, 0, codes, False)
        stacks = self.problem.base(width) + self.problem.rank(codes, width) + wired.missing
        unknown = _UNKNOWN if wired.missing else 0
        return (2 * stacks + wired.excess + unknown, stacks, wired.price), width, wired

    def _is_small(self) -> bool:
        """Whether cells can be told for sure: up to 64 points."""
        return len(self.behaviour.here) <= 64

    def _made(self, width: int, wired: Wired) -> tuple[int, int]:
        """The stacks of a code, those among them that only shorten sums; and without these. (The least of both where
        there are too many points, or affine functions.)"""
        behaviour = self.behaviour
        if not self._is_small() or width + len(behaviour.context) > _MOST_VARIABLES:
            return (self.problem.base(width) + self.problem.rank(wired.codes, width),) * 2
        now = [spread(wired.codes, j, behaviour.here) for j in range(width)]
        then = [spread(wired.codes, j, behaviour.after) for j in range(width)]
        targets = [Target(a ^ b, j, REGISTER_TERMS) for j, (a, b) in enumerate(zip(now, then, strict=True))]
        targets += [Target(v, None, n) for v, n in zip(behaviour.wanted, behaviour.limits, strict=True)]
        if len(behaviour.here) > _FEW_POINTS:  # sums in so many points are not shortened here: it would take too long
            targets = [Target(t.vector, t.own, 99) for t in targets]
        made = one_level(len(behaviour.here), [*now, *behaviour.context], targets, 99, _MADE_STEPS, self.seed)
        registers = behaviour.register_cost * width
        return (
            (registers + 99, registers + 99) if made is None else (registers + len(made.cells), registers + made.size)
        )

    def _own_width(self) -> int:
        return max(max(self.behaviour.code).bit_length(), 1)


def _kernel(terms: list[list[int]], n: int) -> list[int]:
    """The functions b of states with, for each state, the sum of b over the states listed for it being 0."""
    columns = [0] * n
    for row, states in enumerate(terms):
        for s in states:
            columns[s] ^= 1 << row
    return Coordinates(columns).relations
