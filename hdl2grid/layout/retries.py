"""From circuits to a plan: which circuit of a machine is laid out, on which sizes, and what is done where it fails."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from math import inf

from hdl2grid.base.failure_report import FailureReport
from hdl2grid.base.progress import Silent, StagedProgress
from hdl2grid.circuit.match import renamed_nets
from hdl2grid.circuit.model import Circuit
from hdl2grid.design.floorplan import Floorplan
from hdl2grid.layout.assemble import assemble
from hdl2grid.layout.crew import Stop
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.lay_out import Layout, LayoutFailed, LayoutStats, lay_out
from hdl2grid.layout.near_plan import NearLayout, lay_out_near
from hdl2grid.layout.not_placed import NotPlaced, not_placed, with_hdl_names
from hdl2grid.layout.old_plan import joined_nets, read_old
from hdl2grid.layout.regime import FUTILE, Regime, regime_of
from hdl2grid.nets.form import form_nets, pixel_nets, spread_toggles
from hdl2grid.nets.model import Netlist
from hdl2grid.nets.partition import CircuitWithNets, share_nets
from hdl2grid.panel.model import PanelLayout
from hdl2grid.plan.model import Plan
from hdl2grid.plan.read_circuit import circuit_of

FIRST_SIZES = 2
"""Sizes of grids that a circuit is tried on before another circuit of the machine is. Guessed: `calendar_50_1` fails on
all nine sizes, and its roomy circuit has a plan on the first."""


@dataclass(frozen=True)
class LayoutJob:
    """What is asked of layout beside the circuit. `params` has the limits of the grid; the plan is for the game
    `target` with these `colours`. `near` is an old plan, of which as much as can be is kept where it is. `jobs`
    processes search. `regime_of` and `lay_out` are how: other ones are for tests and for ablations."""

    params: LayoutParams
    target: str
    colours: tuple[str, ...]
    panel: PanelLayout | None = None
    floorplan: Floorplan | None = None
    near: Plan | None = None
    jobs: int = 1
    regime_of: Callable[[Netlist, str], Regime] = regime_of
    lay_out: Callable[..., Layout] = lay_out


@dataclass(frozen=True)
class _Case:
    """A circuit with the idle toggles that its nets ask for, its netlist, and how that is laid out."""

    circuit: Circuit
    netlist: Netlist
    regime: Regime


@dataclass(frozen=True)
class Laid:
    """A plan of circuit number `case` of those handed in, or of the roomy one where `is_roomy`. `circuit` has the idle
    toggles that its nets asked for; `failures` are sizes that failed before."""

    case: int
    circuit: Circuit
    plan: Plan
    stats: LayoutStats
    failures: tuple[FailureReport, ...]
    warnings: tuple[str, ...] = ()
    is_roomy: bool = False


def place_somehow(
    circuits: Sequence[CircuitWithNets],
    make_roomy: Callable[[], CircuitWithNets],
    job: LayoutJob,
    progress: StagedProgress | None = None,
    stop: Stop | None = None,
) -> Laid:
    """A plan of one of a machine's circuits, or of its roomy one, which is made only if it is wanted: it has more
    stacks, whose wires need less room.

    Near an old plan the layout decides which of the circuits it is. Otherwise there is one. If it finds no plan on the
    first sizes, the roomy circuit is laid, if it differs; where that fails too, or does not differ, the first one goes
    on, unless its panel is far too narrow. A large machine whose nets do not fit between the pixels of its panel gets
    the roomy circuit at once, if that helps. Within limits, which more stacks do not make wider, the roomy circuit
    comes last.

    Raises NotPlaced where none is placed, KeyboardInterrupt where it was stopped before.
    """
    if job.near is not None:
        return place_circuits(circuits, job, progress, stop)
    progress = progress or Silent()
    case, is_limited, sizes = _case(circuits[0], job, progress), job.params.is_limited, LayoutParams.last_size
    failures: list[NotPlaced] = []
    excess = 0 if is_limited else case.regime.excess
    roomy = _case(make_roomy(), job, progress) if excess else None
    if roomy is None or roomy.regime.excess >= excess:
        try:
            return _place([case], job, progress, stop, 0, sizes if is_limited else FIRST_SIZES)
        except NotPlaced as failed:
            if failed.is_hopeless:
                raise
            failures.append(failed)
        roomy = roomy or _case(make_roomy(), job, progress)
    goes_on = bool(failures) and not is_limited and excess <= FUTILE
    if roomy.circuit != case.circuit:
        why = "no plan was found with" if failures else "the panel is too narrow for"
        told = f"{why} {len(case.circuit.stacks)} stacks: this one has "
        told += f"{len(roomy.circuit.stacks)}, whose wires need less room"
        try:
            laid = _place([roomy], job, progress, stop)
            return replace(laid, warnings=(told, *laid.warnings), is_roomy=True)
        except NotPlaced as failed:
            failures.append(failed)
    if goes_on:
        try:
            return _place([case], job, progress, stop, FIRST_SIZES, sizes)
        except NotPlaced as failed:
            failures.append(failed)
    raise min(failures, key=lambda one: inf if one.worst is None else one.worst.conflicts or 0)


def place_circuits(
    circuits: Sequence[CircuitWithNets],
    job: LayoutJob,
    progress: StagedProgress | None = None,
    stop: Stop | None = None,
) -> Laid:
    """Forms the nets of circuits, places and routes one: the first, or near an old plan that which changes least.
    Raises NotPlaced where no plan is found within the limits."""
    progress = progress or Silent()
    return _place([_case(circuit, job, progress) for circuit in circuits], job, progress, stop)


def _place(
    cases: Sequence[_Case],
    job: LayoutJob,
    progress: StagedProgress,
    stop: Stop | None,
    first_size: int = 0,
    last_size: int = LayoutParams.last_size,
) -> Laid:
    """As `place_circuits`, on the sizes of grids from number `first_size` to before `last_size`."""
    progress.stage("place and route")
    params = replace(job.params, first_size=first_size, last_size=last_size)
    near = _near(cases, job, params, progress, stop)
    number = 0 if near is None else near.case
    circuit, netlist = cases[number].circuit, cases[number].netlist
    try:
        if near is not None:
            layout = near.layout
        else:
            layout = job.lay_out(netlist, params, progress, stop, job.jobs, cases[number].regime)
    except LayoutFailed as failed:
        limits = params.max_width, params.max_height
        raise not_placed(failed, circuit, netlist, limits, job.panel, job.floorplan) from None
    plan = assemble(circuit, netlist, layout.board, job.panel, job.target, job.colours, near is not None)
    lost = job.near is not None and near is None
    warnings = ("no plan was found near the old one: this is a new one",) * lost
    return Laid(
        case=number,
        circuit=circuit,
        plan=plan,
        stats=layout.stats,
        failures=with_hdl_names(layout.failures, circuit),
        warnings=warnings,
    )


def _case(made: CircuitWithNets, job: LayoutJob, progress: StagedProgress) -> _Case:
    """Forms the nets of a circuit. Near an old plan drivers are on nets as there."""
    progress.stage("form nets")
    shared = made.shared
    if shared is None:
        kept = () if job.near is None else renamed_nets(joined_nets(job.near), made.circuit, circuit_of(job.near))
        shared = share_nets(made.circuit, pixel_nets(job.panel), kept)
    circuit = spread_toggles(made.circuit, job.panel, shared)
    netlist = form_nets(circuit, job.panel, job.floorplan, shared)
    return _Case(circuit, netlist, job.regime_of(netlist, job.params.style))


def _near(
    cases: Sequence[_Case], job: LayoutJob, params: LayoutParams, progress: StagedProgress, stop: Stop | None
) -> NearLayout | None:
    """A layout near the old plan, where there is one."""
    if job.near is None or not cases[0].netlist.signals:
        return None
    pairs = [(case.netlist, case.circuit) for case in cases]
    return lay_out_near(pairs, read_old(job.near), params, progress, stop)
