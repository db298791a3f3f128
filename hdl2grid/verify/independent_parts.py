"""The parts of a machine that know nothing of each other: they share events, but no register, stack or pixel.

What a part does at an event depends on its own state and on the sources only. So every state of each part must be
visited with every event, but not every mixture of their states. The parts are the connected components of the graph
of who reads whom; the pixels that show outputs join design and machine in it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
from networkx.utils import UnionFind

from hdl2grid.logic.model import Logic
from hdl2grid.sim.pulse_network import Network

Ints = npt.NDArray[np.int64]
Node = tuple[str, int]


@dataclass(frozen=True)
class Part:
    """Elements of a network and numbers of the registers of its design that belong together; the elements of all
    sources are in every part."""

    elements: Ints
    registers: Ints


def parts_of(network: Network, logic: Logic) -> tuple[Part, ...]:
    """The independent parts of a machine and its design; one part where a stack acts on a source, for then each may
    act on all. Parts without a register come last, as one."""
    groups: UnionFind = UnionFind()
    if not _join_stacks(groups, network):
        return (_part(network, range(network.first_source), range(len(logic.registers))),)
    _join_bits(groups, network, logic)
    owners = _owners(network)
    roots: dict[Node, tuple[list[int], list[int]]] = {}
    for element, owner in enumerate(owners):
        roots.setdefault(groups[owner], ([], []))[0].append(element)
    for register in range(len(logic.registers)):
        roots.setdefault(groups["register", register], ([], []))[1].append(register)
    stateful = [one for one in roots.values() if one[1]]
    rest = sorted(element for one in roots.values() if not one[1] for element in one[0])
    return tuple(_part(network, *one) for one in stateful + ([(rest, [])] if rest else []))


def _part(network: Network, elements: list[int] | range, registers: list[int] | range) -> Part:
    sources = range(network.first_source, network.first_strobe)
    return Part(np.array([*elements, *sources], np.int64), np.array([*registers], np.int64))


def _owners(network: Network) -> list[Node]:
    """What each toggle, pixel and probe belongs to, element by element."""
    owners: list[Node] = [("stack", i) for i, stack in enumerate(network.stacks) for _ in stack.bits]
    return owners + [("display", element) for element in range(network.first_pixel, network.first_source)]


def _join_stacks(groups: UnionFind, network: Network) -> bool:
    """Join each stack with what it hits; False where that is a source."""
    owners = _owners(network)
    for number in range(len(network.stacks)):
        for element in network.hits[len(network.sources) + number]:
            if element < network.first_source:
                hit = owners[element]
            elif element < network.first_strobe:
                return False
            else:
                hit = ("stack", element - network.first_strobe)
            groups.union(("stack", number), hit)
    return True


def _join_bits(groups: UnionFind, network: Network, logic: Logic) -> None:
    """Join each register with those that it reads, and those that an output reads with the displays that show it."""
    variable = {register.literal >> 1: i for i, register in enumerate(logic.registers)}
    reads: dict[str, list[int]] = {}
    for i, register in enumerate(logic.registers):
        read = [variable[node] for node in logic.xag.cone([register.data]) if node in variable]
        groups.union(*(("register", j) for j in (i, *read)))
        reads[register.name] = [i]
    for output in logic.outputs:
        read = [variable[node] for node in logic.xag.cone([output.literal]) if node in variable]
        reads.setdefault(output.name, []).extend(read)
    for i, display in enumerate((*network.pixels, *network.probes)):
        shown = [("register", j) for j in reads.get(display.signal, ())]
        groups.union(("display", network.first_pixel + i), *shown)
