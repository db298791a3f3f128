"""The order of the stages: load, elaborate, check, synthesise, form nets, place and route, verify.

The only place that knows it. Nothing here prints; a StagedProgress is told what goes on.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from hdl2grid.base.errors import Finding, SourceLine
from hdl2grid.base.failure_report import FailureReport
from hdl2grid.base.progress import Silent, StagedProgress
from hdl2grid.base.target import STYLES, Target, check_period, grid_limits
from hdl2grid.circuit.model import Circuit, Origin, Source
from hdl2grid.design.machine import Machine, Ticker
from hdl2grid.layout.crew import Stop
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.lay_out import LayoutStats
from hdl2grid.layout.old_plan import joined_nets
from hdl2grid.layout.retries import LayoutJob, place_somehow
from hdl2grid.logic.elaborate import Elaboration, elaborate
from hdl2grid.nets.form import CROWDED_TERMS, pixel_nets, pixel_terms
from hdl2grid.nets.partition import CircuitWithNets
from hdl2grid.plan.extract import extract
from hdl2grid.plan.model import Plan
from hdl2grid.plan.read_circuit import circuit_of
from hdl2grid.plan.rules import check_plan
from hdl2grid.synth.model import Synthesis, SynthParams
from hdl2grid.synth.synthesise import Prepared, prepare, synthesise, synthesise_near
from hdl2grid.verify.design_checks import CheckReport, run_checks
from hdl2grid.verify.evidence import VERDICTS, Evidence, check_site, count_found, hazard_evidence, proof_evidence
from hdl2grid.verify.lvs import compare
from hdl2grid.verify.prove import prove
from hdl2grid.verify.verdict import Verdict


@dataclass(frozen=True)
class FlowOptions:
    """What decides a plan beside the design. `width` and `height` limit the grid, in tiles (None: as the
    target does); `keep_codes` leaves every register's code as it is written; `style` is one of STYLES. `jobs`
    processes search, which decides nothing. `near` is a plan of an earlier version of the design, of which as much as
    can be is kept where it is."""

    target: Target
    seed: int = 1
    effort: str = "normal"
    width: int | None = None
    height: int | None = None
    keep_codes: bool = False
    style: str = STYLES[0]
    jobs: int = 1
    near: Plan | None = None

    def shown(self) -> tuple[tuple[str, str], ...]:
        """The options and their values, in words."""
        width, height = grid_limits(self.target, self.width, self.height)
        return (
            ("target", self.target.name),
            ("colours", ", ".join(self.target.colour_names)),
            ("seed", str(self.seed)),
            ("effort", self.effort),
            ("style", self.style),
            *((("codes", "kept as written"),) if self.keep_codes else ()),
            *((("near", f"an earlier plan of {self.near.width} x {self.near.height} tiles"),) if self.near else ()),
            ("largest grid", f"{width} x {height} tiles"),
        )


@dataclass(frozen=True)
class Mapped:
    """A machine as far as synthesis: nothing has a place yet. `others` are further circuits of it near an old plan,
    of which the layout decides; `prepared` is what another mapping of it need not find again."""

    machine: Machine
    elaboration: Elaboration
    synthesis: Synthesis
    warnings: tuple[str, ...]
    others: tuple[Synthesis, ...] = ()
    prepared: Prepared | None = None

    @property
    def circuit(self) -> Circuit:
        return self.synthesis.circuit


@dataclass(frozen=True)
class Placed:
    """A machine with its plan, not verified yet. `circuit` has the idle toggles that its nets asked for;
    `failures` are sizes that failed before."""

    mapped: Mapped
    circuit: Circuit
    plan: Plan
    stats: LayoutStats
    failures: tuple[FailureReport, ...] = ()

    @property
    def num_repeaters(self) -> int:
        """Stacks that layout has put in, beyond those of synthesis."""
        return len(self.circuit.stacks) - len(self.mapped.circuit.stacks)


@dataclass(frozen=True)
class Outcome:
    """All that a run has found. `placed` is None where it was to stop after synthesis; `evidence` tells each
    check and its result; `findings` are what speaks against the plan; `reason` says in a line why it is no
    good, and is empty where it is."""

    mapped: Mapped
    checks: CheckReport
    placed: Placed | None
    proof: Verdict | None
    verdict: str
    reason: str
    evidence: tuple[Evidence, ...]
    findings: tuple[Finding, ...] = ()

    @property
    def is_good(self) -> bool:
        """Whether nothing speaks against handing the result out."""
        return not self.reason

    @property
    def circuit(self) -> Circuit:
        return self.mapped.circuit if self.placed is None else self.placed.circuit

    @property
    def plan(self) -> Plan | None:
        return None if self.placed is None else self.placed.plan


def run_flow(
    machine: Machine,
    folder: Path,
    options: FlowOptions,
    progress: StagedProgress | None = None,
    stop_after_synthesis: bool = False,
    stop: Stop | None = None,
    laid: Callable[[Placed], None] | None = None,
) -> Outcome:
    """From a machine to a verified plan; `folder` is that of the design's file. `laid` is called with a plan that
    keeps all rules and has the circuit's nets, before the proof.

    Raises DesignFailed where the design fails its own check or no plan is found within the limits, InputError
    where the design or the options cannot be. After `stop.set()` the best plan so far is verified and handed out;
    KeyboardInterrupt where there is none. A plan that fails its verification is an Outcome, not an error.
    """
    progress = progress or Silent()
    limits_of(machine, options)
    mapped = map_machine(machine, folder, options, progress)
    progress.stage("check the design")
    checks = run_checks(mapped.elaboration, progress=progress)
    checked = Evidence("the design's own checks", _checks_told(checks), True)
    if stop_after_synthesis:
        return Outcome(
            mapped=mapped, checks=checks, placed=None, proof=None, verdict="synthesised", reason="", evidence=(checked,)
        )
    placed = place(mapped, folder, options, progress, stop)
    return verify(placed, checks, checked, options.seed, progress, laid)


def _checks_told(checks: CheckReport) -> str:
    return f"{len(checks.results)} passed" if checks.results else "it has none"


def verify(
    placed: Placed,
    checks: CheckReport,
    checked: Evidence,
    seed: int,
    progress: StagedProgress,
    laid: Callable[[Placed], None] | None = None,
) -> Outcome:
    """Reads the plan back from its tiles and compares it with the circuit, and then with the design in every
    state and for every event, as far as the limits go. `laid` as in `run_flow`."""
    progress.stage("verify")
    extraction = extract(placed.plan)
    rules = check_plan(placed.plan, extraction)
    lvs = compare(placed.plan, placed.circuit, extraction)
    machine = placed.mapped.machine
    sited, site_evidence = check_site(placed.plan, machine)
    if laid is not None and not (rules or lvs or sited):
        laid(placed)
    progress.stage("prove")
    proof = prove(placed.mapped.elaboration, placed.plan, seed=seed, progress=progress)
    evidence = (
        checked,
        Evidence("layout rules", count_found(rules), not rules),
        Evidence("nets read from the tiles, against the circuit", count_found(lvs), not lvs),
        *site_evidence,
        *proof_evidence(proof),
        hazard_evidence(placed.plan, proof),
    )
    findings = tuple(dict.fromkeys((*rules, *lvs, *sited, *proof.findings)))
    reason = f"{len(findings)} findings" if findings else proof.reason if proof.result == "different" else ""
    verdict = "rejected" if reason else VERDICTS[proof.result]
    return Outcome(
        mapped=placed.mapped,
        checks=checks,
        placed=placed,
        proof=proof,
        verdict=verdict,
        reason=reason,
        evidence=evidence,
        findings=findings,
    )


def sources_of(machine: Machine) -> tuple[Source, ...]:
    """The machine's sources: one a clock domain, the reset button, one switch an input bit, in this order."""
    sources = []
    for domain, source in machine.clocks.items():
        if isinstance(source, Ticker):
            sources.append(Source("ticker", domain, period_s=source.seconds, running=True))
        else:
            sources.append(Source("button", domain))
    if machine.reset is not None:
        sources.append(Source("button", "reset"))
    sources += [Source("switch", name, on=bool(level)) for name, level in machine.initial_levels().items()]
    return tuple(sources)


def map_machine(machine: Machine, folder: Path, options: FlowOptions, progress: StagedProgress | None = None) -> Mapped:
    """Elaborates and synthesises. `folder` is the design's: source lines are told relative to it, so that the
    result does not depend on where it lies.

    Raises InputError for a design that cannot be elaborated, or a ticker that the target does not have.
    """
    progress = progress or Silent()
    sources = sources_of(machine)
    for source in sources:
        if source.period_s is not None:
            check_period(options.target, source.name, source.period_s)
    progress.stage("elaborate")
    elaboration = elaborate(machine)
    progress.stage("synthesise")
    params, logic, prepared = _synth_params(machine, options), elaboration.logic, None
    if options.near is None:
        prepared = prepare(logic, params)
        found: tuple[Synthesis, ...] = (synthesise(logic, sources, params, prepared),)
    else:
        near, nets = circuit_of(options.near), joined_nets(options.near)
        found = synthesise_near(logic, sources, params, near, nets)
    found = tuple(replace(one, circuit=_portable(one.circuit, folder)) for one in found)
    return Mapped(
        machine=machine,
        elaboration=elaboration,
        synthesis=found[0],
        warnings=elaboration.warnings,
        others=found[1:],
        prepared=prepared,
    )


def map_roomier(mapped: Mapped, folder: Path, options: FlowOptions, progress: StagedProgress | None = None) -> Mapped:
    """The machine mapped again with a roomy circuit, which has more stacks and leaves wires more room: its pixels
    gather two signals at most, and no stack is saved by joining drivers on nets. Elaboration, reachable states and
    encodings are those that are known."""
    (progress or Silent()).stage("synthesise")
    params = _synth_params(mapped.machine, options, is_roomy=True)
    made = synthesise(mapped.elaboration.logic, sources_of(mapped.machine), params, mapped.prepared)
    made = replace(made, circuit=_portable(made.circuit, folder))
    return replace(mapped, synthesis=made, warnings=mapped.elaboration.warnings, others=())


def _synth_params(machine: Machine, options: FlowOptions, is_roomy: bool = False) -> SynthParams:
    panel = machine.panel_layout()
    return SynthParams(
        seed=options.seed,
        keep_codes=options.keep_codes,
        pixel_terms=pixel_terms(panel, CROWDED_TERMS if is_roomy else SynthParams.pixel_terms),
        pixel_nets=pixel_nets(panel),
        join=not is_roomy,
    )


def limits_of(machine: Machine, options: FlowOptions) -> tuple[int, int]:
    """Width and height of the largest grid that the target, the options and the floorplan allow.

    Raises InputError M025 where a place or a keep-out of the floorplan lies outside of it.
    """
    width, height = grid_limits(options.target, options.width, options.height)
    floorplan = machine.floorplan
    if floorplan is None:
        return width, height
    width, height = min(width, floorplan.width or width), min(height, floorplan.height or height)
    floorplan.check_limits(width, height)
    return width, height


def place(
    mapped: Mapped, folder: Path, options: FlowOptions, progress: StagedProgress | None = None, stop: Stop | None = None
) -> Placed:
    """Forms nets, places and routes; where need be, those of a roomy circuit. Raises NotPlaced where no plan is found
    within the limits."""
    ways = [mapped]

    def make_roomy() -> CircuitWithNets:
        ways.append(map_roomier(mapped, folder, options, progress))
        return ways[-1].synthesis.with_nets

    found = (mapped.synthesis, *mapped.others)
    circuits = [one.with_nets for one in found]
    laid = place_somehow(circuits, make_roomy, layout_job(mapped.machine, options), progress, stop)
    mapped = ways[-1] if laid.is_roomy else replace(mapped, synthesis=found[laid.case], others=())
    mapped = replace(mapped, warnings=(*mapped.warnings, *laid.warnings))
    return Placed(mapped, laid.circuit, laid.plan, laid.stats, laid.failures)


def layout_job(machine: Machine, options: FlowOptions) -> LayoutJob:
    """What layout has to know of the machine and the options."""
    width, height = limits_of(machine, options)
    weights = options.target.weights(options.style)
    return LayoutJob(
        params=LayoutParams(
            effort=options.effort,
            seed=options.seed,
            max_width=width,
            max_height=height,
            style=options.style,
            weights=weights,
        ),
        target=options.target.name,
        colours=options.target.colour_names,
        panel=machine.panel_layout(),
        floorplan=machine.floorplan,
        near=options.near,
        jobs=options.jobs,
    )


def _portable(circuit: Circuit, folder: Path) -> Circuit:
    return replace(circuit, origin=tuple(_portable_origin(origin, folder) for origin in circuit.origin))


def _portable_origin(origin: Origin, folder: Path) -> Origin:
    if origin.source is None:
        return origin
    path = Path(origin.source.path)
    try:
        told = path.resolve().relative_to(folder.resolve()).as_posix()
    except ValueError:
        told = path.name
    return replace(origin, source=SourceLine(told, origin.source.line))
