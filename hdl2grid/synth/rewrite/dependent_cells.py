"""Cells that are sums of others and of an affine function: sinks can do without them.

The vectors of one-level cells over all assignments are looked at modulo affine functions; a cell that depends on
those before it is replaced, at every sink, by their sum. (256 minterms of eight variables have rank 247.) Sums
get long: only where nothing limits them is this worth it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.network import Form, Network
from hdl2grid.synth.rewrite.covers import table_variable
from hdl2grid.synth.sinks import Problem

_MOST_VARIABLES = 9
_MOST_CELLS = 600


def drop_dependent(problem: Problem, cost: Callable[[Problem], int]) -> Problem:
    """`problem` without cells that others replace, where `cost` gets less by it."""
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
    best, least = problem, -1
    for support, lot in sorted(lots.items()):
        if len(lot) > _MOST_CELLS:
            continue
        instead = _replacements(network, bits(support), lot)
        if not instead:
            continue
        least = cost(best) if least < 0 else least
        sinks = tuple(replace(s, form=_rewritten(s.form, instead)) for s in best.sinks)
        price = cost(trial := replace(best, sinks=sinks))
        if price < least:
            best, least = trial, price
    return best


def _replacements(network: Network, variables: list[int], cells: list[int]) -> dict[int, Form]:
    """For each cell that depends on earlier ones the form that equals it."""
    size = 1 << len(variables)
    ones = (1 << size) - 1
    values = {s: table_variable(i, len(variables)) for i, s in enumerate(variables)}
    known = [(1, ones), *((1 << s, v) for s, v in values.items())]
    vectors = network.evaluate([1 << c for c in cells], values, ones)
    places = [form.bit_length() - 1 for form, _ in known] + cells
    tags = (1 << len(places)) - 1
    space = Basis(ignore=tags)
    for i, (_, vector) in enumerate(known):
        space.add(vector << len(places) | 1 << i)
    found: dict[int, Form] = {}
    for i, (cell, vector) in enumerate(zip(cells, vectors, strict=True), len(known)):
        tagged = vector << len(places) | 1 << i
        residue = space.reduce(tagged)
        if residue & ~tags:
            space.add(tagged)
            continue
        form = 0
        for k in bits(residue & ~(1 << i)):
            form |= 1 << places[k]
        found[cell] = form
    return found


def _rewritten(form: Form, instead: dict[int, Form]) -> Form:
    for cell, other in instead.items():
        if form >> cell & 1:
            form ^= 1 << cell ^ other
    return form
