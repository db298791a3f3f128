"""Sums that are too long for a toggle or a pixel: collectors take several terms each, and are shared.

A collector is a stack of one toggle: it bears a sum and emits whenever the sum changes, one round later.
Signals that move together and that the same sinks read count as one term: their drivers share a net.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from itertools import combinations

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import COLLECTOR, Cell, Form, Network
from hdl2grid.synth.sinks import OUTPUT, REGISTER, Problem

LevelOf = Callable[[int], int]


_UNLIMITED = 1 << 20
"""More signals than any sum has."""


def forms_of(problem: Problem) -> set[Form]:
    """What toggles and sinks bear."""
    network = problem.network
    forms = [s.form for s in problem.sinks]
    return {*forms, *(f for cell in network.cone(forms) for f in network.cells[cell].factors)}


def shorten(
    problem: Problem, level_of_variable: LevelOf, params: SynthParams, only: Collection[Form] | None = None
) -> Problem:
    """The problem with every sum within its sink's limit; where `only` is given, every sum that is one of these forms.
    Terms of equal level are collected first, because they need no delay; `level_of_variable` gives the round in which
    a variable moves."""
    network = problem.network

    def limit(form: Form, most: int) -> int:
        return most if only is None or form in only else _UNLIMITED

    levels: dict[int, int] = {}
    for signal in network.cone([s.form for s in problem.sinks]):
        levels[signal] = _level(network, signal, levels, level_of_variable)
    together = _together(problem, lambda s: levels[s] if network.is_cell(s) else level_of_variable(s))
    levels = {}
    for signal in network.cone([s.form for s in problem.sinks]):
        limits = [limit(f, params.toggle_terms) for f in network.cells[signal].factors]
        _shorten_cell(network, signal, levels, level_of_variable, limits, params.collector_terms, together)
    for signal in network.cone([s.form for s in problem.sinks]):
        levels[signal] = _level(network, signal, levels, level_of_variable)
    forms = [s.form & ~s.own if s.kind == REGISTER else s.form for s in problem.sinks]
    limits = [params.pixel_terms if s.kind == OUTPUT else params.register_terms for s in problem.sinks]
    limits = [limit(s.form, min(n, params.pixel_terms)) for s, n in zip(problem.sinks, limits, strict=True)]

    def level(signal: int) -> int:
        return levels[signal] if network.is_cell(signal) else level_of_variable(signal)

    _collect(network, forms, limits, levels, level, params.collector_terms, together)
    sinks = tuple(replace(s, form=f | s.own & s.form) for s, f in zip(problem.sinks, forms, strict=True))
    return replace(problem, sinks=sinks)


def _together(problem: Problem, level: LevelOf) -> dict[int, Form]:
    """For each signal those that move at its level and are read by the same toggles and pixels."""
    network = problem.network
    readers: dict[int, list[int]] = {}
    forms = [s.form for s in problem.sinks]
    places = [f for cell in network.cone(forms) for f in network.cells[cell].factors] + forms
    for number, form in enumerate(places):
        for signal in bits(form & ~1):
            readers.setdefault(signal, []).append(number)
    classes: dict[tuple[int, ...], Form] = {}
    for signal, read in readers.items():
        key = level(signal), *read
        classes[key] = classes.get(key, 0) | 1 << signal
    return {signal: classes[level(signal), *read] for signal, read in readers.items()}


def _bunches(form: Form, together: dict[int, Form]) -> list[Form]:
    """The terms of a sum: signals that share a net are one."""
    found = []
    left = form & ~1
    while left:
        low = left & -left
        bunch = together.get(low.bit_length() - 1, low) & left
        found.append(bunch)
        left ^= bunch
    return found


def _level(network: Network, signal: int, levels: dict[int, int], of_variable: LevelOf) -> int:
    inputs = [s for f in network.cells[signal].factors for s in bits(f & ~1)]
    return 1 + max((levels[s] if network.is_cell(s) else of_variable(s) for s in inputs), default=0)


def _shorten_cell(
    network: Network,
    signal: int,
    levels: dict[int, int],
    of_variable: LevelOf,
    limits: Sequence[int],
    width: int,
    together: dict[int, Form],
) -> None:
    """Brings one cell's factors within the limit; the cells before it have their levels in `levels`."""

    def level(s: int) -> int:
        return levels[s] if network.is_cell(s) else of_variable(s)

    cell = network.cells[signal]
    factors = list(cell.factors)
    _collect(network, factors, limits, levels, level, width, together, True)
    if tuple(factors) != cell.factors:
        network.cells[signal] = Cell(cell.kind, tuple(factors))
    levels[signal] = _level(network, signal, levels, of_variable)


def _collect(
    network: Network,
    forms: list[Form],
    limits: Sequence[int],
    levels: dict[int, int],
    level: LevelOf,
    width: int,
    together: dict[int, Form],
    one_stack: bool = False,
) -> None:
    """Replaces sums of terms by collectors until every form is within its limit."""
    while True:
        long = [i for i, f in enumerate(forms) if len(_bunches(f, together)) > limits[i]]
        if not long:
            return
        if _use_collectors(network, forms, long, levels):
            continue
        # The toggles of one stack move together: one collector serves all that bear its sum.
        likely = range(len(forms)) if one_stack else long
        chosen = _best_sum([_bunches(forms[i], together) for i in likely], level, width, [forms[i] for i in long])
        collector = network.collector(chosen)
        signal = collector.bit_length() - 1
        levels[signal] = 1 + max(level(s) for s in bits(chosen))
        for i in likely:
            if forms[i] & chosen == chosen:
                forms[i] ^= chosen | collector


def _use_collectors(network: Network, forms: list[Form], long: Sequence[int], levels: dict[int, int]) -> bool:
    """Puts collectors that are there already in the place of the sums that they bear."""
    there = [(network.cells[s].factors[0], s) for s in levels if network.cells[s].kind == COLLECTOR]
    used = False
    for borne, signal in sorted(there, key=lambda c: (-c[0].bit_count(), c[1])):
        for i in long:
            if forms[i] & borne == borne and not forms[i] >> signal & 1:
                forms[i] ^= borne | 1 << signal
                used = True
    return used


def _best_sum(sums: list[list[Form]], level: LevelOf, width: int, long: Sequence[Form]) -> Form:
    """The sum of two to `width` terms that most sums share, of those that stand in a `long` form; terms of low and
    equal level before others."""

    def level_of(term: Form) -> int:
        return max(level(s) for s in bits(term))

    counts: Counter[tuple[Form, Form]] = Counter()
    for terms in sums:
        ordered = sorted(terms, key=lambda t: (level_of(t), t))
        same = [[t for t in ordered if level_of(t) == n] for n in sorted({level_of(t) for t in ordered})]
        pools = [group for group in same if len(group) > 1] or [ordered[:width]]
        for group in pools:
            counts.update(combinations(group[:12], 2))
    useful = [pair for pair in counts if any(f & pair[0] and f & pair[1] for f in long)]
    best = min(useful, key=lambda pair: (-counts[pair], max(map(level_of, pair)), pair))
    chosen = list(best)
    sharing = [terms for terms in sums if best[0] in terms and best[1] in terms]
    top = max(map(level_of, best))
    for term in sorted(set(sharing[0]).intersection(*sharing[1:]) - set(best)):
        if len(chosen) < width and level_of(term) == top:
            chosen.append(term)
    total = 0
    for term in chosen:
        total |= term
    return total
