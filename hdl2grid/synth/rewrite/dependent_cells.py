"""Cells that are sums of others and of an affine function: sinks can do without them.

The vectors of one-level cells over all assignments are looked at modulo affine functions; a cell that depends on
those before it is replaced, at every sink, by their sum. (256 minterms of eight variables have rank 247.) Sums
get long: this is worth it only where drivers are joined on nets, or nothing limits sums.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import partial

from hdl2grid.synth.gf2 import Coordinates, bits
from hdl2grid.synth.network import Form, Network
from hdl2grid.synth.rewrite.covers import table_variable
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.trials import Context, Trial
from hdl2grid.synth.sinks import Problem

_MOST_VARIABLES = 9
"""Variables of cells that are compared: vectors of 2^9 bits (guessed)."""
_MOST_CELLS = 600
"""Cells that are compared at a time: as many rows of elimination (guessed)."""


def without_dependent(problem: Problem, group: SinkGroup, context: Context) -> Iterator[Trial]:
    """The problem without cells that others replace."""
    network = problem.network
    cells = network.cone([s.form for s in problem.sinks])
    read = 0
    for cell in cells:
        for factor in network.cells[cell].factors:
            read |= factor
    lots: dict[int, list[int]] = {}
    for cell in cells:
        support = network.support([1 << cell])
        if not read >> cell & 1 and support.bit_count() <= _MOST_VARIABLES:
            lots.setdefault(support, []).append(cell)
    for support, lot in sorted(lots.items()):
        instead = _replacements(network, bits(support), lot) if len(lot) <= _MOST_CELLS else {}
        if instead:
            yield partial(_rewritten, instead=instead)


def _replacements(network: Network, variables: list[int], cells: list[int]) -> dict[int, Form]:
    """For each cell that depends on earlier ones the form that equals it."""
    size = 1 << len(variables)
    ones = (1 << size) - 1
    values = {s: table_variable(i, len(variables)) for i, s in enumerate(variables)}
    vectors = network.evaluate([1 << c for c in cells], values, ones)
    places = [0, *variables, *cells]
    found: dict[int, Form] = {}
    for relation in Coordinates([ones, *values.values(), *vectors]).relations:
        *others, cell = [places[k] for k in bits(relation)]
        found[cell] = sum(1 << s for s in others)
    return found


def _rewritten(problem: Problem, instead: dict[int, Form]) -> Problem:
    sinks = []
    for sink in problem.sinks:
        form = sink.form
        for cell, other in instead.items():
            if form >> cell & 1:
                form ^= 1 << cell ^ other
        sinks.append(replace(sink, form=form))
    return replace(problem, sinks=tuple(sinks))
