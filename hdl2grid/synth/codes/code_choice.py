"""Which of the codes of few stacks is taken: that of which registers, outputs and cells wire with the fewest stacks."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hdl2grid.synth.codes.code_basis import Wired, spread, wire
from hdl2grid.synth.codes.code_stacks import BY_COUNTING, BY_DIMENSION, BY_SPACES, Encoding
from hdl2grid.synth.codes.rank_search import Code, RankSearch
from hdl2grid.synth.codes.register_groups import REGISTER_TERMS
from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.one_level import one_level


@dataclass(frozen=True)
class ChoiceBudget:
    """Limits of the choice. Guessed."""

    levels: int = 3
    """Numbers of stacks, the least first, of which codes are looked at."""
    looked_at: int = 120
    """Codes of one number of stacks that are wired, evenly among those found."""
    wired: int = 24
    tested: int = 8
    """Of these, the best that are wired again: products do for `wired`; where for fewer than `tested`, so many others
    for which exactly-ones may."""
    finalists: int = 4
    """The best of all, and the best of those of fewest stacks, that are wired once more and judged."""
    steps: tuple[int, int, int] = (300, 1500, 12_000)
    """Steps of annealing of the first wiring, the second and the last."""
    rivals: int = 4
    """Codes handed back at the most; none that takes two stacks more than the first."""
    own_margin: int = 4
    """By so much, in terms, another code of as many stacks has to be better than the design's own."""
    unknown: int = 4
    """Half stacks added to a code whose cells are not products alone, for its sums are not known."""
    mapped_steps: int = 6000
    """Steps of annealing where a finalist is mapped in one level."""
    mapped_variables: int = 12
    """Code bits and context of a finalist that is mapped so: 2^13 affine functions."""
    mapped_points: int = 32
    """Points up to which its long sums are cut too."""


BUDGET = ChoiceBudget()
_NO_LIMIT = 99
"""Terms or cells: more than a group of at most 64 points has."""
_Key = tuple[int, int, int]
"""Twice the stacks and the terms that are too many (a stack takes about two off); the stacks; the price of wiring."""


@dataclass(frozen=True)
class _Tried:
    key: _Key
    width: int
    wired: Wired


@dataclass(frozen=True)
class _Judged:
    """A finalist with its stacks, without those that only shorten sums (`sure`) and with them (`made`)."""

    tried: _Tried
    made: int
    sure: int


def best_codes(search: RankSearch) -> tuple[Encoding, ...]:
    """The code of fewest stacks, those for sums that are too long among them; then of fewest without those;
    then the best wired. After it the next ones, where it takes more than its stacks."""
    return _Choice(search).best()


class _Choice:
    def __init__(self, search: RankSearch) -> None:
        self.search, self.problem, self.behaviour = search, search.problem, search.behaviour
        self.is_small = len(self.behaviour.here) <= 64  # else cells cannot be told for sure
        self.bound = self.problem.bound(search.excluded)

    def best(self) -> tuple[Encoding, ...]:
        finals = self._finals()
        own = len(finals) - 1
        order = [(f.made, *f.tried.key[1:]) for f in finals]
        order[own] = (*order[own][:2], order[own][2] - BUDGET.own_margin)
        ranked = sorted(range(len(finals)), key=lambda i: (order[i], -i))
        first = finals[ranked[0]]
        if first.made == first.sure == self.bound:
            del ranked[1:]
        found: dict[tuple[int, ...], Encoding] = {}
        for i in ranked:
            if finals[i].made <= first.made + 1 and len(found) < BUDGET.rivals:
                encoding = self._coding(finals[i], i == own)
                found.setdefault(encoding.codes, encoding)
        return tuple(found.values())

    def _coding(self, final: _Judged, own: bool) -> Encoding:
        width, codes = final.tried.width, final.tried.wired.codes
        is_sure = self.is_small or final.tried.key[1] == width * self.behaviour.register_cost
        proof = self._proof() if self.bound >= final.sure and is_sure else ""
        return Encoding(
            width=width,
            codes=codes,
            stacks=final.sure,
            bound=self.bound,
            verdict="proved minimal" if proof else "open",
            proof=proof,
            own=own,
        )

    def _proof(self) -> str:
        """The kind of proof that no code has fewer stacks than the bound."""
        problem, widths = self.problem, self.search.excluded
        if self.bound <= problem.bound({w: problem.least_rank(w) for w in widths}):
            return BY_DIMENSION
        counted = {w: max(problem.least_rank(w), problem.counted_rank(w)) for w in widths}
        return BY_COUNTING if self.bound <= problem.bound(counted) else BY_SPACES

    def _finals(self) -> list[_Judged]:
        """The best codes, each as it was wired and wired anew; the design's own is the last."""
        tried: list[_Tried] = []
        for stacks in sorted(self.search.found)[: BUDGET.levels]:
            if any(t.key[0] <= 2 * stacks for t in tried):
                break
            tried += self._tried(sorted(self.search.found[stacks], key=lambda entry: -entry[0]))
        tried.sort(key=lambda t: (t.key, t.width))
        least = min(t.key[1] for t in tried)
        leanest = [t for t in tried[BUDGET.finalists :] if t.key[1] == least]
        finals = [*tried[: BUDGET.finalists], *leanest[: BUDGET.finalists]]
        seed, steps = self.search.seed, BUDGET.steps[2]
        finals += [self._wired((t.width, t.wired.codes), steps, seed + 1) for t in finals]
        finals.append(self._wired((self.problem.own_width, self.behaviour.code), steps, seed, fixed=True))
        known: dict[Code, tuple[int, int]] = {}
        judged = []
        for t in finals:
            made = sure = t.key[1]
            if t.key[0] > 2 * self.bound or not t.wired.known:
                code = t.width, t.wired.codes
                if code not in known:
                    known[code] = self._made(*code)
                made, sure = known[code]
            judged.append(_Judged(t, made, t.key[1] if t.wired.known else sure))
        return judged

    def _tried(self, entries: Sequence[Code]) -> list[_Tried]:
        """The codes that look best wired after a short search, after a longer one; where products alone will not do
        for enough of them, some for which exactly-ones may."""
        seed = self.search.seed
        entries = entries[:: -(-len(entries) // BUDGET.looked_at)]
        first = [self._wired(entry, BUDGET.steps[0], seed, tests=False) for entry in entries]
        order = sorted(range(len(first)), key=lambda i: (first[i].key, i))
        plain = [i for i in order if not first[i].wired.missing][: BUDGET.wired]
        rest = [i for i in order if first[i].wired.missing] if len(plain) < BUDGET.tested else []
        return [self._wired(entries[i], BUDGET.steps[1], seed) for i in (*plain, *rest[: BUDGET.tested])]

    def _wired(self, code: Code, steps: int, seed: int, fixed: bool = False, tests: bool = True) -> _Tried:
        """A code, wired, with its key."""
        width, codes = code
        wired = wire(self.behaviour, codes, width, steps, seed, fixed, tests) or Wired(0, 0, 0, codes, False)
        stacks = self.problem.stacks(codes, width) + wired.missing
        unknown = BUDGET.unknown if wired.missing else 0
        return _Tried((2 * stacks + wired.excess + unknown, stacks, wired.price), width, wired)

    def _made(self, width: int, codes: Sequence[int]) -> tuple[int, int]:
        """The stacks of a code, those among them that only shorten sums; and without these. (The least of both where
        there are too many points, or affine functions.)"""
        behaviour = self.behaviour
        if not self.is_small or width + len(behaviour.context) > BUDGET.mapped_variables:
            return (self.problem.stacks(codes, width),) * 2
        now = [spread(codes, j, behaviour.here) for j in range(width)]
        then = [spread(codes, j, behaviour.after) for j in range(width)]
        targets = [Target(a ^ b, j, REGISTER_TERMS) for j, (a, b) in enumerate(zip(now, then, strict=True))]
        targets += [Target(v, None, n) for v, n in zip(behaviour.wanted, behaviour.limits, strict=True)]
        if len(behaviour.here) > BUDGET.mapped_points:
            targets = [Target(t.vector, t.own, _NO_LIMIT) for t in targets]
        variables = [*now, *behaviour.context]
        made = one_level(len(behaviour.here), variables, targets, _NO_LIMIT, BUDGET.mapped_steps, self.search.seed)
        registers = behaviour.register_cost * width
        if made is None:
            return registers + _NO_LIMIT, registers + _NO_LIMIT
        return registers + len(made.cells), registers + made.size
