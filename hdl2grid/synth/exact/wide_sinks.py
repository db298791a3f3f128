"""Sinks that read several machines at once: their logic is cut where it reads one machine alone.

A *component* is a set of registers that step one another. A sink over several components is kept in the form that
it is written in, but every part of it that reads one component only becomes a target of that component's block,
and so shares its cells. Before that, products that nothing else reads are taken into their reader:
`x & ~(a & b) = x ^ (x & a & b)` has one stack fewer.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import PRODUCT, Form, Network
from hdl2grid.synth.sinks import PART, REGISTER, Problem, Sink


@dataclass(frozen=True)
class Components:
    """`of[signal]` numbers the component of each register's signal; switches belong to none."""

    of: Mapping[int, int]

    def among(self, support: int) -> list[int]:
        """The components of a mask of signals."""
        return sorted({self.of[s] for s in bits(support) if s in self.of})


@dataclass(frozen=True)
class Cut:
    """A problem whose sinks from `first_part` on are parts of the sinks numbered in `wide`."""

    problem: Problem
    components: Components
    wide: tuple[int, ...]
    first_part: int


def components(problem: Problem) -> Components:
    """Registers that stand in one another's sinks, directly or not, belong together."""
    parent: dict[int, int] = {}

    def find(s: int) -> int:
        while parent[s] != s:
            parent[s] = parent[parent[s]]
            s = parent[s]
        return s

    registers = [s for s in problem.sinks if s.kind == REGISTER]
    for sink in registers:
        parent[sink.own.bit_length() - 1] = sink.own.bit_length() - 1
    for sink in registers:
        own = sink.own.bit_length() - 1
        for s in bits(problem.network.support([sink.form])):
            if s in parent:
                parent[find(s)] = find(own)
    return Components({s: find(s) for s in sorted(parent)})


def cut(problem: Problem) -> Cut | None:
    """The problem with its wide sinks cut; None where it has none."""
    network, found = problem.network, components(problem)
    wide = _wide(problem, found)
    if not wide:
        return None
    forms = _absorbed(network, [s.form for s in problem.sinks], wide)
    parts: dict[Form, None] = {}
    for form in _mixed_forms(network, [forms[i] for i in wide], found):
        for part in _parts(network, form, found)[0]:
            parts.setdefault(part)
    sinks = [replace(s, form=f) for s, f in zip(problem.sinks, forms, strict=True)]
    extra = [Sink(PART, f"part[{i}]", part) for i, part in enumerate(parts)]
    return Cut(replace(problem, sinks=(*sinks, *extra)), found, wide, len(sinks))


def has_wide(problem: Problem) -> bool:
    """Whether some output or gate reads several components."""
    return bool(_wide(problem, components(problem)))


def _wide(problem: Problem, found: Components) -> tuple[int, ...]:
    return tuple(
        i
        for i, sink in enumerate(problem.sinks)
        if sink.kind != REGISTER and len(found.among(problem.network.support([sink.form]))) > 1
    )


def mixed_cells(network: Network, forms: Sequence[Form], found: Components) -> list[int]:
    """The cells below `forms` that read several components, fan-ins first."""
    return [c for c in network.cone(forms) if len(found.among(network.support([1 << c]))) > 1]


def join(cut_: Cut, forms: Sequence[Form]) -> list[Form]:
    """The forms of the original sinks, the parts in them replaced by what `forms` has for them."""
    network, found = cut_.problem.network, cut_.components
    old = [s.form for s in cut_.problem.sinks]
    solved = dict(zip(old[cut_.first_part :], forms[cut_.first_part :], strict=True))
    renamed: dict[int, Form] = {}

    def joined(form: Form) -> Form:
        parts, rest = _parts(network, form, found)
        total = rest & 1
        for part in parts:
            total ^= solved[part]
        for signal in bits(rest & ~1):
            total ^= renamed.get(signal, 1 << signal)
        return total

    for cell in mixed_cells(network, [old[i] for i in cut_.wide], found):
        renamed[cell] = network.make(network.cells[cell].kind, [joined(f) for f in network.cells[cell].factors])
    result = list(forms[: cut_.first_part])
    for i in cut_.wide:
        result[i] = joined(old[i])
    return result


def _mixed_forms(network: Network, forms: Sequence[Form], found: Components) -> list[Form]:
    inside = [f for c in mixed_cells(network, forms, found) for f in network.cells[c].factors]
    return [*forms, *inside]


def _parts(network: Network, form: Form, found: Components) -> tuple[list[Form], Form]:
    """The sums of signals of one component each that have a cell among them; and the rest of the form."""
    by_component: dict[int, Form] = {}
    for signal in bits(form & ~1):
        among = found.among(network.support([1 << signal]))
        if len(among) == 1:
            by_component[among[0]] = by_component.get(among[0], 0) | 1 << signal
    parts = [p for _, p in sorted(by_component.items()) if any(network.is_cell(s) for s in bits(p))]
    for part in parts:
        form ^= part
    return parts, form


def _absorbed(network: Network, forms: list[Form], wide: Sequence[int]) -> list[Form]:
    """The forms with products that have one reader, a product of two factors, taken into it."""
    readers: Counter[int] = Counter(s for f in forms for s in bits(f & ~1))
    cells = network.cone(forms)
    for c in cells:
        readers.update(s for f in network.cells[c].factors for s in bits(f & ~1))
    renamed: dict[int, Form] = {}
    for cell in network.cone([forms[i] for i in wide]):
        kind, factors = network.cells[cell].kind, network.cells[cell].factors
        if kind != PRODUCT or len(factors) != 2:
            continue
        for inner, outer in ((factors[0], factors[1]), (factors[1], factors[0])):
            signal = inner.bit_length() - 1
            single = inner == 1 << signal | 1 and network.is_cell(signal) and readers[signal] == 1
            if single and network.cells[signal].kind == PRODUCT:
                if len(network.cells[signal].factors) < network.max_toggles:
                    renamed[cell] = outer ^ network.product([outer, *network.cells[signal].factors])
                break
    return [_renamed(form, renamed) for form in forms]


def _renamed(form: Form, renamed: Mapping[int, Form]) -> Form:
    total = form & 1
    for signal in bits(form & ~1):
        total ^= renamed.get(signal, 1 << signal)
    return total
