"""The proof that a plan keeps time as its design does: rules, settings, then every reachable state, every event."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from hdl2grid.base.errors import Finding
from hdl2grid.base.progress import Progress, silent
from hdl2grid.base.sources import Ticker
from hdl2grid.circuit.model import Circuit, Source
from hdl2grid.design.machine import Machine
from hdl2grid.logic.elaborate import Elaboration
from hdl2grid.plan.model import Plan
from hdl2grid.plan.rules import check_plan
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.pulse_network import Network
from hdl2grid.verify.compare_bits import Comparison, Session, hdl_events, network_of
from hdl2grid.verify.explore import Exploration, explore
from hdl2grid.verify.hdl import run_hdl
from hdl2grid.verify.independent_parts import Part, parts_of
from hdl2grid.verify.lockstep import play_both
from hdl2grid.verify.panel_check import compare_panel
from hdl2grid.verify.verdict import Verdict
from hdl2grid.verify.walk import random_events

DEFAULT_LIMIT = 100_000
"""Most reachable states that are visited; a larger machine is undecided. Guessed: a day of seconds fits."""

DEFAULT_WALK = 100_000
"""Random events that are tried where not every state is visited. Guessed."""


def prove(
    elaboration: Elaboration,
    machine: Plan | Circuit | Network,
    limit: int = DEFAULT_LIMIT,
    walk: int = DEFAULT_WALK,
    seed: int = 1,
    progress: Progress = silent,
) -> Verdict:
    """Whether a machine does what its design does, and how far that was looked at.

    'equal': each of the design's reachable states (at most `limit`) was visited with each event, every pixel showed its
    output bit, every signal its bit, and no pulse was lost; where these are too many, each state of each of the parts
    that know nothing of each other. 'different': with the rule broken, the setting, or
    the shortest events after which something differs. 'undecided': there are more states, and `walk` random
    events showed no difference; or the machine has delays or random stacks, which no proof by states covers.
    """
    broken = check_plan(machine) if isinstance(machine, Plan) else ()
    if broken:
        return Verdict("different", _counted(broken, "layout rules broken"), findings=broken)
    network = network_of(machine)
    comparison = Comparison(network, elaboration.logic, machine if isinstance(machine, Plan) else None)
    verdict = Verdict("equal", "", read=comparison.read, unread=comparison.unread)
    findings = (*_sources_differ(network, elaboration.machine), *comparison.findings)
    if isinstance(machine, Plan) and elaboration.machine.panel is not None:
        findings += compare_panel(machine, elaboration.machine.panel.layout())
    if findings:
        reason = _counted(findings, "differences between the machine and the design's ports")
        return replace(verdict, result="different", reason=reason, findings=findings)
    proof = _Proof(elaboration, network, comparison, progress)
    return run_hdl(elaboration, lambda session: proof.run(session, verdict, limit, walk, seed))


def _sources_differ(network: Network, machine: Machine) -> Iterator[Finding]:
    """The settings of sources that no play would show: kinds, periods, switches that are on."""
    wanted = {source.name: source for source in _sources_of(machine)}
    placed = {source.name: source for source in network.sources}
    for name, source in wanted.items():
        found = placed.get(name)
        if found is None:
            yield Finding("V022", f"the machine has no {source.kind} for it", subject=name)
        elif found != source:
            yield Finding("V023", f"it is a {_told(found)} and should be a {_told(source)}", subject=name)
    for name, source in placed.items():
        if name not in wanted:
            yield Finding("V023", f"the design has nothing for this {source.kind}", subject=name)


def _sources_of(machine: Machine) -> Iterator[Source]:
    for domain, source in machine.clocks.items():
        if isinstance(source, Ticker):
            yield Source("ticker", domain, period_s=source.seconds, running=True)
        else:
            yield Source("button", domain)
    if machine.reset is not None:
        yield Source("button", "reset")
    for name, level in machine.initial_levels().items():
        yield Source("switch", name, on=bool(level))


def _told(source: Source) -> str:
    if source.kind == "ticker":
        return f"ticker of {source.period_s} s" + ("" if source.running else ", stopped")
    return f"switch that is {'on' if source.on else 'off'}" if source.kind == "switch" else source.kind


def _counted(findings: tuple[Finding, ...], what: str) -> str:
    return f"{len(findings)} {what}"


class _Proof:
    def __init__(self, elaboration: Elaboration, network: Network, comparison: Comparison, progress: Progress) -> None:
        self.elaboration = elaboration
        self.network = network
        self.comparison = comparison
        self.known = hdl_events(elaboration.logic)
        self.progress = progress

    def run(self, session: Session, verdict: Verdict, limit: int, walk: int, seed: int) -> Verdict:
        first = session.state()
        if self.network.is_random or self.network.delays:
            what = "delays" if self.network.delays else "stacks that emit at random"
            reason = f"the machine has {what}, which no proof by states covers"
            return replace(verdict, result="undecided", reason=reason)
        found = self._explore(session, limit, full_state=True)
        if not found.complete and found.counterexample is None and self.elaboration.unused:
            session.restore(first)
            again = self._explore(session, limit, full_state=False)
            if again.complete or again.counterexample is not None:
                found, verdict = again, replace(verdict, left_out=self.elaboration.unused)
        parts = parts_of(self.network, self.elaboration.logic)
        if not found.complete and found.counterexample is None and len(parts) > 1:
            session.restore(first)
            again = self._explore(session, limit, full_state=False, parts=parts)
            if again.complete or again.counterexample is not None:
                found = again
                verdict = replace(verdict, left_out=self.elaboration.unused, parts=len(parts))
        verdict = replace(
            verdict,
            states=found.states,
            hdl_states=found.hdl_states,
            events=found.events,
            rounds=found.rounds,
            complete=found.complete,
            counterexample=found.counterexample,
        )
        if found.counterexample is not None:
            return replace(verdict, result="different", reason=str(found.counterexample))
        if found.complete:
            all_states = f"all {found.hdl_states} reachable states"
            if verdict.parts > 1:
                all_states = f"all states of {verdict.parts} parts that know nothing of each other"
            return replace(verdict, reason=f"{all_states}, each with every event")
        session.restore(first)
        return self._walk(session, verdict, f"there are more than {limit} states", walk, seed)

    def _explore(self, session: Session, limit: int, full_state: bool, parts: Sequence[Part] = ()) -> Exploration:
        engine = CompiledEngine(self.network)
        return explore(session, engine, self.comparison, self.known, limit, self.progress, full_state, parts)

    def _walk(self, session: Session, verdict: Verdict, why: str, walk: int, seed: int) -> Verdict:
        engine = CompiledEngine(self.network)
        events = random_events(self.network.sources, walk, seed)
        walked = play_both(session, engine, self.comparison, self.known, events, self.progress)
        verdict = replace(verdict, walked=walked.events, rounds=max(verdict.rounds, walked.rounds))
        if walked.counterexample is not None:
            wrong = walked.counterexample
            return replace(verdict, result="different", reason=str(wrong), counterexample=wrong)
        reason = f"{why}; {walked.events} random events showed no difference"
        return replace(verdict, result="undecided", reason=reason)
