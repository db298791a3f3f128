"""Codes for machines that read switches or other registers: as few pseudoproducts as possible in all their functions.

`dim W - dim A` says little where each state answers its inputs in its own way. There the stacks are the terms of
exclusive-or sums of pseudoproducts (see `pseudoproducts.py`) over code bits and inputs together, codes that no state
has being don't-cares. The search goes from what is cheap to tell to what is true:

1. Each state's answers (next state, outputs) are an exclusive sum of cubes over the inputs, made once, with the next
   states as formal vectors: a pseudo-Kronecker expansion of all answers at once.
2. For a code, the answers that stand at one cube are a matrix over states. Its rank, what is affine left out, is how
   many functions of the state that cube needs at least. Codes are annealed for the sum of these ranks.
3. The best of them are judged by short walks over flats, changed by single moves, and judged again.
4. The best codes' flats get a long walk.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.base.annealing import Linear, accepts, heat_at
from hdl2grid.base.rng import below, seeded
from hdl2grid.synth.codes.register_groups import Behaviour
from hdl2grid.synth.exact.word_vectors import widen
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.rewrite.covers import Cube, Flat, Terms
from hdl2grid.synth.rewrite.pseudoproducts import CONSTANT


@dataclass(frozen=True)
class EsppBudget:
    """Limits of the search. Guessed."""

    inputs: int = 11
    outputs: int = 50
    cubes: int = 1500
    """Of a machine that is searched: signals that it reads, functions wanted of it, cubes of all its states."""
    wider: int = 2
    """Bits beyond the fewest that codes may have."""
    width: int = 16
    """Most bits of codes that are annealed."""
    restarts: int = 6
    """Annealings for each width."""
    work: int = 60_000_000
    """Rows of matrices reduced in these, all together; a cube's row counts for `work_a_row`."""
    work_a_row: int = 12
    steps: int = 300
    """Least steps of an annealing."""
    quick_pairs: int = 600
    """Pairs of terms that a short walk looks at, for each cube of the first sum and `few_cubes` more."""
    few_cubes: int = 8
    kept: int = 3
    """Codes that are changed by single moves, and then get a long walk."""
    sample: int = 3
    """Annealed codes after which a search is ended in which the given ones take two thirds of their stacks."""
    moves: int = 160
    """Single moves in all."""
    large: int = 120
    """Cubes from which on there is a quarter of the moves, and short walks get no longer."""
    long_pairs: int = 1_500_000
    """Pairs of terms that a long walk looks at."""
    long_tries: int = 2
    """Long walks for each code."""


BUDGET = EsppBudget()
_COOLING = Linear(hot=1.2, cold=0.1)
"""In ranks. Guessed."""


@dataclass(frozen=True)
class EsppEncoding:
    """A code with flats that do for it: variables are code bits, then the context's signals. `stacks`: they, and the
    registers and resets. `narrow`: their factors were kept short."""

    width: int
    codes: tuple[int, ...]
    flats: tuple[Flat, ...]
    stacks: int
    narrow: bool


@dataclass(frozen=True)
class Answers:
    """A machine as cubes over its inputs: at state `states[i]` and cube `cubes[i]`, answer `answers[i]`: bit t is next
    state t, bits from `num_states` on the wanted functions. The answers of all cubes that hold are added."""

    num_states: int
    num_inputs: int
    num_outputs: int
    states: tuple[int, ...]
    cubes: tuple[Cube, ...]
    answers: tuple[int, ...]

    def mask(self, answer: int, codes: Sequence[int], width: int) -> int:
        """The answer with next states replaced by their codes."""
        total = answer >> self.num_states << width
        for t in bits(answer & ((1 << self.num_states) - 1)):
            total ^= codes[t]
        return total


def answers_of(behaviour: Behaviour) -> Answers | None:
    """The machine's answers; None where it has no inputs or too many, or does not meet all their levels in all
    states."""
    n, p = behaviour.num_states, len(behaviour.context)
    if not 0 < p <= BUDGET.inputs or len(behaviour.wanted) > BUDGET.outputs or len(behaviour.here) != n << p:
        return None
    points = len(behaviour.here)
    level = [0] * points
    for i, column in enumerate(behaviour.context):
        for point in bits(column):
            level[point] |= 1 << i
    answer = [1 << t for t in behaviour.after]
    for i, column in enumerate(behaviour.wanted):
        for point in bits(column):
            answer[point] |= 1 << (n + i)
    tables = [[-1] * (1 << p) for _ in range(n)]
    for point in range(points):
        tables[behaviour.here[point]][level[point]] = answer[point]
    if any(value < 0 for table in tables for value in table):
        return None
    states, cubes, answers = [], [], []
    for s, table in enumerate(tables):
        for cube, value in _expanded(tuple(table), p):
            states.append(s)
            cubes.append(cube)
            answers.append(value)
    if len(cubes) > BUDGET.cubes:
        return None
    return Answers(
        num_states=n,
        num_inputs=p,
        num_outputs=len(behaviour.wanted),
        states=tuple(states),
        cubes=tuple(cubes),
        answers=tuple(answers),
    )


def _expanded(table: tuple[int, ...], count: int) -> list[tuple[Cube, int]]:
    """A table of words as an exclusive sum of cubes, each with a word; see `covers.py`."""
    known: dict[tuple[int, ...], list[tuple[Cube, int]]] = {}

    def expand(part: tuple[int, ...], v: int) -> list[tuple[Cube, int]]:
        if not any(part):
            return []
        if v == 0:
            return [((), part[0])]
        if part in known:
            return known[part]
        half = len(part) // 2
        low, high = part[:half], part[half:]
        if low == high:
            found = expand(low, v - 1)
        else:
            both = [expand(low, v - 1), expand(high, v - 1)]
            both.append(expand(tuple(a ^ b for a, b in zip(low, high, strict=True)), v - 1))
            worst = max(range(3), key=lambda i: (len(both[i]), -i))
            x = v - 1
            if worst == 2:
                found = [((*c, (x, 0)), w) for c, w in both[0]] + [((*c, (x, 1)), w) for c, w in both[1]]
            elif worst == 1:
                found = both[0] + [((*c, (x, 1)), w) for c, w in both[2]]
            else:
                found = both[1] + [((*c, (x, 0)), w) for c, w in both[2]]
        known[part] = found
        return found

    return expand(table, count)


def find_espp_codes(
    behaviour: Behaviour, given: Sequence[tuple[int, tuple[int, ...]]], bound: int, seed: int
) -> list[EsppEncoding]:
    """The codes of fewest stacks found, best first; `given` (width, codes) are looked at too. Empty where the
    machine is not of a kind for this search. One that takes `bound` stacks ends it."""
    answers = answers_of(behaviour)
    if answers is None:
        return []
    return _Search(behaviour, answers, bound, seed).run(given)


class _Search:
    def __init__(self, behaviour: Behaviour, answers: Answers, bound: int, seed: int) -> None:
        self.behaviour, self.answers, self.bound, self.seed = behaviour, answers, bound, seed
        self.pairs = BUDGET.quick_pairs * (min(len(answers.cubes), BUDGET.large) + BUDGET.few_cubes)
        self.moves = BUDGET.moves if len(answers.cubes) <= BUDGET.large else BUDGET.moves // 4
        self.known: dict[tuple[int, tuple[int, ...]], int] = {}
        self.cubes = list(dict.fromkeys(answers.cubes))

    def run(self, given: Sequence[tuple[int, tuple[int, ...]]]) -> list[EsppEncoding]:
        tried: list[tuple[int, int, tuple[int, ...]]] = []
        for width, codes in self._candidates(given):
            tried.append((self._price(width, codes), width, codes))
            hopeless = len(tried) == len(given) + BUDGET.sample and self._is_hopeless(tried, len(given))
            if tried[-1][0] <= self.bound or hopeless:
                _, width, codes = min(tried)
                return [self._long(width, codes, False), self._long(width, codes, True)]
        best = self._improved(sorted(set(tried))[: BUDGET.kept])
        made = [self._long(width, codes, False) for _, width, codes in sorted(set(best))]
        made.sort(key=lambda code: (code.stacks, code.width, code.codes))
        return [made[0], self._long(made[0].width, made[0].codes, True), *made[1:]]

    def _candidates(self, given: Sequence[tuple[int, tuple[int, ...]]]) -> Iterator[tuple[int, tuple[int, ...]]]:
        yield from given
        n = self.answers.num_states
        least = max(1, (n - 1).bit_length())
        for width in range(least, min(least + BUDGET.wider, n - 1, BUDGET.width) + 1):
            for codes in self._annealed(width):
                yield width, codes

    @staticmethod
    def _is_hopeless(tried: Sequence[tuple[int, int, tuple[int, ...]]], num_given: int) -> bool:
        """Whether the given codes have a structure (an adder's, say) that annealed ones come nowhere near."""
        return 2 * min(tried[num_given:])[0] > 3 * min(tried[:num_given])[0]

    def _improved(self, best: list[tuple[int, int, tuple[int, ...]]]) -> list[tuple[int, int, tuple[int, ...]]]:
        """Codes changed state by state, a fixed number of times."""
        random = seeded(self.seed, len(best))
        for number in range(self.moves):
            at = number % len(best)
            price, width, codes = best[at]
            if price <= self.bound:
                break
            other = self._moved(codes, width, random)
            new = self._price(width, other)
            if new <= price:
                best[at] = new, width, other
        return best

    def _moved(self, codes: tuple[int, ...], width: int, random: Any) -> tuple[int, ...]:
        changed = list(codes)
        s, code = below(random, len(codes)), below(random, 1 << width)
        if code in codes:
            changed[codes.index(code)] = codes[s]
        changed[s] = code
        return tuple(changed)

    def _price(self, width: int, codes: tuple[int, ...]) -> int:
        """The stacks that a short walk finds for a code."""
        key = width, codes
        if key not in self.known:
            terms = self._cover(width, codes)
            terms.walk(self.pairs, self.seed, False, codes, width)
            self.known[key] = self.behaviour.register_cost * width + terms.count
        return self.known[key]

    def _cover(self, width: int, codes: Sequence[int]) -> Terms:
        answers = self.answers
        terms = Terms(len(answers.cubes))
        for s, cube, answer in zip(answers.states, answers.cubes, answers.answers, strict=True):
            mask = answers.mask(answer, codes, width)
            if mask:
                state = [1 << j | (0 if not codes[s] >> j & 1 else CONSTANT) for j in range(width)]
                terms.add((*state, *(1 << (width + v) | (CONSTANT if bit else 0) for v, bit in cube)), mask)
        return terms

    def _long(self, width: int, codes: tuple[int, ...], narrow: bool) -> EsppEncoding:
        best: Terms | None = None
        for number in range(1 if narrow else BUDGET.long_tries):
            terms = self._cover(width, codes)
            terms.walk(BUDGET.long_pairs, self.seed + number, narrow, codes, width)
            if best is None or terms.count < best.count:
                best = terms
        assert best is not None
        flats = tuple(flat for flat, _ in best.listed())
        return EsppEncoding(width, codes, flats, self.behaviour.register_cost * width + len(flats), narrow)

    def _annealed(self, width: int) -> Iterator[tuple[int, ...]]:
        """Codes of small rank sums, one for each restart."""
        answers = self.answers
        n = answers.num_states
        number = {cube: i for i, cube in enumerate(self.cubes)}
        order = sorted(range(len(answers.cubes)), key=lambda i: (number[answers.cubes[i]], answers.states[i]))
        starts = np.zeros(len(self.cubes) + 1, dtype=np.int64)
        for i in order:
            starts[number[answers.cubes[i]] + 1] += 1
        nexts = np.full((len(order), n), -1, dtype=np.int64)
        for row, i in enumerate(order):
            for k, t in enumerate(bits(answers.answers[i] & ((1 << n) - 1))):
                nexts[row, k] = t
        rows = _Rows(
            starts=np.cumsum(starts),
            literals=np.array([len(cube) for cube in self.cubes], dtype=np.int64),
            states=np.array([answers.states[i] for i in order], dtype=np.int64),
            outputs=np.array([answers.answers[i] >> n for i in order], dtype=np.uint64),
            nexts=nexts,
        )
        steps = max(BUDGET.steps, BUDGET.work // (BUDGET.restarts * (len(order) * BUDGET.work_a_row + 1)))
        for restart in range(BUDGET.restarts):
            random = seeded(self.seed, width, restart)
            start = np.arange(n, dtype=np.int64)
            for s in range(n - 1, 0, -1):
                other = below(random, s + 1)
                start[s], start[other] = start[other], start[s]
            codes = _anneal_ranks(rows, width, start, steps, random)
            yield tuple(int(c) for c in codes)


class _Rows(NamedTuple):
    """Answers, sorted by cube: those of cube c, of `literals[c]` literals, are in rows `starts[c]` to
    `starts[c + 1] - 1`. Row i says that the states in `nexts[i]` (-1 after the last) and the wanted functions
    `outputs[i]` (a mask) are added at state `states[i]`."""

    starts: Any
    literals: Any
    states: Any
    outputs: Any
    nexts: Any


@njit(cache=True)
def _anneal_ranks(rows: _Rows, width: int, start: Any, steps: int, random: Any) -> Any:
    """A code of small rank sum, found from `start` on by swaps and moves."""
    num = len(start)
    size = 1 << width
    codes = start.copy()
    owner = np.full(size, -1, dtype=np.int64)
    for s in range(num):
        owner[codes[s]] = s
    room = np.zeros(65, dtype=np.uint64)
    cost = _rank_sum(rows, width, codes, room)
    best, best_cost = codes.copy(), cost
    for step in range(steps):
        heat = heat_at(_COOLING, step, steps)
        s, code = below(random, num), below(random, size)
        old = codes[s]
        if code == old:
            continue
        other = owner[code]
        codes[s] = code
        if other >= 0:
            codes[other] = old
        new = _rank_sum(rows, width, codes, room)
        if accepts(random, new - cost, heat):
            owner[code], owner[old] = s, other
            cost = new
            if new < best_cost:
                best_cost = new
                best[:] = codes
        else:
            codes[s] = old
            if other >= 0:
                codes[other] = code
    return best


@njit(cache=True)
def _rank_sum(rows: _Rows, width: int, codes: Any, room: Any) -> int:
    """The sum over cubes of the rank of their answers as functions of the state, what is affine left out."""
    one = np.uint64(1)
    num = len(codes)
    total = 0
    vectors = np.zeros(num, dtype=np.uint64)
    for cube in range(len(rows.literals)):
        literals = rows.literals[cube]
        free = 1 + width if literals == 0 else 1 if literals == 1 else 0
        for s in range(num):
            vectors[s] = one if free else np.uint64(0)
            if literals == 0:
                vectors[s] |= np.uint64(codes[s]) << one
        for row in range(rows.starts[cube], rows.starts[cube + 1]):
            word = np.int64(0)
            for t in rows.nexts[row]:
                if t < 0:
                    break
                word ^= codes[t]
            mask = rows.outputs[row] << np.uint64(width) | np.uint64(word)
            vectors[rows.states[row]] ^= mask << np.uint64(free)
        total += widen(room, 0, vectors, 0, num, 64) - free
    return total
