"""Lock-step: machine and design side by side, every register and output bit compared after each event."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from hdl2grid.base.progress import Progress, silent
from hdl2grid.sim.engine import Engine
from hdl2grid.verify.compare_bits import Comparison, Session
from hdl2grid.verify.verdict import Counterexample, LockStep
from hdl2grid.verify.walk import shorten

_TELL_EVERY = 1024
"""Events between two words on progress. Guessed."""


def play_both(
    session: Session,
    engine: Engine,
    comparison: Comparison,
    known: frozenset[str],
    events: Iterable[str],
    progress: Progress = silent,
) -> LockStep:
    """Plays `events` on a session and an engine that are both in their first states.

    Ends at the first difference or lost pulse, with a list of events made as short as it can.
    """
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
