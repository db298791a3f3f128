"""A plan, circuit or network beside its design, on the compiled engine and Amaranth's simulator."""

from __future__ import annotations

from collections.abc import Iterable

from hdl2grid.circuit.model import Circuit
from hdl2grid.logic.elaborate import Elaboration
from hdl2grid.plan.model import Plan
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.pulse_network import Network
from hdl2grid.verify.compare_bits import Comparison, hdl_events, network_of
from hdl2grid.verify.hdl import run_hdl
from hdl2grid.verify.lockstep import play_both
from hdl2grid.verify.verdict import LockStep
from hdl2grid.verify.walk import random_events


def lock_step(
    machine: Plan | Circuit | Network,
    elaboration: Elaboration,
    events: Iterable[str] | None = None,
    count: int = 500,
    seed: int = 1,
) -> LockStep:
    """Plays `events` (else `count` random ones) on both, from their first states.

    Ends at the first difference or lost pulse, with a list of events made as short as it can. Raises InputError
    V001 on an event that the machine does not have.
    """
    network = network_of(machine)
    comparison = Comparison(network, elaboration.logic, machine if isinstance(machine, Plan) else None)
    chosen = random_events(network.sources, count, seed) if events is None else events
    return run_hdl(
        elaboration,
        lambda session: play_both(session, CompiledEngine(network), comparison, hdl_events(elaboration.logic), chosen),
    )
