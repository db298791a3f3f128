"""Exhaustive parts of synthesis against brute force: codes of all spaces, exactly-ones, what one stack can give."""

from __future__ import annotations

from itertools import combinations, permutations

import numpy as np
import pytest
from support.lockstep import compare, sources_of, walk
from support.small_logic import Words, clock_12h

from hdl2grid.logic.model import Logic
from hdl2grid.synth.codes.find_codes import find_codes
from hdl2grid.synth.codes.pseudoproduct_search import answers_of, find_espp_codes
from hdl2grid.synth.codes.register_groups import Behaviour
from hdl2grid.synth.exact.closure_proof import is_bound_excluded
from hdl2grid.synth.exact.exactly_one import exactly_ones_within
from hdl2grid.synth.gf2 import Basis
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.rewrite.exactly_one_sums import stacks_of_four
from hdl2grid.synth.synthesise import synthesise

SIX_STATES = [
    ((1, 2, 3, 4, 5, 0), (0b000001,)),
    ((1, 2, 0, 4, 5, 3), (0b000111,)),
    ((1, 2, 3, 4, 5, 2), (0b010101, 0b000001)),
    ((1, 0, 3, 5, 2, 4), ()),
]


def machine(after: tuple[int, ...], wanted: tuple[int, ...]) -> Behaviour:
    n = len(after)
    return Behaviour(n, 0, tuple(range(n)), after, (), wanted, (3,) * len(wanted), 2, tuple(range(n)))


def cells_at_least(behaviour: Behaviour, codes: tuple[int, ...], width: int) -> int:
    """dim W - dim A by the definition."""
    n = behaviour.num_states
    now = [sum((codes[s] >> j & 1) << s for s in range(n)) for j in range(width)]
    then = [sum((codes[behaviour.after[s]] >> j & 1) << s for s in range(n)) for j in range(width)]
    affine = Basis([(1 << n) - 1, *now])
    return len(Basis([*affine.sorted_rows(), *then, *behaviour.wanted])) - len(affine)


@pytest.mark.parametrize(("after", "wanted"), SIX_STATES)
def test_the_bound_over_all_codes_is_that_of_all_codes(after: tuple[int, ...], wanted: tuple[int, ...]) -> None:
    # All 20,160 codes of three bits, and for four bits those of which none is a sum of others are dearer by a register.
    behaviour = machine(after, wanted)
    least = min(6 + cells_at_least(behaviour, codes, 3) for codes in permutations(range(8), 6))
    found = find_codes(behaviour, 1)[0]
    assert found.bound <= least <= found.stacks
    if found.verdict == "proved minimal":
        assert found.bound == found.stacks <= least
        assert found.proof


def test_exactly_ones_within_a_space_are_those_of_all_sets() -> None:
    n = 16
    columns = [sum((x >> i & 1) << x for x in range(n)) for i in range(4)]
    affine = Basis([(1 << n) - 1, *columns])
    space = Basis([*affine.sorted_rows(), 0x8001, 0x0180, 0x7FFE ^ 0x0110])
    planes = [p for p in _span(affine.sorted_rows()) if p not in (0, (1 << n) - 1)][:16]
    found = exactly_ones_within(n, np.array(planes, dtype=np.uint64), space, affine, 4)
    expected = set()
    for chosen in combinations(planes, 4):
        vector = sum(1 << x for x in range(n) if sum(p >> x & 1 for p in chosen) == 1)
        if not space.reduce(vector) and affine.reduce(vector):
            expected.add(vector)
    assert set(found) == expected
    for vector, places in found.items():
        assert vector == sum(1 << x for x in range(n) if sum(planes[i] >> x & 1 for i in places) == 1)


def _span(rows: tuple[int, ...]) -> list[int]:
    sums = [0]
    for row in rows:
        sums += [s ^ row for s in sums]
    return sums


def test_one_stack_gives_nearly_every_function_of_four_variables() -> None:
    # By exhaustion in another program: 172 classes by products, 2020 of 2048 with exactly-ones of up to five toggles.
    table = stacks_of_four()
    assert sum(entry is None for entry in table) == 28
    assert sum(entry is not None and entry[0] == "product" for entry in table) >= 172
    assert max(len(entry[1]) for entry in table if entry is not None) == 5


def test_bounds_that_no_stack_meets_are_excluded_and_no_others() -> None:
    # W = A + <f>, f of four variables: the bound of one is excluded for just the functions without a stack. These 28
    # are the non-degenerate quadratic forms a b + c d (bent functions; O. Rothaus, J. Combinatorial Theory A 20, 1976).
    points = 16
    columns = [sum((x >> i & 1) << x for x in range(points)) for i in range(4)]
    assert is_bound_excluded(points, columns, [columns[0] & columns[1] ^ columns[2] & columns[3]])
    monomials = [m for m in range(16) if m & (m - 1)]
    table = stacks_of_four()
    for index in [i for i in range(2048) if table[i] is None or i % 40 == 1]:
        vector = 0
        for place, monomial in enumerate(monomials):
            if index >> place & 1:
                vector ^= sum(1 << x for x in range(16) if x & monomial == monomial)
        assert is_bound_excluded(points, columns, [vector]) == (table[index] is None)


def totals(logic: Logic, params: SynthParams | None = None) -> None:
    made = synthesise(logic, sources_of(logic), params)
    report = made.report
    assert sum(b.products for b in report.blocks) == report.products
    assert sum(b.exactly_ones for b in report.blocks) == report.exactly_ones
    assert report.stacks == len(made.circuit.stacks)
    for block in report.blocks:
        assert block.stacks <= block.products + block.exactly_ones
        assert bool(block.proof) == (block.verdict == "proved minimal")
        if block.proof:
            assert block.gap == 0
    for code in report.codes:
        assert bool(code.proof) == (code.verdict == "proved minimal")
        assert code.stacks >= code.bound
        assert len(code.codes) == code.states == len(set(code.codes))


@pytest.mark.parametrize("keep", [False, True])
def test_blocks_add_up_to_the_circuit(keep: bool) -> None:
    totals(clock_12h(), SynthParams(keep_codes=keep, search_steps=2000, espp_steps=50_000))


def calendar() -> Logic:
    """Weekdays and hours, seven lamps and a bit of 'night'; the day moves on the hour's wrap."""
    w = Words()
    hour, day = w.register("hour", 5, 0), w.register("day", 3, 0)
    wrap = w.equals(hour, 23)
    data = {f"hour[{i}]": x for i, x in enumerate(w.mux(wrap, w.constant(0, 5), w.plus_one(hour)))}
    turn = w.mux(w.equals(day, 6), w.constant(0, 3), w.plus_one(day))
    data |= {f"day[{i}]": x for i, x in enumerate(w.mux(wrap, turn, day))}
    night = w.b.or_(hour[4], w.b.and_all([hour[3] ^ 1, hour[2] ^ 1]))
    return w.logic("calendar", data, {"weekday": [w.equals(day, i) for i in range(7)], "night": [night]})


def test_a_week_of_hours() -> None:
    logic = calendar()
    made = synthesise(logic, sources_of(logic))
    compare(logic, made.circuit, ["sync"] * 400 + walk(logic, 300, 4))
    totals(logic)
    # Seven lamps of seven states span everything: r + 7 - 1 stacks with resets, whatever the code.
    day = next(code for code in made.report.codes if code.name == "day")
    assert (day.stacks, day.verdict) == (9, "proved minimal")


def test_flats_of_a_machine_with_inputs_are_its_functions() -> None:
    # A four-state machine that steps by what two switches say; the flats with a code's bits span its functions.
    here, after, context = [], [], [0, 0]
    for s in range(4):
        for x in range(4):
            here.append(s)
            after.append((s + x) % 4 if x != 2 else 3 - s)
            for i in range(2):
                context[i] |= (x >> i & 1) << (len(here) - 1)
    shown = sum((a == 2) << p for p, a in enumerate(after))
    behaviour = Behaviour(4, 0, tuple(here), tuple(after), tuple(context), (shown,), (3,), 2, (0, 1, 2, 3))
    assert answers_of(behaviour) is not None
    ones = (1 << 16) - 1
    for code in find_espp_codes(behaviour, [(2, (0, 1, 2, 3))], 0, 1):
        columns = [sum((code.codes[s] >> j & 1) << p for p, s in enumerate(here)) for j in range(code.width)]
        columns += context
        space = Basis([ones, *columns])
        for flat in code.flats:
            value = ones
            for row in flat:
                level = ones if row >> 63 else 0
                for i, column in enumerate(columns):
                    level ^= column if row >> i & 1 else 0
                value &= level ^ ones
            space.add(value)
        for j in range(code.width):
            assert not space.reduce(sum((code.codes[a] >> j & 1) << p for p, a in enumerate(after)))
        assert not space.reduce(shown)
