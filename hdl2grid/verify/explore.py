"""The product of two automata, design and machine, explored breadth first: every reachable pair, every event.

This is the equivalence check of sequential machines by reachability in the product machine (O. Coudert,
C. Berthet, J. C. Madre, Verification of synchronous sequential machines based on symbolic execution, 1989), state
by state instead of symbolically. Breadth first, so that a counterexample is as short as one can be.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from hdl2grid.base.progress import Progress, silent
from hdl2grid.sim.engine import Engine
from hdl2grid.verify.compare_bits import Comparison, Session
from hdl2grid.verify.independent_parts import Part
from hdl2grid.verify.verdict import Counterexample

_TELL_EVERY = 512
"""States between two words on progress. Guessed."""

_PAIRS_A_STATE = 4
"""Most pairs of states kept for each state of the limit; bounds memory. Guessed."""

_SEEN = -1
"""Stands for a pair without a number of its own: all its parts have been visited."""


@dataclass(frozen=True)
class Exploration:
    """`complete`: every pair that can be reached was visited with every event; else the limit was met or
    `counterexample` ended it."""

    states: int
    hdl_states: int
    events: int
    rounds: int
    complete: bool
    counterexample: Counterexample | None


def explore(
    session: Session,
    engine: Engine,
    comparison: Comparison,
    known: frozenset[str],
    limit: int,
    progress: Progress = silent,
    full_state: bool = True,
    parts: Sequence[Part] = (),
) -> Exploration:
    """Explores from the first states of both sides. `known` are the events of the design; any other source of
    the machine must do nothing.

    A pair is new when the design's state (all of it, or with `full_state` false only the registers that
    `session.registers` tells) or the machine's is. Ends at the first difference or lost pulse, or when more than
    `limit` states of the design were found, or more than four times as many pairs.

    With `parts` that know nothing of each other (`hdl2grid.verify.independent_parts`) a pair is new when the state
    of one of them is: then each state of each part was visited with every event, and so no mixture of them can differ.
    """
    return _Search(session, engine, comparison, known, full_state, parts).run(limit, progress)


class _Search:
    def __init__(
        self,
        session: Session,
        engine: Engine,
        comparison: Comparison,
        known: frozenset[str],
        full_state: bool,
        parts: Sequence[Part],
    ) -> None:
        self.session = session
        self.engine = engine
        self.comparison = comparison
        names = engine.network.events
        # Those of the design's own clock last: from a counter's state the walk then goes on without a restore.
        self.events = [(i, name, name in known) for i, name in sorted(enumerate(names), key=self._late)]
        self.key: Callable[[tuple[int, ...]], tuple[int, ...]] = (
            (lambda snapshot: snapshot) if full_state else (lambda _: session.registers())
        )
        self.number: dict[tuple[tuple[int, ...], bytes], int] = {}
        self.pairs: list[tuple[tuple[int, ...], bytes]] = []
        self.came_from: list[tuple[int, int]] = []
        self.hdl_keys: set[tuple[int, ...]] = set()
        self.parts, self.seen = parts, [set[bytes]() for _ in parts]
        self.at = 0
        self.num_events = self.rounds = 0

    def _late(self, item: tuple[int, str]) -> tuple[bool, int]:
        number = item[0]
        return self.engine.network.sources[number].kind == "ticker", number

    def run(self, limit: int, progress: Progress) -> Exploration:
        wrong = self._enter(-1, -1, ())
        current = 0
        while wrong is None and current < len(self.pairs):
            if current % _TELL_EVERY == 0:
                progress("states proved", current)
            for driver, name, in_design in self.events:
                wrong = self._step(current, driver, name, in_design)
                if wrong is not None or self._is_over(limit):
                    return self._result(False, wrong)
            current += 1
        return self._result(wrong is None, wrong)

    def _is_over(self, limit: int) -> bool:
        return len(self.hdl_keys) > limit or len(self.pairs) > _PAIRS_A_STATE * limit

    def _step(self, current: int, driver: int, name: str, in_design: bool) -> Counterexample | None:
        if self.at != current:
            snapshot, state = self.pairs[current]
            self.session.restore(snapshot)
            self.engine.restore(state)
        self.at = -1
        if in_design:
            self.session.apply(name)
        wave = self.engine.fire(driver)
        self.num_events += 1
        self.rounds = max(self.rounds, wave.rounds)
        return self._enter(current, driver, wave.lost)

    def _enter(self, origin: int, driver: int, lost: Sequence[int]) -> Counterexample | None:
        """Takes note of where both sides are now; a counterexample if that is wrong."""
        snapshot, state = self.session.state(), self.engine.state()
        key = self.key(snapshot)
        found = self.number.get((key, state))
        differences = () if found is not None else self.comparison.differences(self.engine.bits(), self.session)
        if lost or differences:
            names = tuple(self.engine.network.stacks[stack].name for stack in lost)
            return Counterexample(self._way(origin, driver), differences, names)
        if found is None and self.parts and not self._is_part_new():
            found = _SEEN
        if found is None:
            found = self.number[key, state] = len(self.pairs)
            self.pairs.append((snapshot, state))
            self.came_from.append((origin, driver))
            self.hdl_keys.add(key)
        self.at = found
        return None

    def _is_part_new(self) -> bool:
        """Whether a part is in a state in which it was not yet; all are taken note of."""
        bits, registers = self.engine.bits(), np.array(self.session.registers(), np.uint8)
        is_new = False
        for part, seen in zip(self.parts, self.seen, strict=True):
            state = bits[part.elements].tobytes() + registers[part.registers].tobytes()
            is_new = is_new or state not in seen
            seen.add(state)
        return is_new

    def _way(self, origin: int, driver: int) -> tuple[str, ...]:
        way = []
        while driver >= 0:
            way.append(self.engine.network.sources[driver].name)
            origin, driver = self.came_from[origin] if origin >= 0 else (-1, -1)
        return tuple(reversed(way))

    def _result(self, complete: bool, wrong: Counterexample | None) -> Exploration:
        return Exploration(
            states=len(self.pairs),
            hdl_states=len(self.hdl_keys),
            events=self.num_events,
            rounds=self.rounds,
            complete=complete,
            counterexample=wrong,
        )
