"""What goes into a result folder: the files of an outcome, by name."""

from __future__ import annotations

from hdl2grid.circuit.json_io import dump_circuit
from hdl2grid.flow import FlowOptions, Outcome
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.show.drawing import draw_png, draw_svg
from hdl2grid.show.parts import parts_csv
from hdl2grid.show.report import Block, ReportFacts, report_markdown
from hdl2grid.synth.model import BlockReport


def result_files(outcome: Outcome, options: FlowOptions) -> dict[str, str | bytes]:
    """The contents of every file of the result, by name. A plan that is no good goes into plan.rejected.json,
    and is drawn all the same."""
    files: dict[str, str | bytes] = {
        "circuit.json": dump_circuit(outcome.circuit),
        "report.md": report_markdown(_facts(outcome, options)),
    }
    plan = outcome.plan
    if plan is not None:
        files["plan.json" if outcome.is_good else "plan.rejected.json"] = dump_plan(plan)
        files["plan.svg"] = draw_svg(plan, options.target)
        files["plan.png"] = draw_png(plan, options.target)
        files["parts.csv"] = parts_csv(plan)
    return files


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
    )


def _block(block: BlockReport) -> Block:
    return Block(
        name=block.name,
        method=block.method,
        states="" if block.states is None else f"{block.states:,}",
        stacks=block.stacks,
        bound="" if block.bound is None else str(block.bound),
        verdict=block.verdict,
    )
