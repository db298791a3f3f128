"""The states of a small machine: every one that events can lead to, and which event leads where.

A state is told by the words of the design's registers where the plan can read them, else by what the panel shows.
States that show the same and lead to the same are one (J. E. Hopcroft, An n log n algorithm for minimizing states
in a finite automaton, 1971; here by simple refinement). A switch that only sets a condition is no part of a state:
its position stands at the arrows.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from hdl2grid.base.errors import InputError
from hdl2grid.sim.named_words import words
from hdl2grid.sim.pulse_network import Network
from hdl2grid.sim.waves import PlainEngine

_MANY, _FEW = 8, 6
"""In a diagram of _MANY states or more, an event that leads to at most one in _FEW of them is told, not drawn.
Guessed."""

_LAMPS = 3
"""With at least so many single bits, only those that are 1 are named. Guessed."""

MAX_STATES = 64
"""Largest diagram, in states. Guessed: more do not fit on a page."""

MAX_RAW_STATES = 8192
"""Most states of the machine that are visited before equal ones are joined. Guessed."""

Positions = tuple[int, ...]
"""Where each switch stands."""


@dataclass(frozen=True)
class StateSpace:
    """`labels[s]` is what is written in state `s`; 0 is the first. `arrows` are (from, to, words), without those
    that lead back to where they start; `everywhere` are events that are told and not drawn: (event,
    to, from which states), with no states named where it leads there from all."""

    labels: tuple[str, ...]
    arrows: tuple[tuple[int, int, str], ...]
    everywhere: tuple[tuple[str, int, tuple[int, ...]], ...]


@dataclass(frozen=True)
class _Raw:
    """A state of the machine: what it shows, its switches' positions, and where each event leads."""

    label: str
    positions: Positions
    following: tuple[int, ...]


def state_space(network: Network, max_states: int = MAX_STATES) -> StateSpace:
    """The states that events lead to; tickers run all the time.

    Raises InputError (W004) when there are more than `max_states`, or when the machine emits by chance or has
    delays, whose state is not in its devices alone.
    """
    if network.is_random or network.delays:
        what = "a machine with random stacks or delays has no state diagram"
        raise InputError("W004", what, where=network.name)
    raw = _explore(network, max_states)
    node = _without_switches(raw, network) or _merge(raw, [(one.label, one.positions) for one in raw])
    kept = list(dict.fromkeys(node))
    if len(kept) > max_states:
        raise _too_many(network, max_states)
    number = {block: i for i, block in enumerate(kept)}
    nodes = [number[block] for block in node]
    labels = [raw[node.index(block)].label for block in kept]
    return _space(network, raw, nodes, labels)


def _too_many(network: Network, limit: int) -> InputError:
    what = f"the machine has more than {limit} states; its diagram would be a tangle"
    return InputError("W004", what, where=network.name)


def _explore(network: Network, max_states: int) -> list[_Raw]:
    engine = PlainEngine(network)
    teller = _Teller(network)
    first = engine.state()
    number = {first: 0}
    queue = [first]
    found = []
    labels = set()
    limit = min(MAX_RAW_STATES, 64 * max_states)
    for state in queue:
        engine.restore(state)
        label, positions = teller.label(engine), teller.positions(engine)
        labels.add(label)
        if len(labels) > max_states:  # states that are told differently are never one
            raise _too_many(network, max_states)
        leads = []
        for event in range(len(network.sources)):
            engine.restore(state)
            engine.fire(event)
            after = engine.state()
            if after not in number:
                if len(number) >= limit:
                    raise _too_many(network, max_states)
                number[after] = len(queue)
                queue.append(after)
            leads.append(number[after])
        found.append(_Raw(label, positions, tuple(leads)))
    return found


def _merge(raw: list[_Raw], shown: list[tuple[str, Positions]]) -> list[int]:
    """The block of each state: states that show the same, now and after any events, share one."""
    block = [shown.index(what) for what in shown]
    while True:
        keys = [(block[i], *(block[to] for to in one.following)) for i, one in enumerate(raw)]
        first: dict[tuple[int, ...], int] = {}
        refined = [first.setdefault(key, i) for i, key in enumerate(keys)]
        if len(set(refined)) == len(set(block)):
            return refined
        block = refined


def _without_switches(raw: list[_Raw], network: Network) -> list[int] | None:
    """Blocks in which states that differ by their switches only are one; None where that would hide something."""
    block = _merge(raw, [(one.label, one.positions) for one in raw])
    labels = [one.label for one in raw]
    by_label = [labels.index(label) for label in labels]
    inside: dict[tuple[int, Positions], int] = {}
    for i, one in enumerate(raw):
        if inside.setdefault((by_label[i], one.positions), block[i]) != block[i]:
            return None
    for event, source in enumerate(network.sources):
        if source.kind == "switch" and any(by_label[one.following[event]] != by_label[i] for i, one in enumerate(raw)):
            return None
    return by_label


class _Teller:
    """Tells a state: the registers' words where probes read any that no pixel shows, else the panel's."""

    def __init__(self, network: Network) -> None:
        pixels = [pixel.signal for pixel in network.pixels]
        probes = [probe.signal for probe in network.probes]
        own = [i for i, signal in enumerate(probes) if signal not in pixels]
        self._names = [probes[i] for i in own] if own else pixels
        first = network.first_probe if own else network.first_pixel
        self._elements = [first + i for i in (own or range(len(pixels)))]
        self._words = words(self._names)
        self._switches = [
            network.first_source + i for i, source in enumerate(network.sources) if source.kind == "switch"
        ]

    def label(self, engine: PlainEngine) -> str:
        bits = engine.bits()
        level = {name: int(bits[element]) for name, element in zip(self._names, self._elements, strict=True)}
        values = ((word, sum(level[name] << i for i, name in enumerate(names))) for word, names in self._words.items())
        bare = {word for word, names in self._words.items() if len(names) == 1}
        if len(bare) < _LAMPS:
            bare = set()
        told = [word if word in bare else f"{word}={value}" for word, value in values if value or word not in bare]
        return " ".join(told) or ("all 0" if bare else "no output")

    def positions(self, engine: PlainEngine) -> Positions:
        bits = engine.bits()
        return tuple(int(bits[element]) for element in self._switches)


def _space(network: Network, raw: list[_Raw], node: list[int], labels: list[str]) -> StateSpace:
    names = [source.name for source in network.sources if source.kind == "switch"]
    leads: dict[tuple[int, int], dict[int, set[Positions]]] = {}
    positions: dict[int, set[Positions]] = {}
    for i, one in enumerate(raw):
        positions.setdefault(node[i], set()).add(one.positions)
        for event, to in enumerate(one.following):
            leads.setdefault((node[i], event), {}).setdefault(node[to], set()).add(one.positions)
    everywhere: list[tuple[str, int, tuple[int, ...]]] = []
    told: dict[tuple[int, int], list[str]] = {}
    for event, source in enumerate(network.sources):
        targets = {to for s in range(len(labels)) for to in leads[s, event]}
        if len(targets) == 1 and len(labels) > 2:
            everywhere.append((source.name, targets.pop(), ()))
            continue
        if (
            len(labels) >= _MANY
            and _FEW * len(targets) <= len(labels)
            and all(len(leads[s, event]) == 1 for s in range(len(labels)))
        ):
            for to in sorted(targets):
                sources = tuple(s for s in range(len(labels)) if to in leads[s, event])
                everywhere.append((source.name, to, sources))
            continue
        for state in range(len(labels)):
            for to, when in sorted(leads[state, event].items()):
                if to != state:
                    condition = _condition(when, positions[state], names)
                    told.setdefault((state, to), []).append(source.name + (f", {condition}" if condition else ""))
    arrows = tuple((a, b, "; ".join(what)) for (a, b), what in sorted(told.items()))
    return StateSpace(tuple(labels), arrows, tuple(everywhere))


def _condition(when: set[Positions], possible: set[Positions], names: list[str]) -> str:
    """Where the switches stand when this happens: "" for anywhere."""
    if when == possible:
        return ""
    rows = sorted(when)
    fixed = [i for i in range(len(names)) if all(a[i] == b[i] for a, b in pairwise(rows))]
    if {p for p in possible if all(p[i] == rows[0][i] for i in fixed)} == when:
        return " ".join(f"{names[i]} {'on' if rows[0][i] else 'off'}" for i in fixed)
    return " or ".join(
        " ".join(f"{name} {'on' if bit else 'off'}" for name, bit in zip(names, row, strict=True)) for row in rows
    )
