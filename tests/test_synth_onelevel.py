"""One level: the bounds that are known, algebra, and every solution checked against its targets."""

from __future__ import annotations

import random
from itertools import combinations

import pytest
from support.small_logic import SEGMENTS

from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.one_level import OneLevel, lower_bound, one_level
from hdl2grid.synth.gf2 import Basis, light_basis
from hdl2grid.synth.network import EXACTLY_ONE

HOURS = [12, *range(1, 12)]


def columns(codes: list[int], width: int) -> tuple[int, ...]:
    return tuple(sum((c >> b & 1) << i for i, c in enumerate(codes)) for b in range(width))


def counting(codes: list[int], width: int) -> list[Target]:
    """T = D xor Q of a counter through `codes`."""
    follow = codes[1:] + codes[:1]
    steps = columns([a ^ b for a, b in zip(codes, follow, strict=True)], width)
    return [Target(v, i, 2) for i, v in enumerate(steps)]


def segments(values: list[int]) -> list[Target]:
    return [Target(v, None, 3) for v in columns([SEGMENTS[v] for v in values], 7)]


def evaluate(num_states: int, variables: tuple[int, ...], solution: OneLevel) -> list[int]:
    ones = (1 << num_states) - 1
    signals = [ones, *variables]

    def total(mask: int) -> int:
        value = 0
        for i, signal in enumerate(signals):
            if mask >> i & 1:
                value ^= signal
        return value

    for cell in solution.cells:
        inputs = [total(f) for f in cell.factors]
        value = ones if cell.kind != EXACTLY_ONE else 0
        if cell.kind == EXACTLY_ONE:
            for i in range(num_states):
                value |= (sum(x >> i & 1 for x in inputs) == 1) << i
        else:
            for x in inputs:
                value &= x
        signals.append(value)
    return [total(form) for form in solution.forms]


@pytest.mark.parametrize(
    ("codes", "width", "shown", "bound_counting", "bound_all"),
    [
        (list(range(10)), 4, list(range(10)), 3, 5),
        (list(range(6)), 3, list(range(6)), 2, 2),
        (HOURS, 4, [h % 10 for h in HOURS], 2, 7),
    ],
)
def test_counters_of_a_clock_meet_their_bounds(
    codes: list[int], width: int, shown: list[int], bound_counting: int, bound_all: int
) -> None:
    # Dimensions of the spans by independent computation: a decade, six, and the hours 12, 1 .. 11 in binary.
    variables = columns(codes, width)
    count = counting(codes, width)
    assert lower_bound(len(codes), variables, count) == bound_counting
    targets = [*count, *segments(shown)]
    if codes is HOURS:
        targets.append(Target(columns([h >= 10 for h in codes], 1)[0], None, 3))
    solution = one_level(len(codes), variables, targets, 99, 20_000, 1)
    assert solution is not None and solution.size == bound_all == lower_bound(len(codes), variables, targets)
    assert evaluate(len(codes), variables, solution) == [t.vector for t in targets]


def test_a_dial_in_binary_takes_seven() -> None:
    variables = columns(list(range(12)), 4)
    targets = [Target(1 << i, None, 3) for i in range(12)]
    solution = one_level(12, variables, targets, 99, 20_000, 1)
    assert solution is not None and solution.size == 7
    assert evaluate(12, variables, solution) == [t.vector for t in targets]


def test_symmetric_function_of_four_by_one_exactly_one() -> None:
    # s1 + s3 of four variables is their parity, s2 .. need products; "exactly one of four" itself is one stack.
    variables = columns(list(range(16)), 4)
    target = Target(columns([c.bit_count() == 1 for c in range(16)], 1)[0], None, 3)
    solution = one_level(16, variables, [target], 99, 1000, 1)
    assert solution is not None and [c.kind for c in solution.cells[: solution.size]] == [EXACTLY_ONE]


@pytest.mark.parametrize("seed", range(30))
def test_random_blocks_come_out_as_wanted(seed: int) -> None:
    rng = random.Random(seed)
    width = rng.randint(1, 5)
    codes = rng.sample(range(1 << width), rng.randint(1, 1 << width))
    variables = columns(codes, width)
    ones = (1 << len(codes)) - 1
    targets = [
        Target(rng.randint(0, ones), rng.choice((None, rng.randrange(width))), rng.randint(2, 3))
        for _ in range(rng.randint(1, 6))
    ]
    solution = one_level(len(codes), variables, targets, 99, 500, seed)
    assert solution is not None and solution.size >= lower_bound(len(codes), variables, targets)
    assert evaluate(len(codes), variables, solution) == [t.vector for t in targets]


def test_light_basis_is_the_lightest() -> None:
    rng = random.Random(5)
    for _ in range(50):
        rows = [rng.randrange(1 << 8) for _ in range(3)]
        space = Basis(rows, ignore=1)
        light = light_basis(space.sorted_rows())
        assert len(light) == len(space)
        members = [0]
        for row in space.sorted_rows():
            members += [m ^ row for m in members]
        best = min(
            sum((v & ~1).bit_count() for v in pick)
            for pick in combinations(members, len(space))
            if len(Basis(pick, ignore=1)) == len(space)
        )
        assert sum((v & ~1).bit_count() for v in light) == best
