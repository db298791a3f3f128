"""All rewrites, in the order in which they run, and what runs them."""

from __future__ import annotations

import logging
import time
from dataclasses import dataclass, replace
from functools import partial

from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.rewrite.covers import TABLE_VARIABLES, table_variable
from hdl2grid.synth.rewrite.decision_lists import as_decision_lists
from hdl2grid.synth.rewrite.dependent_cells import without_dependent
from hdl2grid.synth.rewrite.exactly_one_sums import bundled
from hdl2grid.synth.rewrite.hubs import with_hubs
from hdl2grid.synth.rewrite.lookahead import looked_ahead
from hdl2grid.synth.rewrite.recover_structure import structured
from hdl2grid.synth.rewrite.share_pseudoproducts import as_sums
from hdl2grid.synth.rewrite.shorter_sums import with_shorter_sums
from hdl2grid.synth.rewrite.sink_groups import EVERYTHING, SinkGroup, alone, groups_of_sinks
from hdl2grid.synth.rewrite.trials import Context, Cost, Rewrite, Trial, cheapest, with_forms
from hdl2grid.synth.sinks import Problem


def as_written(problem: Problem, group: SinkGroup, context: Context) -> list[Trial]:
    """The group as the design says it, with the carries of adders as products or as stacks of their own."""
    return [with_forms({i: p.sinks[i].form for i in group.sinks}) for p in (context.whole, *context.others)]


LOG = logging.getLogger(__name__)

GROUP, ALL, LONG = "each group", "all sinks", "long sums"
"""When a rewrite runs: for each group of sinks; then once for all sinks; and, where sums are too long after all that,
before drivers are joined on nets."""

WIDE_SINKS = "wide sinks"
"""What comes before all rewrites, and can be left out as well: sinks that read several machines are cut (see
`exact/wide_sinks.py`)."""


@dataclass(frozen=True)
class Named:
    """A rewrite that can be left out by its name."""

    name: str
    trials: Rewrite
    when: str = GROUP


REWRITES = (
    Named("as written", as_written),
    Named("hubs", with_hubs),
    Named("look-ahead", looked_ahead),
    Named("sums", as_sums),
    Named("decision lists", as_decision_lists),
    Named("structure", structured),
    Named("dependent cells", without_dependent, ALL),
    Named("bundles", bundled, ALL),
    Named("shorter sums", with_shorter_sums, LONG),
)
NAMES = (WIDE_SINKS, *(one.name for one in REWRITES))
"""What `SynthParams.without` may name."""


def rewritten(problem: Problem, context: Context, cost: Cost) -> Problem:
    """`problem` after every rewrite, group by group; what makes it cheaper is kept.

    Groups that were cut from larger ones are looked at without the rest, and kept if the whole gets cheaper.
    """
    groups = list(groups_of_sinks(context.whole))
    steps = context.params.espp_steps // max(1, len(groups))
    context = replace(context, params=replace(context.params, espp_steps=steps))
    best = problem
    for group in (*groups, EVERYTHING):
        if group is not EVERYTHING and _is_least(best, group):
            continue
        best = cheapest(best, [partial(_one_by_one, group=group, context=context, cost=cost)], cost)
    return best


def _one_by_one(problem: Problem, group: SinkGroup, context: Context, cost: Cost) -> Problem:
    """`problem` after every rewrite of one group's sinks, as cheap as they are without the other sinks."""

    def cost_here(trial: Problem) -> int:
        return cost(alone(trial, group))

    for one in REWRITES:
        if one.when == (ALL if group is EVERYTHING else GROUP) and one.name not in context.params.without:
            start, before = time.process_time(), problem
            problem = cheapest(problem, one.trials(problem, group, context), cost_here)
            tell(one.name, problem is not before, time.process_time() - start)
    return problem


def shortened(problem: Problem, context: Context) -> Problem:
    """`problem` with shorter sums where those of `context.long` are; what they cost is known only once drivers are
    joined, so all trials are taken."""
    for one in REWRITES:
        if one.when == LONG and one.name not in context.params.without:
            start, before = time.process_time(), problem
            for trial in one.trials(problem, EVERYTHING, context):
                problem = trial(problem)
            tell(one.name, problem != before, time.process_time() - start)
    return problem


def tell(rewrite: str, is_taken: bool, seconds: float) -> None:
    """Logs whether a rewrite was taken up, and its CPU seconds, for who asks what it is worth."""
    LOG.debug("%s", rewrite, extra={"is_taken": is_taken, "seconds": seconds})


def _is_least(problem: Problem, group: SinkGroup) -> bool:
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
