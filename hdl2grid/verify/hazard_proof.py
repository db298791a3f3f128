"""Hazards by proof: can a stack that several rounds reach ever have to emit twice in a wave?

One wave of one event is unrolled round by round into clauses, over every level that sources, delays and strobed
stacks can have between waves (bounded model checking of a single step: A. Biere et al., Symbolic model checking
without BDDs, TACAS 1999). Between waves a plain stack remembers what its toggles say, as long as no pulse was lost
before: so 'unsatisfiable' for every stack proves, by induction over waves, that none is ever lost. A solution is
a counterexample, from a state that the machine may or may not reach. Synthesis shares nothing with it but
`GateClauses`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import networkx as nx
from pysat.solvers import Cadical153

from hdl2grid.base.gate_clauses import GateClauses
from hdl2grid.circuit.model import Circuit
from hdl2grid.plan.model import Plan
from hdl2grid.sim.pulse_network import Network
from hdl2grid.verify.compare_bits import network_of
from hdl2grid.verify.hazards import find_hazards


@dataclass(frozen=True)
class HazardVerdict:
    """Whether `stack` can lose a pulse in a wave of `event`.

    `odd` is None when it cannot; else the sources and strobed stacks that must have emitted an odd number of times
    before the wave, in ascending order, for the pulse to be lost.
    """

    event: str
    stack: str
    odd: tuple[str, ...] | None

    @property
    def is_safe(self) -> bool:
        return self.odd is None


def prove_hazards(machine: Plan | Circuit | Network) -> tuple[HazardVerdict, ...]:
    """One verdict for every pair of event and stack that `find_hazards` cannot clear by structure.

    Raises ValueError when plain stacks form a loop: then a wave has no last round.
    """
    network = network_of(machine)
    report = find_hazards(network)
    if report.loops:
        raise ValueError(f"plain stacks form a loop: {', '.join(report.loops)}")
    doubtful: dict[str, list[str]] = {}
    for suspect in report.suspects:
        if suspect.kind != "data before its strobe":
            doubtful.setdefault(suspect.event, []).append(suspect.stack)
    found: list[HazardVerdict] = []
    for event, names in doubtful.items():
        with _Wave(network) as wave:
            found.extend(wave.verdicts(event, names))
    return tuple(found)


class _Wave:
    """The machine between waves, and one wave of it."""

    def __init__(self, network: Network) -> None:
        self.network = network
        self.clauses = GateClauses(Cadical153())
        self.first_stack = len(network.sources)
        num_drivers = self.first_stack + len(network.stacks) + len(network.delays)
        self.toggle_drivers: list[list[int]] = [[] for _ in range(network.first_pixel)]
        self.strobe_drivers: list[list[int]] = [[] for _ in network.stacks]
        for driver in range(num_drivers):
            for element in network.hits[driver]:
                if element < network.first_pixel:
                    self.toggle_drivers[element].append(driver)
                elif network.first_strobe <= element < network.first_delay:
                    self.strobe_drivers[element - network.first_strobe].append(driver)
        self.free: dict[int, int] = {}
        self.odd = [0] * num_drivers
        for driver in range(num_drivers):
            stack = driver - self.first_stack
            if not 0 <= stack < len(network.stacks) or network.stacks[stack].strobed:
                self.odd[driver] = self.free[driver] = self.clauses.fresh()
        self.toggles: list[int] = [0] * network.first_pixel
        self.says: list[int] = [0] * len(network.stacks)
        for stack in self._in_order():
            self._settle(stack)

    def __enter__(self) -> _Wave:
        return self

    def __exit__(self, *_: object) -> None:
        self.clauses.solver.delete()

    def _elements(self, stack: int) -> range:
        return range(self.network.first_toggle[stack], self.network.first_toggle[stack + 1])

    def _in_order(self) -> list[int]:
        """Stacks, each after the plain ones that drive its toggles."""
        graph: nx.DiGraph = nx.DiGraph()
        graph.add_nodes_from(range(len(self.network.stacks)))
        for stack in range(len(self.network.stacks)):
            for element in self._elements(stack):
                for driver in self.toggle_drivers[element]:
                    other = driver - self.first_stack
                    if 0 <= other < len(self.network.stacks) and not self.network.stacks[other].strobed:
                        graph.add_edge(other, stack)
        return list(nx.lexicographical_topological_sort(graph))

    def _settle(self, stack: int) -> None:
        form = self.network.stacks[stack]
        for element, bit in zip(self._elements(stack), form.bits, strict=True):
            levels = [self.odd[d] for d in self.toggle_drivers[element]]
            self.toggles[element] = self.clauses.parity([1 if bit else -1, *levels])
        if not form.strobed:
            inputs = [self.toggles[e] for e in self._elements(stack)]
            self.says[stack] = _function(self.clauses, form.function, inputs)
            first = _function(self.clauses, form.function, [1 if bit else -1 for bit in form.bits])
            self.odd[self.first_stack + stack] = self.clauses.parity([self.says[stack], first])

    def verdicts(self, event: str, names: Sequence[str]) -> list[HazardVerdict]:
        lost = self._unroll(self.network.event(event))
        number = {stack.name: i for i, stack in enumerate(self.network.stacks)}
        return [HazardVerdict(event, name, self._solve(lost.get(number[name], []))) for name in names]

    def _solve(self, lost: Sequence[int]) -> tuple[str, ...] | None:
        if not self.clauses.solver.solve(assumptions=[self.clauses.any_of(lost)]):
            return None
        model = set(self.clauses.solver.get_model())
        names = [source.name for source in self.network.sources] + [stack.name for stack in self.network.stacks]
        return tuple(sorted(names[d] for d, v in self.free.items() if v in model and d < len(names)))

    def _unroll(self, source: int) -> dict[int, list[int]]:
        """For each stack the conditions under which it would have to emit again."""
        make = self.clauses
        toggles, says = list(self.toggles), list(self.says)
        done: dict[int, int] = {}
        lost: dict[int, list[int]] = {}
        emits = {source: 1}
        while emits:
            fires: dict[int, int] = {}
            for stack in self._reached(emits):
                form = self.network.stacks[stack]
                for element in self._elements(stack):
                    hits = [emits[d] for d in self.toggle_drivers[element] if d in emits]
                    toggles[element] = make.parity([toggles[element], *hits])
                inputs = [toggles[e] for e in self._elements(stack)]
                if form.strobed:
                    marked = make.any_of([emits[d] for d in self.strobe_drivers[stack] if d in emits])
                    fire = make.all_of([marked, inputs[0] if len(inputs) == 1 else make.fresh()])
                else:
                    now = _function(make, form.function, inputs)
                    fire = make.parity([says[stack], now])
                    says[stack] = now
                if fire != -1:
                    fires[stack] = fire
            emits = {}
            for stack, fire in fires.items():
                before = done.get(stack, -1)
                lost.setdefault(stack, []).append(make.all_of([fire, before]))
                emits[self.first_stack + stack] = make.all_of([fire, -before])
                done[stack] = make.any_of([fire, before])
            emits = {driver: condition for driver, condition in emits.items() if condition != -1}
        return lost

    def _reached(self, emits: dict[int, int]) -> list[int]:
        found = set()
        for stack in range(len(self.network.stacks)):
            drivers = [d for e in self._elements(stack) for d in self.toggle_drivers[e]] + self.strobe_drivers[stack]
            if any(d in emits for d in drivers):
                found.add(stack)
        return sorted(found)


def _function(make: GateClauses, name: str, inputs: Sequence[int]) -> int:
    if name in ("AND", "NAND"):
        value = make.all_of(inputs)
    elif name in ("OR", "NOR"):
        value = make.any_of(inputs)
    else:
        value = make.exactly_one(inputs)
    return -value if name in ("NAND", "NOR", "XNOR") else value
