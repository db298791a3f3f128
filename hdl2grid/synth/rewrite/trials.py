"""What every rewrite is given and what it returns."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, replace

from hdl2grid.synth.exact.blocks import StatesOf
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import Form
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.sinks import Problem

Listed = tuple[tuple[tuple[int, ...], int], ...]
"""Terms of exclusive sums: a flat's rows, and the mask of functions that have it."""

Known = dict[object, tuple[Listed, ...]]

Cost = Callable[[Problem], int]
"""Stacks that a problem takes in the end."""

Trial = Callable[[Problem], Problem]
"""Makes of the cheapest problem so far another one with the same functions."""


@dataclass(frozen=True)
class Context:
    """What the rewrites of one problem share.

    `whole` is the problem before its blocks were mapped: functions are taken from there. `others` are the same sinks
    as other cells of the same network. `params.espp_steps` is for one group. `known` keeps sums between problems.
    `structure`: structure is looked for in tables. `states_of` gives the states of variables, `long` are forms that are
    too long (for rewrites of long sums).
    """

    whole: Problem
    others: tuple[Problem, ...]
    params: SynthParams
    known: Known
    states_of: StatesOf
    structure: bool = True
    long: Collection[Form] = ()


Rewrite = Callable[[Problem, SinkGroup, Context], Iterable[Trial]]
"""Trials for a group of sinks; the problem is the cheapest when the rewrite begins."""


def with_forms(forms: Mapping[int, Form]) -> Trial:
    """The problem with other forms for some sinks (by place)."""

    def trial(problem: Problem) -> Problem:
        sinks = list(problem.sinks)
        for i, form in forms.items():
            sinks[i] = replace(sinks[i], form=form)
        return replace(problem, sinks=tuple(sinks))

    return trial


def cheapest(problem: Problem, trials: Iterable[Trial], cost: Cost) -> Problem:
    """The problem after each trial that made it cheaper, one after the other."""
    best, least = problem, cost(problem)
    for trial in trials:
        made = trial(best)
        if (price := cost(made)) < least:
            best, least = made, price
    return best
