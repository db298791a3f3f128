"""How many stacks a code of a group takes, by linear algebra over GF(2).

Let F be the span, over the points of a group's machine, of the constant, its context and what is wanted of it.
A code of r bits b asks for the space W = F + <b, b after a tick>, and takes c r + dim W - dim A stacks, A being
the span of the constant, the context and the bits, and c what a register costs. Both b and "b after a tick" are
linear in b as a function of states: the rank of W over F tells a code's stacks.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from hdl2grid.synth.codes.jump_counters import most_bits_inside
from hdl2grid.synth.codes.rank_kernels import rank_of
from hdl2grid.synth.codes.register_groups import Behaviour
from hdl2grid.synth.gf2 import Basis, Coordinates
from hdl2grid.synth.rewrite.covers import Flat

BY_DIMENSION = "dimension: c r + dim F - 1"
BY_COUNTING = "counting: c r + dim F - dim F & A; a sum of code bits is 1 in at most half of the codes, and 0 in half"
BY_SPACES = "exhaustion: no code lies in any space of lower rank"


@dataclass(frozen=True)
class Encoding:
    """A code: `codes[s]` of `width` bits for state s.

    `stacks`: its registers, resets and cells (for more than 64 points, where `verdict` is 'open', at the least);
    `bound`: the fewest that any code has; `verdict` 'proved minimal' or 'open', `proof` the kind of proof. `own`: it
    is the design's own. `flats`: products that do for it (see `pseudoproduct_search.py`), where these were looked for.
    """

    width: int
    codes: tuple[int, ...]
    stacks: int
    bound: int
    verdict: str
    proof: str
    own: bool
    flats: tuple[Flat, ...] = ()


class CodeProblem:
    """A machine's vectors over F, packed into words: `now[s]` and `then[s]` of the function that is 1 in state s, as it
    is and after a tick. `inside`: the functions of states that lie in F. `is_packed`: the vectors fit into a word."""

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
        pivots = sorted(Basis([*now, *then]).rows)
        self.is_packed = len(pivots) <= 64
        self.now = [sum((v >> p & 1) << i for i, p in enumerate(pivots)) for v in now]
        self.then = [sum((v >> p & 1) << i for i, p in enumerate(pivots)) for v in then]
        self.inside = Coordinates(self.now).relations

    @property
    def least_width(self) -> int:
        """The fewest bits that tell all states apart."""
        return max(1, (self.behaviour.num_states - 1).bit_length())

    @property
    def own_width(self) -> int:
        """The bits of the design's own code."""
        return max(max(self.behaviour.code).bit_length(), 1)

    def base(self, width: int) -> int:
        """The stacks of a code of that width and rank 0."""
        return (self.behaviour.register_cost - 1) * width + self.dim - 1 - self.context

    def least_rank(self, width: int) -> int:
        """A rank that no code of that width is below, by dimension."""
        return max(0, width + 1 + self.context - self.dim)

    def counted_rank(self, width: int) -> int:
        """As `least_rank`, by how many sums of a code's bits can be in F."""
        return width - most_bits_inside(self.inside, self.behaviour.num_states, width)

    def bound(self, ranks: Mapping[int, int]) -> int:
        """The fewest stacks of codes whose ranks, by width, are at least `ranks`."""
        return min(self.base(w) + rank for w, rank in ranks.items())

    def vectors(self, codes: Sequence[int], width: int) -> list[int]:
        """Each bit of a code and the bit after a tick, modulo F."""
        found = []
        for j in range(width):
            now = then = 0
            for s, code in enumerate(codes):
                if code >> j & 1:
                    now ^= self.now[s]
                    then ^= self.then[s]
            found += [now, then]
        return found

    def rank(self, codes: Sequence[int], width: int) -> int:
        """The rank of a code; only where `is_packed`."""
        vectors = np.array(self.vectors(codes, width), dtype=np.uint64)
        return int(rank_of(vectors, len(vectors), np.zeros(len(vectors), dtype=np.uint64)))

    def stacks(self, codes: Sequence[int], width: int) -> int:
        """The least stacks of a code; only where `is_packed`."""
        return self.base(width) + self.rank(codes, width)

    def functions_within(self, extra: Sequence[int]) -> list[int]:
        """A basis of the functions b of states with b and b after a tick in F + <extra>, the constant first."""
        n = self.behaviour.num_states
        modulo = Basis(extra)
        rows = [modulo.reduce(self.now[s]) | modulo.reduce(self.then[s]) << 64 for s in range(n)]
        ones = (1 << n) - 1
        found = Basis([ones])
        rest = [v for v in Basis(Coordinates(rows).relations).sorted_rows() if found.add(v)]
        return [ones, *rest]


def code_of(behaviour: Behaviour, width: int, codes: Sequence[int], own: bool = False) -> Encoding | None:
    """A given code with its stacks; None where the machine is too large for that."""
    problem = CodeProblem(behaviour)
    if not problem.is_packed:
        return None
    stacks = problem.stacks(codes, width)
    least = problem.least_width
    bound = problem.bound({w: problem.least_rank(w) for w in range(least, max(width, least) + 2)})
    return Encoding(
        width=width, codes=tuple(codes), stacks=stacks, bound=min(stacks, bound), verdict="open", proof="", own=own
    )


def own_stacks(behaviour: Behaviour) -> tuple[int, int]:
    """The least stacks of the design's own code, and of any code of fewest bits, by dimension."""
    problem = CodeProblem(behaviour)
    own = problem.base(problem.own_width)
    if problem.is_packed:
        own += problem.rank(behaviour.code, problem.own_width)
    return own, problem.base(problem.least_width)
