"""The order of the stages: load, elaborate, check, synthesise, form nets, place and route, verify.

The only place that knows it. Nothing here prints; a StagedProgress is told what goes on.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf
from pathlib import Path

from hdl2grid.base.errors import DesignFailed, Finding, SourceLine
from hdl2grid.base.failure import Trouble, nearest_miss
from hdl2grid.base.progress import Silent, StagedProgress
from hdl2grid.base.target import STYLES, Target, check_period, grid_limits
from hdl2grid.circuit.match import renamed_nets
from hdl2grid.circuit.model import Circuit, Origin, Source
from hdl2grid.design.floorplan import Floorplan
from hdl2grid.design.machine import Machine, Ticker
from hdl2grid.layout.arrays import is_large
from hdl2grid.layout.assemble import assemble
from hdl2grid.layout.crew import Stop
from hdl2grid.layout.lay_out import LayoutFailed, LayoutParams, LayoutStats, lay_out
from hdl2grid.layout.near_plan import NearLayout, lay_out_near
from hdl2grid.layout.old_plan import joined_nets, read_old
from hdl2grid.layout.panel_exits import FUTILE, find_exits
from hdl2grid.logic.elaborate import Elaboration, elaborate
from hdl2grid.nets.form import CROWDED_TERMS, form_nets, pixel_nets, pixel_terms, spread_toggles
from hdl2grid.nets.lanes import HOPELESS, Narrow, narrowest
from hdl2grid.nets.model import Netlist
from hdl2grid.nets.partition import share_nets
from hdl2grid.panel.model import PanelLayout
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

ALL_SIZES, FIRST_SIZES = (0, LayoutParams.last_size), 2
"""Numbers of the sizes of grids that a machine may be tried on; and on how many of them before another circuit is."""


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
    `troubles` are sizes that failed before."""

    mapped: Mapped
    circuit: Circuit
    plan: Plan
    stats: LayoutStats
    troubles: tuple[Trouble, ...] = ()

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
        return Outcome(mapped, checks, None, None, "synthesised", "", (checked,))
    placed = place_somehow(mapped, folder, options, progress, stop)
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
    return Outcome(placed.mapped, checks, placed, proof, verdict, reason, evidence, findings)


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
    return Mapped(machine, elaboration, found[0], elaboration.warnings, found[1:], prepared)


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


def place_machine(
    mapped: Mapped,
    options: FlowOptions,
    progress: StagedProgress | None = None,
    stop: Stop | None = None,
    sizes: tuple[int, int] = ALL_SIZES,
) -> Placed:
    """Forms nets, places and routes, on the `sizes` from one number to another. Raises DesignFailed where no plan is
    found within the limits."""
    progress = progress or Silent()
    width, height = limits_of(mapped.machine, options)
    panel = mapped.machine.panel_layout()
    progress.stage("form nets")
    cases = [_case(mapped, one, panel, options.near) for one in (mapped.synthesis, *mapped.others)]
    progress.stage("place and route")
    weights = options.target.weights(options.style)
    params = LayoutParams(options.effort, options.seed, width, height, options.style, weights, *sizes)
    near = _near(cases, options, params, progress, stop)
    case = cases[0 if near is None else near.case]
    mapped = replace(mapped, synthesis=case.synthesis, others=())
    try:
        layout = near.layout if near is not None else lay_out(case.netlist, params, progress, stop, options.jobs)
    except LayoutFailed as failed:
        narrow = narrowest(case.netlist)
        raise _not_placed(failed, case.circuit, (width, height), panel, mapped.machine.floorplan, narrow) from None
    names = options.target.colour_names
    fixed = [True] * (near is not None)
    plan = assemble(case.circuit, case.netlist, layout.board, panel, options.target.name, names, *fixed)
    if options.near is not None and near is None:
        mapped = replace(mapped, warnings=(*mapped.warnings, "no plan was found near the old one: this is a new one"))
    return Placed(mapped, case.circuit, plan, layout.stats, _with_hdl_names(layout.troubles, case.circuit))


@dataclass(frozen=True)
class _Case:
    """A circuit of a machine, with the toggles that its nets ask for, and its netlist."""

    synthesis: Synthesis
    circuit: Circuit
    netlist: Netlist


def _case(mapped: Mapped, synthesis: Synthesis, panel: PanelLayout | None, near: Plan | None) -> _Case:
    shared = synthesis.shared
    if shared is None:
        shared = share_nets(synthesis.circuit, pixel_nets(panel), _kept_nets(synthesis.circuit, near))
    circuit = spread_toggles(synthesis.circuit, panel, shared)
    return _Case(synthesis, circuit, form_nets(circuit, panel, mapped.machine.floorplan, shared))


def place_somehow(
    mapped: Mapped, folder: Path, options: FlowOptions, progress: StagedProgress | None = None, stop: Stop | None = None
) -> Placed:
    """As `place_machine`. A machine that finds no plan on the first sizes is mapped again with a roomy circuit, if that
    differs, and is laid so; where that fails too, or does not differ, the first one goes on, unless its panel is far
    too narrow. A large machine whose nets do not fit between the pixels of its panel gets the roomy circuit at once,
    if that helps. Within limits, which more stacks do not make wider, the roomy circuit comes last. Raises DesignFailed
    where none is placed."""
    is_limited = LayoutParams("", 0, *limits_of(mapped.machine, options)).is_limited
    first, rest = (ALL_SIZES, None) if is_limited else ((0, FIRST_SIZES), (FIRST_SIZES, ALL_SIZES[1]))
    failures: list[NotPlaced] = []
    crowded = 0 if is_limited or options.near is not None else _excess(mapped)
    roomy = map_roomier(mapped, folder, options, progress) if crowded else None
    if roomy is None or _excess(roomy) >= crowded:
        try:
            return place_machine(mapped, options, progress, stop, ALL_SIZES if options.near else first)
        except NotPlaced as failed:
            if options.near is not None or failed.is_hopeless:
                raise
            failures.append(failed)
        roomy = roomy or map_roomier(mapped, folder, options, progress)
    cases = [(mapped, rest)] if rest is not None and failures and crowded <= FUTILE else []
    if roomy.circuit != mapped.circuit:
        why = "no plan was found with" if failures else "the panel is too narrow for"
        told = f"{why} {len(mapped.circuit.stacks)} stacks: this one has "
        told += f"{len(roomy.circuit.stacks)}, whose wires need less room"
        cases.insert(0, (replace(roomy, warnings=(*roomy.warnings, told)), ALL_SIZES))
    for case, sizes in cases:
        try:
            return place_machine(case, options, progress, stop, sizes)
        except NotPlaced as failed:
            failures.append(failed)
    raise min(failures, key=lambda one: inf if one.worst is None else one.worst.conflicts or 0)


def _excess(mapped: Mapped) -> int:
    """By how many nets the tiles between the pixels of a large machine's panel are overfull, whatever its layout."""
    netlist = _case(mapped, mapped.synthesis, mapped.machine.panel_layout(), None).netlist
    return find_exits(netlist).excess if is_large(netlist) else 0


class NotPlaced(DesignFailed):
    """P001: no plan within the limits. `troubles` are the sizes that were tried, nets by HDL signals; it is hopeless
    where the panel is too narrow for its nets on any size."""

    def __init__(self, what: str, hint: str, troubles: tuple[Trouble, ...], is_hopeless: bool = False) -> None:
        super().__init__("P001", what, hint=hint)
        self.troubles, self.is_hopeless = troubles, is_hopeless

    @property
    def worst(self) -> Trouble | None:
        """The one that came nearest: what is worth drawing."""
        return nearest_miss(self.troubles)


def _not_placed(
    failed: LayoutFailed,
    circuit: Circuit,
    limits: tuple[int, int],
    panel: PanelLayout | None,
    floorplan: Floorplan | None,
    narrow: Narrow | None,
) -> NotPlaced:
    troubles = _with_hdl_names(failed.troubles, circuit)
    best = nearest_miss(troubles)
    within = f"{limits[0]} x {limits[1]} tiles"
    if floorplan is not None and floorplan.told():
        within += f" and the floorplan ({floorplan.told()})"
    why = best.told() if best is not None else "the cells with their gaps find no places"
    placements = f"{failed.placements} placement{'s' if failed.placements != 1 else ''}"
    what = f"no plan was found within {within} in {placements}. The best try, on {why}"
    if best is None:
        devices = sum(len(stack.toggles) + 1 + (stack.strobe is not None) for stack in circuit.stacks)
        what = f"no plan was found within {within}: {why}; its stacks alone take {devices} tiles"
        if panel is not None and (panel.width > limits[0] or panel.height > limits[1]):
            what = f"no plan can be within {within}: the panel alone is {panel.width} x {panel.height}"
    hint = "Try --effort long or another --seed."
    if narrow is not None and narrow.lacking:
        hint = f"{narrow.told()[0].upper()}{narrow.told()[1:]}."
    if failed.least is not None:
        width, height = failed.least
        hint = (
            f"The least that was reached is {width} x {height} = {width * height:,} tiles. "
            "Allow a larger grid with --width and --height, or try --effort long or another --seed."
        )
    if floorplan is not None:
        hint += " A floorplan that leaves more open helps."
    return NotPlaced(what, hint, troubles, narrow is not None and narrow.share > HOPELESS)


def _with_hdl_names(troubles: tuple[Trouble, ...], circuit: Circuit) -> tuple[Trouble, ...]:
    signal = {stack.name: origin.signal for stack, origin in zip(circuit.stacks, circuit.origin, strict=True)}
    return tuple(trouble.renamed(lambda name: signal.get(name, name)) for trouble in troubles)


def _kept_nets(circuit: Circuit, near: Plan | None) -> tuple[tuple[str, ...], ...]:
    return () if near is None else renamed_nets(joined_nets(near), circuit, circuit_of(near))


def _near(
    cases: Sequence[_Case],
    options: FlowOptions,
    params: LayoutParams,
    progress: StagedProgress,
    stop: Stop | None,
) -> NearLayout | None:
    """A layout near the old plan, where there is one."""
    if options.near is None or not cases[0].netlist.signals:
        return None
    pairs = [(case.netlist, case.circuit) for case in cases]
    return lay_out_near(pairs, read_old(options.near), params, progress, stop)


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
