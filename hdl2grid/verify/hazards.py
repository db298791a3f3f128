"""Hazards by structure: in which rounds of a wave each stack may be reached, whatever the levels.

A plain stack that only one round reaches changes its mind at most once in a wave, so it loses no pulse. All other
plain stacks are listed, and need the proof by exhaustion. This file knows only the network. It shares nothing with
synthesis, whose claims it checks.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from hdl2grid.circuit.model import Circuit
from hdl2grid.plan.model import Plan
from hdl2grid.sim.pulse_network import Network
from hdl2grid.verify.compare_bits import network_of

Kind = Literal["several rounds", "strobed in several rounds", "data before its strobe"]


@dataclass(frozen=True)
class Suspect:
    """A stack that structure alone does not clear in the waves of `event`.

    'several rounds': the toggles of a plain stack may be hit in each of `rounds`. 'strobed in several rounds': a
    strobe may be marked in each of `rounds`. 'data before its strobe': the toggle under a strobe may be hit in
    `rounds`, not after the strobe's only round, so that the sample may see what this very wave has moved.
    """

    event: str
    stack: str
    kind: Kind
    rounds: tuple[int, ...]


@dataclass(frozen=True)
class HazardReport:
    """`rounds`: for each event the most rounds that its wave can have. `num_plain`: plain stacks;
    `num_one_round`: those that every event reaches in one round only, which cannot lose a pulse. `suspects`: what
    needs proof by exhaustion; `loops`: stacks that can reach themselves through plain stacks."""

    rounds: tuple[tuple[str, int], ...]
    num_plain: int
    num_one_round: int
    suspects: tuple[Suspect, ...]
    loops: tuple[str, ...]

    @property
    def is_safe_by_structure(self) -> bool:
        """True when no stack can lose a pulse, whatever the levels."""
        return not self.loops and all(s.kind == "data before its strobe" for s in self.suspects)


def find_hazards(machine: Plan | Circuit | Network) -> HazardReport:
    """Arrival rounds of every stack for every event."""
    network = network_of(machine)
    owner = [i for i, stack in enumerate(network.stacks) for _ in stack.bits]
    reached = [_arrivals(network, owner, event) for event in range(len(network.sources))]
    suspects = tuple(
        suspect
        for arrivals, source in zip(reached, network.sources, strict=True)
        for stack in range(len(network.stacks))
        for suspect in _suspects(network, arrivals, source.name, stack)
    )
    doubtful = {suspect.stack for suspect in suspects if suspect.kind == "several rounds"}
    plain = [stack.name for stack in network.stacks if not stack.strobed]
    return HazardReport(
        rounds=tuple((s.name, arrivals.rounds) for s, arrivals in zip(network.sources, reached, strict=True)),
        num_plain=len(plain),
        num_one_round=sum(name not in doubtful for name in plain),
        suspects=suspects,
        loops=tuple(network.stacks[i].name for i in sorted(set().union(*(a.endless for a in reached)))),
    )


@dataclass
class _Arrivals:
    """For each stack the rounds in which its toggles, and its strobe, may be hit; the rounds of the wave; the
    stacks that still emit when no wave without a loop could."""

    toggles: list[list[int]]
    strobes: list[list[int]]
    rounds: int
    endless: set[int]


def _arrivals(network: Network, owner: list[int], source: int) -> _Arrivals:
    num_stacks = len(network.stacks)
    found = _Arrivals([[] for _ in range(num_stacks)], [[] for _ in range(num_stacks)], 0, set())
    emitting = {source}
    for now in range(num_stacks + 2):
        if not emitting:
            break
        found.rounds = now + 1
        due: set[int] = set()
        for element in {element for driver in emitting for element in network.hits[driver]}:
            if element < network.first_pixel:
                stack = owner[element]
                if now not in found.toggles[stack]:
                    found.toggles[stack].append(now)
                if not network.stacks[stack].strobed:
                    due.add(stack)
            elif network.first_strobe <= element < network.first_delay:
                stack = element - network.first_strobe
                found.strobes[stack].append(now)
                if network.stacks[stack].strobed:
                    due.add(stack)
        if now == num_stacks + 1:
            found.endless = due
        emitting = {len(network.sources) + stack for stack in due}
    return found


def _suspects(network: Network, arrivals: _Arrivals, event: str, stack: int) -> Iterator[Suspect]:
    form = network.stacks[stack]
    toggles, strobes = tuple(arrivals.toggles[stack]), tuple(arrivals.strobes[stack])
    if not form.strobed:
        if len(toggles) > 1:
            yield Suspect(event, form.name, "several rounds", toggles)
    elif len(strobes) > 1:
        yield Suspect(event, form.name, "strobed in several rounds", strobes)
    elif strobes:
        early = tuple(now for now in toggles if now <= strobes[0])
        if early:
            yield Suspect(event, form.name, "data before its strobe", early)
