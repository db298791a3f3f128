"""What goes into a result folder: the files of an outcome, by name."""

from __future__ import annotations

from hdl2grid.base.failure_report import nearest_miss
from hdl2grid.base.progress import Progress, Silent, StagedProgress
from hdl2grid.base.target import Target
from hdl2grid.base.workers import Errand
from hdl2grid.circuit.json_io import dump_circuit
from hdl2grid.circuit.model import Circuit
from hdl2grid.flow import FlowOptions, Outcome
from hdl2grid.guide.build import fresh_of, make_guide
from hdl2grid.layout.lay_out import LayoutStats
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Plan
from hdl2grid.show.congestion import congestion_svg
from hdl2grid.show.drawing import draw_png, draw_svg
from hdl2grid.show.drawings import further_files
from hdl2grid.show.guide_files import guide_files
from hdl2grid.show.page import page_html
from hdl2grid.show.parts_list import parts_csv
from hdl2grid.show.report import Block, ReportFacts, report_markdown
from hdl2grid.synth.model import BlockReport

Files = dict[str, str | bytes]
"""Contents by name."""

CONGESTION = "plan-congestion.svg"
"""Where a size failed: beside the plan, or in place of one."""


def result_files(
    outcome: Outcome,
    options: FlowOptions,
    progress: StagedProgress | None = None,
    *,
    with_guide: bool = True,
    guide: Errand[Files] | None = None,
) -> Files:
    """The contents of every file of the result, by name.

    A plan that is no good goes into plan.rejected.json; it is drawn all the same, and gets no guide and no page.
    Without `with_guide` a good one gets the page, but no guide. `guide` is a `guide_and_page` of the outcome that was
    begun before.
    """
    progress = progress or Silent()
    files: Files = {
        "circuit.json": dump_circuit(outcome.circuit),
        "report.md": report_markdown(_facts(outcome, options)),
    }
    plan, target = outcome.plan, options.target
    if plan is None:
        return files
    progress.stage("draw")
    files["plan.json" if outcome.is_good else "plan.rejected.json"] = dump_plan(plan)
    files["plan.svg"] = draw_svg(plan, target)
    files["plan.png"] = draw_png(plan, target)
    files["parts.csv"] = parts_csv(plan)
    failed = nearest_miss(outcome.placed.failures) if outcome.placed is not None else None
    if failed is not None:
        files[CONGESTION] = congestion_svg(failed, plan.name, target)
    if outcome.is_good:
        files |= further_files(plan, target, outcome.circuit, _events_of_checks(outcome))
        if not with_guide:
            return files | {"index.html": page_html(plan, outcome.circuit, target=target)}
        progress.stage("guide")
        files |= guide.result(progress) if guide else guide_and_page(plan, target, outcome.circuit, progress)
    return files


def guide_and_page(plan: Plan, target: Target, circuit: Circuit, progress: Progress) -> Files:
    """The guide in all editions, and the page that leads through it."""
    guide = make_guide(plan, fresh=fresh_of(target), progress=progress)
    files = guide_files(plan, target, guide=guide, progress=progress)
    return {**files, "index.html": page_html(plan, circuit, guide, target=target)}


def _events_of_checks(outcome: Outcome) -> tuple[str, ...]:
    """Those of the first check that made any: what the timing chart shows."""
    return next((result.events for result in outcome.checks.results if result.events), ())


def _facts(outcome: Outcome, options: FlowOptions) -> ReportFacts:
    report = outcome.mapped.synthesis.report
    return ReportFacts(
        name=outcome.circuit.name,
        verdict=outcome.verdict,
        reason=outcome.reason,
        evidence=outcome.evidence,
        findings=outcome.findings,
        warnings=outcome.mapped.warnings,
        options=options.shown(),
        blocks=tuple(_block(block) for block in report.blocks),
        longest_wave_rounds=report.longest_wave_rounds,
        reachable_states=report.reachable_states,
        target=options.target,
        circuit=outcome.circuit,
        plan=outcome.plan,
        repeaters=0 if outcome.placed is None else outcome.placed.num_repeaters,
        search=() if outcome.placed is None else _search(outcome.placed.stats),
        failed_sizes=() if outcome.placed is None else tuple(failure.told() for failure in outcome.placed.failures),
    )


def _search(stats: LayoutStats) -> tuple[tuple[str, str], ...]:
    """What layout has spent, in words."""
    return (
        ("restarts", f"{stats.num_restarts:,}"),
        ("placements", f"{stats.num_placements:,}"),
        ("iterations: rounds of routing and tries of repair", f"{stats.num_iterations:,}"),
        ("rows and columns tried to be cut", f"{stats.num_cuts:,}"),
        ("sizes that failed", f"{stats.num_failed_sizes:,}"),
        *((("ended", "before its time, by the user"),) if stats.is_stopped else ()),
    )


def _block(block: BlockReport) -> Block:
    return Block(
        name=block.name,
        method=block.method,
        states="" if block.states is None else f"{block.states:,}",
        stacks=block.stacks,
        bound="" if block.bound is None else str(block.bound),
        verdict=block.verdict,
        proof=block.proof,
    )
