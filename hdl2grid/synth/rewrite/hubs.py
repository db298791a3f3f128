"""Cells that many others read, mapped on their own.

A comparison that chooses between two words is read by a product for each bit. Mapped together with what reads it, as
one exclusive sum, its flats would multiply by the bits; so it is kept as a signal, and is itself made anew in as few
rounds as can be: as flats, or from the structure found in its table.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import Form, Network
from hdl2grid.synth.sinks import Problem

LEAST_READERS = 3
_MOST_HUBS = 8
Ways = Callable[[Network, Form], Sequence[Form]]
"""Forms that equal a form, in other cells."""


def hub_forms(network: Network, forms: Sequence[Form], ways: Ways) -> Iterator[list[Form]]:
    """The forms with all their hubs made anew, one way after the other. A hub is a cell that at least three others
    read and that reads cells itself."""
    hubs = _hubs(network, forms)
    if not 0 < len(hubs) <= _MOST_HUBS:
        return
    found = {hub: ways(network, 1 << hub) for hub in hubs}
    for number in range(max(map(len, found.values()))):
        chosen = {hub: made[min(number, len(made) - 1)] for hub, made in found.items() if made}
        yield replaced(network, forms, chosen)


def has_hubs(problem: Problem) -> bool:
    """Whether some cells are hubs, and not too many."""
    return 0 < len(_hubs(problem.network, [s.form for s in problem.sinks])) <= _MOST_HUBS


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
        if deep and readers[cell] >= LEAST_READERS:
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
