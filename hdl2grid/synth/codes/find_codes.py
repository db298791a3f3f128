"""State encoding: a free code with the fewest stacks, and how far it is proved that none has fewer.

Theory knows a code's bits as partitions of the states, good where a tick maps blocks into blocks (J. Hartmanis,
R. E. Stearns, "Algebraic Structure Theory of Sequential Machines", 1966). Here sums of bits are free, so spaces of
functions of the state take the place of partitions, and linear algebra over GF(2) finds them.

Small machines are searched by the rank of a code (`rank_search.py`), and of the codes found the best wired is taken
(`code_choice.py`). Machines that read inputs are also searched by pseudoproducts (`pseudoproduct_search.py`). Rings of
many states get the code of a shift register (`jump_counters.py`).
"""

from __future__ import annotations

from hdl2grid.synth.codes.code_choice import best_codes
from hdl2grid.synth.codes.code_stacks import BY_COUNTING, BY_DIMENSION, CodeProblem, Encoding
from hdl2grid.synth.codes.jump_counters import jump_code_with_cells, most_bits_inside
from hdl2grid.synth.codes.pseudoproduct_search import find_espp_codes
from hdl2grid.synth.codes.rank_search import RankSearch
from hdl2grid.synth.codes.register_groups import MOST_STATES, Behaviour
from hdl2grid.synth.gf2 import Basis


def find_codes(behaviour: Behaviour, seed: int) -> tuple[Encoding, ...]:
    """The best code found, the design's own where no other is clearly better, and others that look nearly as good
    where sums that are too long make it hard to tell; none where the machine is too large for the search."""
    if behaviour.num_states > MOST_STATES:
        return _code_of_ring(behaviour)
    problem = CodeProblem(behaviour)
    found: tuple[Encoding, ...] = ()
    given = [(problem.own_width, behaviour.code)]
    bound = problem.base(problem.least_width)
    if problem.is_packed:
        search = RankSearch(problem, seed)
        search.run()
        found = best_codes(search)
        if found[0].verdict == "proved minimal":
            return found
        bound = found[0].bound
        given += [(encoding.width, encoding.codes) for encoding in found]
    flat = find_espp_codes(behaviour, given, bound, seed)
    made = [Encoding(c.width, c.codes, c.stacks, bound, *_verdict(c.stacks, bound), False, c.flats) for c in flat]
    if len(behaviour.here) > 64:  # nothing is known of the cells that the found ones take
        return (*made, *found[:1])
    return (*found, *made)


def _verdict(stacks: int, bound: int) -> tuple[str, str]:
    return ("proved minimal", BY_DIMENSION) if stacks <= bound else ("open", "")


def _code_of_ring(behaviour: Behaviour) -> tuple[Encoding, ...]:
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
    return (
        Encoding(
            width=code.width,
            codes=code.codes,
            stacks=stacks,
            bound=bound,
            verdict=verdict,
            proof=proof,
            own=False,
            flats=cells,
        ),
    )
