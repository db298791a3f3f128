"""Lock-step: machine and design side by side, every register and output bit compared after each event."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from hdl2grid.base.progress import Progress, silent
from hdl2grid.circuit.model import Circuit
from hdl2grid.logic.elaborate import Elaboration
from hdl2grid.plan.model import Plan
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.engine import Engine
from hdl2grid.sim.pulse_network import Network
from hdl2grid.verify.compare_bits import Comparison, Session, hdl_events, network_of
from hdl2grid.verify.hdl import run_hdl
from hdl2grid.verify.verdict import Counterexample, LockStep
from hdl2grid.verify.walk import random_events, shorten

_TELL_EVERY = 1024
"""Events between two words on progress. Guessed."""


def lock_step(
    machine: Plan | Circuit | Network,
    elaboration: Elaboration,
    events: Iterable[str] | None = None,
    count: int = 500,
    seed: int = 1,
    progress: Progress = silent,
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
        lambda session: play_both(
            session, CompiledEngine(network), comparison, hdl_events(elaboration.logic), chosen, progress
        ),
    )


def play_both(
    session: Session,
    engine: Engine,
    comparison: Comparison,
    known: frozenset[str],
    events: Iterable[str],
    progress: Progress = silent,
) -> LockStep:
    """Like `lock_step`, between a session and an engine that are both in their first states."""
    first = session.state(), engine.state()
    played: list[str] = []
    rounds = 0
    differences = comparison.differences(engine.bits(), session)
    if differences:
        return LockStep(0, 0, Counterexample((), differences, ()))
    for name in events:
        if len(played) % _TELL_EVERY == 0:
            progress("events in lock-step", len(played))
        played.append(name)
        wrong, wave_rounds = _both(session, engine, comparison, known, name)
        rounds = max(rounds, wave_rounds)
        if wrong is not None:
            return LockStep(len(played), rounds, _shortest(session, engine, comparison, known, first, played))
    return LockStep(len(played), rounds, None)


def _both(
    session: Session, engine: Engine, comparison: Comparison, known: frozenset[str], name: str
) -> tuple[Counterexample | None, int]:
    wave = engine.fire(engine.network.event(name))
    if name in known:
        session.apply(name)
    differences = comparison.differences(engine.bits(), session)
    if not differences and not wave.lost:
        return None, wave.rounds
    lost = tuple(engine.network.stacks[stack].name for stack in wave.lost)
    return Counterexample((name,), differences, lost), wave.rounds


def _shortest(
    session: Session,
    engine: Engine,
    comparison: Comparison,
    known: frozenset[str],
    first: tuple[tuple[int, ...], bytes],
    played: Sequence[str],
) -> Counterexample:
    def first_wrong(events: Sequence[str]) -> Counterexample | None:
        session.restore(first[0])
        engine.restore(first[1])
        for i, name in enumerate(events):
            wrong, _ = _both(session, engine, comparison, known, name)
            if wrong is not None:
                return Counterexample(tuple(events[: i + 1]), wrong.differences, wrong.lost)
        return None

    kept = shorten(played, lambda events: first_wrong(events) is not None)
    wrong = first_wrong(kept)
    assert wrong is not None
    return wrong
