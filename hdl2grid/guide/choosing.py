"""Which presses and looks make up the functional check. Each is chosen by the mistakes that it would still show.

A *transition* is a state that the machine reaches in its own course, and the event that leaves it there. Registers
are flipped by hand to get to such a state, so that the carry at the end of an hour needs a dozen presses and not
thousands. Each choice takes what shows most of the mistakes left for its cost (greedy set cover: V. Chvatal, A
greedy heuristic for the set-covering problem, Mathematics of Operations Research 4, 1979).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from hdl2grid.guide.bench import Bench, Fault
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.engine import pack

MAX_COURSE = 100_000
"""Most events of the course that is searched for transitions. Guessed."""

MAX_KINDS = 100
"""Most kinds of transition, each: of the machine's own course, of other sources on it, of a mixed walk. Guessed."""

MAX_CHECKS = 40
"""Most looks of a functional check. Guessed."""

WALKS = (1, 2, 3, 5, 7, 10, 20, 40, 60, 61)
"""How often the main event may be repeated before a look. Guessed."""

LONG_WALK = 10
"""A longer walk is taken only where no bridge is better. Guessed."""

MAX_BRIDGED = 8
"""Most transitions that are tried by way of another one. Guessed."""

MIXED = 400
"""Steps of the walk that mixes the machine's own course with its other sources. Guessed."""

_Bits = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Check:
    """One look of the functional check: press these drivers so often, in order, then look. `caught` are the
    faults that show here first, with the pixels that they would show; `toggles` are the elements that are looked
    at beside the panel."""

    presses: tuple[tuple[int, int], ...]
    pixels: tuple[int, ...]
    caught: tuple[tuple[Fault, tuple[int, ...]], ...] = ()
    toggles: tuple[int, ...] = ()


@dataclass
class _Suspect:
    """A fault that nothing has shown so far, in its own machine."""

    fault: Fault
    engine: CompiledEngine


@dataclass
class Chooser:
    """The state of the choice: the right machine and all suspects play along with every press."""

    bench: Bench
    right: CompiledEngine
    suspects: list[_Suspect]
    checks: list[Check] = field(default_factory=list)
    with_toggles: bool = False
    """Whether toggles are looked at too: a person sees them, but not at a glance."""

    @property
    def pixels(self) -> slice:
        return slice(self.bench.network.first_pixel, self.bench.network.first_probe)

    @property
    def watched(self) -> slice:
        return slice(0 if self.with_toggles else self.pixels.start, self.pixels.stop)

    def press(self, presses: Sequence[tuple[int, int]]) -> None:
        """Presses in every machine, looks, and lets go of the suspects that show."""
        drivers = np.array([d for d, times in presses for _ in range(times)], dtype=np.int64)
        self.right.play(drivers)
        shown = self.right.bits()
        left, caught, hidden = [], [], []
        for suspect in self.suspects:
            suspect.engine.play(drivers)
            bits = suspect.engine.bits()
            differs = np.flatnonzero(bits[self.watched] != shown[self.watched]) + self.watched.start
            if not len(differs):
                left.append(suspect)
                continue
            caught.append((suspect.fault, tuple(bits[self.pixels].tolist())))
            if differs[-1] < self.pixels.start:
                hidden.append(set(differs.tolist()))
        self.suspects = left
        pixels = tuple(shown[self.pixels].tolist())
        self.checks.append(Check(tuple(presses), pixels, tuple(caught), tuple(_hitting(hidden))))


def choose_checks(bench: Bench, faults: Sequence[Fault]) -> list[Check]:
    """The functional check: from the first state on, looks that together show as many of `faults` as the panel
    can. Presses that lose a pulse in the right machine are never chosen."""
    if not bench.sources or not bench.network.pixels:
        return []
    chooser = Chooser(bench, bench.engine(), [_Suspect(f, bench.engine(f)) for f in faults])
    transitions = _transitions(bench)
    for with_toggles in (False, True):
        chooser.with_toggles = with_toggles
        shows = _shows(chooser, transitions)
        row = {id(s.fault): i for i, s in enumerate(chooser.suspects)}
        while chooser.suspects and len(chooser.checks) < MAX_CHECKS:
            left = np.array([row[id(s.fault)] for s in chooser.suspects])
            walk = _best_walk(chooser)
            jump = _best_jump(chooser, transitions, shows[left])
            best = max(walk, jump, key=lambda option: option[0])
            if best[0] <= 0 or (best is walk and sum(times for _, times in walk[1][0]) > LONG_WALK):
                bridge = _best_bridge(chooser, transitions, shows[left])
                best = max(best, bridge, key=lambda option: option[0])
            if best[0] <= 0:
                break
            for presses in best[1]:
                if presses:
                    chooser.press(presses)
    return chooser.checks


def _hitting(sets: list[set[int]]) -> list[int]:
    """A few numbers of which every set holds at least one, ascending; greedy."""
    chosen: list[int] = []
    while sets:
        counts: dict[int, int] = {}
        for one in sets:
            for number in one:
                counts[number] = counts.get(number, 0) + 1
        best = min(counts, key=lambda n: (-counts[n], n))
        chosen.append(best)
        sets = [one for one in sets if best not in one]
    return sorted(chosen)


_Option = tuple[float, list[list[tuple[int, int]]]]


def _best_walk(chooser: Chooser) -> _Option:
    """The machine's own events from here: the main one several times, each other one once."""
    best: _Option = (0.0, [])
    options = [(driver, times) for driver in [chooser.bench.sources[0][1]] for times in WALKS]
    options += [(driver, 1) for _, driver in chooser.bench.sources[1:]]
    watch = list(range(chooser.watched.start, chooser.watched.stop))
    for driver in dict.fromkeys(driver for driver, _ in options):
        longest = max(times for d, times in options if d == driver)
        drivers = np.full(longest, driver, dtype=np.int64)
        shown = _tried(chooser.right, drivers, watch)
        gains = np.zeros(longest, dtype=np.int64)
        for suspect in chooser.suspects:
            gains += (_tried(suspect.engine, drivers, watch) != shown).any(axis=1)
        for times in (t for d, t in options if d == driver):
            score = float(gains[times - 1]) / (1 + 0.1 * times)
            if score > best[0]:
                best = (score, [[(driver, times)]])
    return best


def _tried(engine: CompiledEngine, drivers: npt.NDArray[np.int64], watch: Sequence[int]) -> _Bits:
    """What `watch` shows after each event, from the engine's state on, which is kept."""
    state = engine.state()
    watched = engine.play(drivers, watch).watched
    engine.restore(state)
    return watched


def _best_jump(chooser: Chooser, transitions: Sequence[Transition], shows: npt.NDArray[np.bool_]) -> _Option:
    """Registers flipped by hand into the state before a transition, then its event."""
    best: _Option = (0.0, [])
    now = chooser.right.bits()
    gains = shows.sum(axis=0)
    for number in np.argsort(-gains, kind="stable").tolist():
        gain = int(gains[number])
        if gain == 0 or gain / 1.5 <= best[0]:
            break
        transition = transitions[number]
        flips = _flips(chooser.bench, now, transition.bits)
        if flips is None:
            continue
        score = gain / (1.5 + 0.4 * len(flips))
        if score > best[0] and _is_reached(chooser, flips, transition.bits):
            event = [(transition.driver, 1)]
            best = (score, [[(d, 1) for d in flips], event] if flips else [event])
    return best


def _best_bridge(chooser: Chooser, transitions: Sequence[Transition], shows: npt.NDArray[np.bool_]) -> _Option:
    """As a jump, over another transition: for registers that have no place for a button, which only the machine's
    own course can set."""
    gains = shows.sum(axis=0)
    for number in np.argsort(-gains, kind="stable").tolist()[:MAX_BRIDGED]:
        if gains[number] == 0:
            break
        target = transitions[number]
        for via in transitions:
            way = _bridge(chooser, via, target)
            if way is not None:
                presses = sum(len(part) for part in way)
                event = [(target.driver, 1)]
                return float(gains[number]) / (2.5 + 0.4 * presses), [*([(d, 1) for d in part] for part in way), event]
    return 0.0, []


def _bridge(chooser: Chooser, via: Transition, target: Transition) -> list[list[int]] | None:
    """Flips into a transition, its event, and flips into the target's state; None where that does not lead there."""
    first = _flips(chooser.bench, chooser.right.bits(), via.bits)
    if first is None:
        return None
    engine, end = chooser.right, chooser.bench.network.first_probe
    state = engine.state()
    lost = sum(len(engine.fire(driver).lost) for driver in first)
    reached = (engine.bits()[:end] == via.bits[:end]).all()
    lost += len(engine.fire(via.driver).lost)
    second = _flips(chooser.bench, engine.bits(), target.bits) if reached else None
    for driver in second or ():
        lost += len(engine.fire(driver).lost)
    arrived = (engine.bits()[:end] == target.bits[:end]).all()
    engine.restore(state)
    if second is None or lost or not arrived:
        return None
    return [first, [via.driver], second]


def _flips(bench: Bench, now: _Bits, wanted: _Bits) -> list[int] | None:
    """The presses that bring all registers and switches from one state to another; None where a register has no
    buttons."""
    presses: list[int] = []
    network = bench.network
    for name, driver in bench.sources:
        element = network.first_source + driver
        if network.sources[driver].kind == "switch" and now[element] != wanted[element]:
            presses.append(network.event(name))
    for number, group in enumerate(bench.groups):
        level = next((e for n in group.nets if (e := bench.level_element(n)) is not None), None)
        if level is None:
            return None
        if now[level] != wanted[level]:
            presses += bench.presses(number)
    return presses


def _is_reached(chooser: Chooser, presses: Sequence[int], wanted: _Bits) -> bool:
    """Whether the presses lose nothing and bring all toggles, pixels and switches to where they should be."""
    engine = chooser.right
    state = engine.state()
    lost = sum(len(engine.fire(driver).lost) for driver in presses)
    bits = engine.bits()
    engine.restore(state)
    network = chooser.bench.network
    same = (bits[: network.first_probe] == wanted[: network.first_probe]).all()
    return bool(same) and not lost


@dataclass(frozen=True)
class Transition:
    """A state of the machine's own course, all bits of it, and the event that comes next."""

    bits: _Bits
    driver: int


def _transitions(bench: Bench) -> list[Transition]:
    """One of each kind of transition: those that flip the same elements are of one kind, the rarest first."""
    engine = bench.engine()
    everything = list(range(bench.network.first_strobe))
    rows: list[_Bits] = [engine.bits()[None, :]]
    main = bench.sources[0][1]
    length = 1024
    while sum(len(r) for r in rows) <= MAX_COURSE:
        tally = engine.play(np.full(length, main, dtype=np.int64), everything)
        rows.append(tally.watched)
        if tally.lost or (tally.watched == rows[0]).all(axis=1).any():
            break
        length = min(4 * length, MAX_COURSE)
    course = np.concatenate(rows)
    found = _kinds(course, main)[:MAX_KINDS]
    others = [driver for _, driver in bench.sources[1:]]
    found += [Transition(t.bits, driver) for driver in others for t in found[: MAX_KINDS // len(others)]]
    if others:
        found += _mixed(bench, everything)[:MAX_KINDS]
    return found


def _kinds(course: _Bits, driver: int) -> list[Transition]:
    changes = np.packbits(course[1:] ^ course[:-1], axis=1)
    _, first, counts = np.unique(changes, axis=0, return_index=True, return_counts=True)
    order = sorted(zip(counts.tolist(), first.tolist(), strict=True))
    return [Transition(course[at].copy(), driver) for _, at in order]


def _mixed(bench: Bench, everything: list[int]) -> list[Transition]:
    """Transitions of all sources in turn: a fixed walk by a small generator (the multiplier of MINSTD: S. K. Park,
    K. W. Miller, Communications of the ACM 31, 1988)."""
    engine = bench.engine()
    drivers = [driver for _, driver in bench.sources]
    state = 1
    events = []
    for _ in range(MIXED):
        state = state * 48271 % 2147483647
        events.append(drivers[state % len(drivers)])
    watched = engine.play(np.array(events, dtype=np.int64), everything).watched
    course = np.concatenate([bench.engine().bits()[None, :], watched])
    found: dict[tuple[int, bytes], Transition] = {}
    for i, driver in enumerate(events):
        key = (driver, (course[i] ^ course[i + 1]).tobytes())
        found.setdefault(key, Transition(course[i].copy(), driver))
    return list(found.values())


def _shows(chooser: Chooser, transitions: Sequence[Transition]) -> Any:
    """suspects x transitions: whether a fault would show after that transition alone."""
    bench, suspects, pixels = chooser.bench, chooser.suspects, chooser.watched
    shows = np.zeros((len(suspects), len(transitions)), dtype=np.bool_)
    states = [pack(t.bits, None) for t in transitions]
    wanted = []
    engine = bench.engine()
    for transition, state in zip(transitions, states, strict=True):
        engine.restore(state)
        engine.fire(transition.driver)
        wanted.append(engine.bits()[pixels])
    for i, suspect in enumerate(suspects):
        keep = suspect.engine.state()
        for j, (transition, state) in enumerate(zip(transitions, states, strict=True)):
            suspect.engine.restore(state)
            suspect.engine.fire(transition.driver)
            shows[i, j] = (suspect.engine.bits()[pixels] != wanted[j]).any()
        suspect.engine.restore(keep)
    return shows
