"""Sums that are too long for a toggle or a pixel: collectors take several terms each, and are shared.

A collector is a stack of one toggle: it bears a sum and emits whenever the sum changes, one round later.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import combinations

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import Cell, Form, Network
from hdl2grid.synth.sinks import OUTPUT, REGISTER, Problem, Sink

LevelOf = Callable[[int], int]


def shorten(problem: Problem, level_of_variable: LevelOf, params: SynthParams) -> Problem:
    """The problem with every sum within its sink's limit. Terms of equal level are collected first, because
    they need no delay; `level_of_variable` gives the round in which a variable moves."""
    network = problem.network
    levels: dict[int, int] = {}
    for signal in network.cone([s.form for s in problem.sinks]):
        _shorten_cell(network, signal, levels, level_of_variable, params)
    for signal in network.cone([s.form for s in problem.sinks]):
        levels[signal] = _level(network, signal, levels, level_of_variable)
    forms = [s.form & ~s.own if s.kind == REGISTER else s.form for s in problem.sinks]
    limits = [params.pixel_terms if s.kind == OUTPUT else params.register_terms for s in problem.sinks]
    limits = [min(n, params.pixel_terms) for n in limits]

    def level(signal: int) -> int:
        return levels[signal] if network.is_cell(signal) else level_of_variable(signal)

    _collect(network, forms, limits, levels, level, params.collector_terms)
    sinks = tuple(replace(s, form=f | s.own & s.form) for s, f in zip(problem.sinks, forms, strict=True))
    return replace(problem, sinks=sinks)


def terms(sink: Sink) -> int:
    """How many signals a sink gathers beside its own."""
    return (sink.form & ~sink.own & ~1).bit_count()


def _level(network: Network, signal: int, levels: dict[int, int], of_variable: LevelOf) -> int:
    inputs = [s for f in network.cells[signal].factors for s in bits(f & ~1)]
    return 1 + max((levels[s] if network.is_cell(s) else of_variable(s) for s in inputs), default=0)


def _shorten_cell(
    network: Network, signal: int, levels: dict[int, int], of_variable: LevelOf, params: SynthParams
) -> None:
    """Brings one cell's factors within the limit; the cells before it have their levels in `levels`."""

    def level(s: int) -> int:
        return levels[s] if network.is_cell(s) else of_variable(s)

    cell = network.cells[signal]
    factors = list(cell.factors)
    limits = [params.toggle_terms] * len(factors)
    _collect(network, factors, limits, levels, level, params.collector_terms)
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
) -> None:
    """Replaces sums of terms by collectors until every form is within its limit."""
    while True:
        long = [i for i, f in enumerate(forms) if (f & ~1).bit_count() > limits[i]]
        if not long:
            return
        chosen = _best_sum([forms[i] for i in long], level, width)
        collector = network.collector(chosen)
        signal = collector.bit_length() - 1
        levels[signal] = 1 + max(level(s) for s in bits(chosen))
        for i in long:
            if forms[i] & chosen == chosen:
                forms[i] ^= chosen | collector


def _best_sum(forms: list[Form], level: LevelOf, width: int) -> Form:
    """The sum of two to `width` terms that most forms share; terms of low and equal level before others."""
    counts: Counter[Form] = Counter()
    for form in forms:
        signals = sorted(bits(form & ~1), key=lambda s: (level(s), s))
        same = [[s for s in signals if level(s) == n] for n in sorted({level(s) for s in signals})]
        pools = [group for group in same if len(group) > 1] or [signals[:width]]
        for group in pools:
            for pair in combinations(group[:12], 2):
                counts[1 << pair[0] | 1 << pair[1]] += 1
    best = min(counts, key=lambda f: (-counts[f], max(level(s) for s in bits(f)), f))
    sharing = [f for f in forms if f & best == best]
    top = max(level(s) for s in bits(best))
    common = sharing[0]
    for form in sharing:
        common &= form
    for signal in bits(common & ~best & ~1):
        if best.bit_count() < width and level(signal) == top:
            best |= 1 << signal
    return best
