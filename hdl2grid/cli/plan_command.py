"""`hdl2grid plan`: the whole flow, from a design to a result folder."""

from __future__ import annotations

import contextlib
import os
from dataclasses import replace
from pathlib import Path
from typing import Any

import click

from hdl2grid.base.errors import DesignFailed
from hdl2grid.base.outputs import ResultFolder
from hdl2grid.base.workers import Errand
from hdl2grid.cli.check_command import checks_json
from hdl2grid.cli.compiling import compiling_announced
from hdl2grid.cli.design_options import Chosen, DesignName, design_folder, flow_options, options_from
from hdl2grid.cli.prove_command import proof_json
from hdl2grid.cli.reporter import Reporter
from hdl2grid.cli.results import CONGESTION, Files, guide_and_page, result_files
from hdl2grid.cli.session import FoundWrong, Session, finding_json, output_options, running_user_code, session
from hdl2grid.cli.stopping import signals_held, stopping
from hdl2grid.compare.difference import difference, tiles_in_use
from hdl2grid.design.load import load_machine
from hdl2grid.flow import FlowOptions, Outcome, Placed, run_flow
from hdl2grid.layout.crew import Stop
from hdl2grid.layout.not_placed import NotPlaced
from hdl2grid.plan.measure import measure
from hdl2grid.plan.model import Plan
from hdl2grid.show.congestion import congestion_svg
from hdl2grid.show.parts_list import wire_tile_counts
from hdl2grid.show.report import size_rows, stack_counts

MAX_JOBS = 64
"""Most processes of --jobs. Guessed: a bound on slips of the hand."""


@click.command("plan")
@click.argument("design", type=DesignName())
@click.option("--out", type=click.Path(path_type=Path), help="Result folder; out/NAME if left out.")
@click.option("--stop-after", type=click.Choice(["synthesise"]), help="Write circuit.json and the report only.")
@click.option("--no-guide", is_flag=True, help="Leave the guide out; `hdl2grid guide` can write it later.")
@click.option(
    "--jobs",
    type=click.IntRange(1, MAX_JOBS),
    help="Processes that work at the same time, by default one a processor; the plan is the same for any number.",
)
@flow_options
@output_options
def plan_command(
    design: str, out: Path | None, stop_after: str | None, no_guide: bool, jobs: int | None, **chosen: Any
) -> None:
    """Make a proven plan of a DESIGN, and write it to a folder.

    DESIGN is a Python file with a `machine` in it, or the name of a shipped design. The design's own checks run
    first. The folder gets the page index.html, plan.json, circuit.json, drawings (plan.svg, plan.png and others
    that suit the machine), the guide (guide.json, .txt, .html and .pdf), the parts list parts.csv and report.md. A
    plan that fails its proof is kept as plan.rejected.json, without page and guide, with exit code 1.

    Ctrl-C while it is placed and routed ends the search: the best legal plan so far is proved and written.
    """
    state = session()
    options = replace(options_from(Chosen(**chosen)), jobs=jobs or min(MAX_JOBS, _processors()))
    stop, leaving = Stop(), contextlib.ExitStack()
    guides: list[Errand[Files]] = []

    def begin_guide(placed: Placed) -> None:
        """With a second process the guide is made while the plan is proved."""
        if options.jobs > 1 and not no_guide:
            guides.append(Errand(guide_and_page, placed.plan, options.target, placed.circuit))
            leaving.callback(guides[0].give_up)

    with (
        Reporter(verbose=state.verbose) as reporter,
        compiling_announced(reporter),
        stopping(stop, reporter.note),
        leaving,
    ):
        with running_user_code():
            reporter.stage("load")
            machine = load_machine(design)
            folder = ResultFolder(out if out is not None else Path("out") / str(machine.name))
            folder.refuse_foreign()
            until, home = stop_after == "synthesise", design_folder(design)
            try:
                outcome = run_flow(machine, home, options, reporter, until, stop, begin_guide)
            except NotPlaced as failed:
                state.report({"failed_sizes": [failure.told() for failure in failed.failures]})
                raise _with_picture(failed, str(machine.name), options, folder) from None
            for warning in outcome.mapped.warnings:
                reporter.note(f"warning: {warning}")
        guide = guides[0] if guides else None
        files = result_files(outcome, options, reporter, with_guide=not no_guide, guide=guide)
        with signals_held():
            folder.write(files)
    _tell(state, outcome, options, folder.path, sorted(files))
    _judge(outcome, folder.path)


def _processors() -> int:
    """How many processors this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def _with_picture(failed: NotPlaced, name: str, options: FlowOptions, folder: ResultFolder) -> NotPlaced:
    """Draws where the size that came nearest failed; the picture joins what is in the folder already."""
    if failed.worst is None:
        return failed
    with signals_held():
        folder.write({CONGESTION: congestion_svg(failed.worst, name, options.target)}, keep=True)
    hint = f"{failed.hint} The tiles are drawn in {folder.path / CONGESTION}."
    return NotPlaced(failed.what, hint, failed.failures)


def _tell(state: Session, outcome: Outcome, options: FlowOptions, folder: Path, files: list[str]) -> None:
    plan, circuit = outcome.plan, outcome.circuit
    state.say(f"{circuit.name}: {outcome.verdict}")
    if plan is not None:
        size = dict(size_rows(plan))
        state.say(
            f"  {plan.width} x {plan.height} = {plan.width * plan.height:,} tiles, {len(circuit.stacks)} stacks, "
            f"{size['wire tiles']:,} wire tiles, {size['crossovers']} crossovers, {size['strokes']} strokes"
        )
        if outcome.placed is not None and outcome.placed.stats.is_stopped:
            state.say("  stopped before its time: this is the best legal plan so far")
    else:
        state.say(f"  {len(circuit.stacks)} stacks")
    for item in outcome.evidence:
        state.say(f"  {item.what}: {item.result}")
    if plan is not None and options.near is not None:
        state.say(f"  {_nearness(options.near, plan)}")
    first = "; open index.html first" if "index.html" in files else ""
    state.say(f"Wrote {len(files)} files to {folder}{first}")
    state.report(_as_json(outcome, options, folder, files))


def _nearness(old: Plan, new: Plan) -> str:
    touched, used = len(difference(old, new).touched), len(tiles_in_use(old) | tiles_in_use(new))
    share = f"{touched} of {used} tiles differ from the old plan ({touched / max(1, used):.1%})"
    return f"{share}; `hdl2grid compare OLD NEW` lists the changes" if touched else share


def _as_json(outcome: Outcome, options: FlowOptions, folder: Path, files: list[str]) -> dict[str, Any]:
    report, plan = outcome.mapped.synthesis.report, outcome.plan
    return {
        "command": "plan",
        "machine": outcome.circuit.name,
        "verdict": outcome.verdict,
        "exit_code": 0 if outcome.is_good else 1,
        "folder": str(folder),
        "files": files,
        "checks": checks_json(outcome.checks),
        "warnings": list(outcome.mapped.warnings),
        "evidence": [vars(item) for item in outcome.evidence],
        "findings": [finding_json(finding) for finding in outcome.findings],
        "proof": None if outcome.proof is None else proof_json(outcome.proof),
        "size": None if plan is None else dict(size_rows(plan)),
        "stacks": {
            "all": len(outcome.circuit.stacks),
            "by_kind": stack_counts(outcome.circuit),
            "registers": report.registers,
            "resets": report.resets,
            "gates": report.gates,
            "products": report.products,
            "exactly_ones": report.exactly_ones,
            "collectors": report.collectors,
            "buffers": report.buffers,
        },
        "blocks": [{**vars(block), "gap": block.gap} for block in report.blocks],
        "codes": [{**vars(code), "gap": code.gap} for code in report.codes],
        "longest_wave_rounds": report.longest_wave_rounds,
        "reachable_states": report.reachable_states,
        "layout": None if outcome.placed is None else _layout_json(outcome.placed),
        "options": dict(options.shown()),
    }


def _layout_json(placed: Placed) -> dict[str, Any]:
    """What the search spent, and the plan's figures."""
    sizes = measure(placed.plan)
    return {
        **vars(placed.stats),
        **vars(sizes),
        "area": sizes.area,
        "wire_ratio": round(sizes.wire_ratio, 4),
        "wire_by_colour": wire_tile_counts(placed.plan),
        "repeaters": placed.num_repeaters,
        "failed_sizes": [failure.told() for failure in placed.failures],
    }


def _judge(outcome: Outcome, folder: Path) -> None:
    if outcome.is_good:
        return
    where = folder / "plan.rejected.json"
    if outcome.findings:
        raise FoundWrong("C014", "the plan fails its verification and was rejected", outcome.findings, where)
    raise DesignFailed("C014", f"the plan was rejected: {outcome.reason}", where=where)
