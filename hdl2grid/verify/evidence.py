"""What was checked of a plan and how it ended, in words: the evidence that a report tells."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.errors import Finding
from hdl2grid.design.machine import Machine
from hdl2grid.plan.model import Plan
from hdl2grid.verify.floorplan_check import check_floorplan_kept
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards
from hdl2grid.verify.verdict import Verdict

VERDICTS = {"equal": "proved", "different": "different", "undecided": "undecided"}
"""The verdicts of a proof, as users are told them."""


@dataclass(frozen=True)
class Evidence:
    """One thing that was checked: what, the result in a word or two ("passed", "720 states, 0 differences"),
    and whether it speaks for the plan."""

    what: str
    result: str
    good: bool


def check_site(plan: Plan, machine: Machine) -> tuple[tuple[Finding, ...], tuple[Evidence, ...]]:
    """What in the plan is not where the design's floorplan wants it, and this in words; nothing without a floorplan."""
    floorplan = machine.floorplan
    if floorplan is None:
        return (), ()
    sited = check_floorplan_kept(plan, floorplan, machine.panel_layout())
    return sited, (Evidence(f"floorplan: {floorplan.told()}", count_found(sited), not sited),)


def proof_evidence(proof: Verdict) -> tuple[Evidence, ...]:
    """What a proof has shown, in words."""
    what = "plan and design side by side, in Amaranth's simulator"
    if proof.result == "different":
        return (Evidence(what, proof.reason, False),)
    shown = f"{proof.hdl_states:,} states, {proof.events:,} events"
    if not proof.complete:
        shown += f"; {proof.reason}"
    reach = "every reachable state with every event" if proof.complete else "not every reachable state"
    if proof.parts > 1:
        reach = (
            f"every reachable state of each of {proof.parts} parts that know nothing of each other, with every event"
        )
    registers = len(proof.read) + len(proof.unread)
    return (
        Evidence(what, f"{shown}: 0 differences, 0 lost pulses", True),
        Evidence("how far", reach, True),
        Evidence("compared after each event", f"all outputs, and {len(proof.read)} of {registers} registers", True),
    )


def hazard_evidence(plan: Plan, proof: Verdict) -> Evidence:
    """Why no stack loses a pulse: by structure, or else by the proof's visit of every state, or by clauses.

    It speaks for the plan or says how far it goes; that a pulse was lost is the proof's to find.
    """
    what = "plain stacks fed in one round of every wave"
    report = find_hazards(plan)
    told = f"{report.num_one_round} of {report.num_plain}"
    if report.is_safe_by_structure:
        return Evidence(what, f"{told}; none can lose a pulse, whatever its levels", True)
    if proof.result == "equal" and proof.complete:
        return Evidence(what, f"{told}; the others lose no pulse in any reachable state", True)
    if proof.result == "different" or report.loops:
        return Evidence(what, f"{told}; nothing is proved of the others", False)
    doubtful = {verdict.stack for verdict in prove_hazards(plan) if not verdict.is_safe}
    if doubtful:
        return Evidence(what, f"{told}; {len(doubtful)} of the others lost none in the events that were tried", True)
    return Evidence(what, f"{told}; the others are proved to lose no pulse in any state", True)


def count_found(findings: tuple[Finding, ...]) -> str:
    """How many findings there are, in words."""
    return f"{len(findings)} found wrong" if findings else "nothing found wrong"
