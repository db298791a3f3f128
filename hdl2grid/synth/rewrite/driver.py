"""All rewrites, in the order in which they run, and what runs them."""

from __future__ import annotations

import logging
import time
from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import partial

from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.rewrite.covers import TABLE_VARIABLES, table_variable
from hdl2grid.synth.rewrite.decision_lists import as_decision_lists
from hdl2grid.synth.rewrite.dependent_cells import without_dependent
from hdl2grid.synth.rewrite.exactly_one_sums import bundled
from hdl2grid.synth.rewrite.hubs import with_hubs
from hdl2grid.synth.rewrite.lookahead import looked_ahead
from hdl2grid.synth.rewrite.recover_structure import structured, structured_alone
from hdl2grid.synth.rewrite.share_pseudoproducts import as_sums
from hdl2grid.synth.rewrite.sink_groups import EVERYTHING, FlatGroup, alone, flat_groups
from hdl2grid.synth.rewrite.trials import Context, Cost, Rewrite, Trial, cheapest, with_forms
from hdl2grid.synth.sinks import Problem


def as_written(problem: Problem, group: FlatGroup, context: Context) -> list[Trial]:
    """The group as the design says it, with the carries of adders as products or as stacks of their own."""
    return [with_forms({i: p.sinks[i].form for i in group.sinks}) for p in (context.whole, *context.others)]


LOG = logging.getLogger(__name__)


@dataclass(frozen=True)
class Named:
    """A rewrite that can be left out by its name. `at_end`: it runs once, for all sinks together."""

    name: str
    trials: Rewrite
    at_end: bool = False


REWRITES = (
    Named("as written", as_written),
    Named("structure", structured),
    Named("hubs", with_hubs),
    Named("look-ahead", looked_ahead),
    Named("sums", as_sums),
    Named("decision lists", as_decision_lists),
    Named("structure of one sink", structured_alone),
    Named("dependent cells", without_dependent, True),
    Named("bundles", bundled, True),
)


def rewritten(problem: Problem, context: Context, cost: Cost, without: Collection[str] = ()) -> Problem:
    """`problem` after every rewrite, group by group; what makes it cheaper is kept.

    Groups that were cut from larger ones are looked at without the rest, and kept if the whole gets cheaper.
    """
    groups = list(flat_groups(context.whole))
    steps = context.params.flat_steps // max(1, len(groups))
    context = replace(context, params=replace(context.params, flat_steps=steps))
    best = problem
    for group in (*groups, EVERYTHING):
        if group is not EVERYTHING and _is_least(best, group):
            continue
        best = cheapest(best, [partial(_one_by_one, group=group, context=context, cost=cost, without=without)], cost)
    return best


def _one_by_one(problem: Problem, group: FlatGroup, context: Context, cost: Cost, without: Collection[str]) -> Problem:
    """`problem` after every rewrite of one group's sinks, as cheap as they are without the other sinks."""

    def cost_here(trial: Problem) -> int:
        return cost(alone(trial, group))

    for one in REWRITES:
        if one.at_end == (group is EVERYTHING) and one.name not in without:
            start, before = time.process_time(), problem
            problem = cheapest(problem, one.trials(problem, group, context), cost_here)
            tell(one.name, problem is not before, time.process_time() - start)
    return problem


def tell(rewrite: str, is_taken: bool, seconds: float) -> None:
    """Logs whether a rewrite was taken up, and its CPU seconds, for who asks what it is worth."""
    LOG.debug("%s", rewrite, extra={"is_taken": is_taken, "seconds": seconds})


def _is_least(problem: Problem, group: FlatGroup) -> bool:
    """True where one level of cells takes no more than the dimension of what the group wants beyond affine."""
    network = problem.network
    forms = [problem.sinks[i].form for i in group.sinks]
    cells = network.cone(forms)
    if any(network.is_cell(s) for c in cells for f in network.cells[c].factors for s in bits(f)):
        return False
    signals = bits(network.support(forms))
    if len(signals) > TABLE_VARIABLES:
        return False
    ones = (1 << (1 << len(signals))) - 1
    values = {s: table_variable(i, len(signals)) for i, s in enumerate(signals)}
    affine = Basis([ones, *values.values()])
    vectors = network.evaluate(forms, values, ones)
    return len(cells) <= len(Basis(affine.reduce(v) for v in vectors))
