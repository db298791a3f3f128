"""Which sinks are mapped anew together: those that read one another's variables, in groups that the kernel can hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import networkx as nx

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.rewrite.pseudoproducts import MOST_VARIABLES
from hdl2grid.synth.sinks import REGISTER, Problem

_MOST_OUTPUTS = 64
"""Sinks of a group: the bits of a mask, a word."""
_LEAST_SHARED = 0.6
"""The share of a sink's variables that a group has which it joins (guessed)."""
_LEAST_SUPPORT = 3
"""Sinks of fewer variables join no group (guessed)."""


@dataclass(frozen=True)
class SinkGroup:
    """Sinks (positions in the problem, ascending). `is_cut`: others read their variables too."""

    sinks: tuple[int, ...]
    is_cut: bool


EVERYTHING = SinkGroup((), False)
"""All sinks, for rewrites that run once."""


def groups_of_sinks(whole: Problem) -> Iterator[SinkGroup]:
    """Sinks that read one another's variables. Where these are too many for the kernel's words, they are cut into
    groups of sinks that read nearly the same variables, and one of those that read too many."""
    network = whole.network
    supports = {i: network.support([s.form]) for i, s in enumerate(whole.sinks) if network.cone([s.form])}
    graph: nx.Graph = nx.Graph()
    for i, support in supports.items():
        graph.add_edges_from((("sink", i), ("variable", v)) for v in bits(support))
    parts = []
    for part in nx.connected_components(graph):
        parts.append(sorted(n for kind, n in part if kind == "sink"))
    for members in sorted(parts):
        joined = 0
        for i in members:
            joined |= supports[i]
        if joined.bit_count() <= MOST_VARIABLES and len(members) <= _MOST_OUTPUTS:
            yield SinkGroup(tuple(members), False)
        else:
            yield from (SinkGroup(tuple(group), True) for group in _alike(members, supports))


def _alike(members: Sequence[int], supports: dict[int, int]) -> list[list[int]]:
    """Each sink, those that read most first, with the first group that has most of its variables."""
    groups: list[list[int]] = []
    joined: list[int] = []
    large = sorted(i for i in members if supports[i].bit_count() > MOST_VARIABLES)
    for i in sorted(members, key=lambda i: (-supports[i].bit_count(), i)):
        support = supports[i]
        size = support.bit_count()
        if size > MOST_VARIABLES:
            continue
        for k, inside in enumerate(joined):
            shared = (support & inside).bit_count() >= _LEAST_SHARED * size
            fits = (support | inside).bit_count() <= MOST_VARIABLES and len(groups[k]) < _MOST_OUTPUTS
            if size >= _LEAST_SUPPORT and shared and fits:
                groups[k].append(i)
                joined[k] |= support
                break
        else:
            groups.append([i])
            joined.append(support)
    return sorted(map(sorted, [*groups, large] if large else groups))


def alone(problem: Problem, group: SinkGroup) -> Problem:
    """The problem with the group's sinks only; registers beside them stand still."""
    if not group.is_cut:
        return problem
    inside = set(group.sinks)
    kept = []
    for i, sink in enumerate(problem.sinks):
        if i in inside:
            kept.append(sink)
        elif sink.kind == REGISTER:
            kept.append(replace(sink, form=sink.own))
    return replace(problem, sinks=tuple(kept))
