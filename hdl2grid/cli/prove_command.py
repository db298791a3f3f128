"""`hdl2grid prove`: a plan against its design."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from hdl2grid.base.errors import DesignFailed, Finding, Undecided
from hdl2grid.cli.compiling import compiling_announced
from hdl2grid.cli.design_options import DesignName
from hdl2grid.cli.reporter import Reporter
from hdl2grid.cli.session import FoundWrong, finding_json, output_options, running_user_code, session
from hdl2grid.design.load import load_machine
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.plan.json_io import load_plan
from hdl2grid.verify.evidence import VERDICTS, check_site, proof_evidence
from hdl2grid.verify.prove import DEFAULT_LIMIT, DEFAULT_WALK, prove
from hdl2grid.verify.verdict import Verdict


@click.command("prove")
@click.argument("design", type=DesignName())
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--limit", type=click.IntRange(1, 10**7), default=DEFAULT_LIMIT, show_default=True, help="Most states to visit."
)
@click.option(
    "--walk",
    type=click.IntRange(0, 10**9),
    default=DEFAULT_WALK,
    show_default=True,
    help="Random events to try where there are more states.",
)
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, help="Of the random events.")
@output_options
def prove_command(design: str, plan: Path, limit: int, walk: int, seed: int) -> None:
    """Read a PLAN back and compare it with its DESIGN, in every reachable state and for every event.

    Exit code 0: proved. 1: the plan breaks a rule, differs (the shortest events that show it are told) or does not keep
    the design's floorplan. 3: there are more states than the limit; how many random events were tried instead is told.
    """
    state = session()
    loaded = load_plan(plan)
    with Reporter(verbose=state.verbose) as reporter, compiling_announced(reporter), running_user_code():
        reporter.stage("elaborate")
        machine = load_machine(design)
        elaboration = elaborate(machine)
        sited, site_evidence = check_site(loaded, machine)
        reporter.stage("prove")
        proof = prove(elaboration, loaded, limit, walk, seed, reporter)
    told = proof_json(proof)
    told["findings"] += [finding_json(finding) for finding in sited]
    state.report({"command": "prove", "machine": elaboration.logic.name, "exit_code": 0, **told})
    but = ", but not laid as the floorplan wants it" if sited else ""
    state.say(f"{loaded.name}: {VERDICTS[proof.result]}{but}")
    for item in (*proof_evidence(proof), *site_evidence):
        state.say(f"  {item.what}: {item.result}")
    _judge(proof, sited, plan)


def _judge(proof: Verdict, sited: tuple[Finding, ...], plan: Path) -> None:
    if proof.findings:
        raise FoundWrong("C015", f"the plan is not right: {proof.reason}", proof.findings, plan)
    if proof.result == "different":
        hint = None
        if proof.counterexample is not None and proof.counterexample.events:
            hint = f"See it with: hdl2grid play {plan} '{proof.counterexample.expression}'"
        raise DesignFailed("C015", f"the plan differs from the design: {proof.reason}", where=plan, hint=hint)
    if sited:
        raise FoundWrong("C015", "the plan is not as the design's floorplan wants it", sited, plan)
    if proof.result == "undecided":
        raise Undecided("C016", proof.reason, where=plan, hint="Raise --limit, or --walk for more random events.")


def proof_json(proof: Verdict) -> dict[str, Any]:
    """A proof as the machine-readable report shows it."""
    wrong = proof.counterexample
    return {
        "verdict": VERDICTS[proof.result],
        "reason": proof.reason,
        "complete": proof.complete,
        "states": proof.hdl_states,
        "independent_parts": proof.parts,
        "events": proof.events,
        "random_events": proof.walked,
        "longest_wave_rounds": proof.rounds,
        "registers_read": list(proof.read),
        "registers_not_read": list(proof.unread),
        "registers_left_out": list(proof.left_out),
        "findings": [finding_json(finding) for finding in proof.findings],
        "counterexample": None
        if wrong is None
        else {
            "events": wrong.expression,
            "differences": [str(difference) for difference in wrong.differences],
            "lost_pulses_at": list(wrong.lost),
        },
    }
