"""Cells that many others read, mapped on their own.

A comparison that chooses between two words is read by a product for each bit. Mapped together with what reads it, as
one exclusive sum, its flats would multiply by the bits; so it is kept as a signal, and is itself made anew in as few
rounds as can be: as flats, or from the structure found in its table.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import Form, Network
from hdl2grid.synth.rewrite.recover_structure import recovered
from hdl2grid.synth.rewrite.share_pseudoproducts import sums_of
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.trials import Context, Known, Trial, with_forms
from hdl2grid.synth.sinks import Problem

_LEAST_READERS = 3
"""Cells that read a hub: two are served as well by flats of their own (guessed)."""
_MOST_HUBS = 8
"""Hubs above which none is made anew (guessed)."""
_HUB_SHARE = 20
"""A hub gets this share of the steps of a walk (guessed)."""


def with_hubs(problem: Problem, group: SinkGroup, context: Context) -> Iterator[Trial]:
    """The group's forms with all their hubs made anew, one way after the other. A hub is a cell that at least three
    others read and that reads cells itself."""
    params = replace(context.params, espp_steps=context.params.espp_steps // _HUB_SHARE)
    for whole in (context.whole, *context.others):
        network, forms = whole.network, [whole.sinks[i].form for i in group.sinks]
        hubs = _hubs(network, forms)
        if not 0 < len(hubs) <= _MOST_HUBS:
            continue
        found = {hub: _ways(network, 1 << hub, params, context.known) for hub in hubs}
        for number in range(max(map(len, found.values()))):
            chosen = {hub: made[min(number, len(made) - 1)] for hub, made in found.items() if made}
            yield with_forms(dict(zip(group.sinks, replaced(network, forms, chosen), strict=True)))


def _ways(network: Network, form: Form, params: SynthParams, known: Known) -> list[Form]:
    """The form as exclusive sums, and with the structure found in it."""
    made = [one for forms in sums_of(network, [form], params, known) for one in forms]
    structure = recovered(network, form)
    return made if structure is None else [*made, structure]


def _hubs(network: Network, forms: Sequence[Form]) -> list[int]:
    readers: Counter[int] = Counter()
    cone = network.cone(forms)
    for cell in cone:
        read = 0
        for factor in network.cells[cell].factors:
            read |= factor
        readers.update(bits(read & ~1))
    hubs = []
    for cell in cone:
        deep = any(network.is_cell(s) for factor in network.cells[cell].factors for s in bits(factor & ~1))
        if deep and readers[cell] >= _LEAST_READERS:
            hubs.append(cell)
    return hubs


def replaced(network: Network, forms: Sequence[Form], chosen: dict[int, Form]) -> list[Form]:
    """The forms with cells replaced by forms that equal them."""
    new: dict[int, Form] = {}

    def moved(form: Form) -> Form:
        total = form
        for s in bits(form):
            if s in new:
                total ^= 1 << s ^ new[s]
        return total

    for signal in network.cone(forms):
        if signal in chosen:
            new[signal] = chosen[signal]
            continue
        cell = network.cells[signal]
        factors = tuple(moved(f) for f in cell.factors)
        if factors != cell.factors:
            new[signal] = network.make(cell.kind, factors)
    return [moved(form) for form in forms]
