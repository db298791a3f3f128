"""From a component to an Amaranth design that is elaborated once, for the netlist and the simulator alike.

Uses Amaranth's private `Fragment`; `amaranth_netlist.py` reads what comes out.
"""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from amaranth.hdl import ClockDomain, Const, Fragment, Signal
from amaranth.hdl._ast import Operator, Part, Property, _StatementList
from amaranth.hdl._ir import Design, PortDirection, UnusedElaboratable
from amaranth.hdl._mem import MemoryInstance
from amaranth.hdl._xfrm import FragmentTransformer, LHSMaskCollector, StatementTransformer, ValueTransformer
from amaranth.lib import wiring
from amaranth.sim import Simulator

from hdl2grid.base.errors import GridError, InputError, SourceLine
from hdl2grid.base.ports import Port
from hdl2grid.base.userline import exception_text, last_user_line, quoted, source_of
from hdl2grid.logic.deep import run_deep
from hdl2grid.logic.shapes import remembered_shapes

T = TypeVar("T")


@dataclass(frozen=True)
class Domain:
    """A clock domain of the design. `declared`: by the design itself, else made for it. `used`: it clocks a
    register or a memory's port."""

    name: str
    clock: Signal
    reset: Signal | None
    rising: bool
    asynchronous: bool
    declared: bool
    used: bool
    source: SourceLine | None


@dataclass(frozen=True)
class Prepared:
    """`design` serves the netlist and the simulator; `checked` is the same with its assertions alive. `notes`
    are warnings."""

    design: Design
    checked: Design
    domains: tuple[Domain, ...]
    memories: tuple[Any, ...]
    notes: tuple[str, ...]


class _Rewrite(FragmentTransformer, ValueTransformer, StatementTransformer):  # type: ignore[misc]
    """Leaves out Print and Cover and, unless they are to be kept, Assert and Assume; remembers where they stood.

    Makes `bit_select` and `word_select` beyond the end of a value mean for the netlist what they mean in the
    simulator, where a check runs: there an inverted or reinterpreted value is not cut to its width first, so what
    lies beyond is that of the uncut number.
    """

    def __init__(self, keep_assertions: bool = False) -> None:
        self.keep_assertions = keep_assertions
        self.found: list[tuple[str, SourceLine | None]] = []

    def on_Print(self, stmt: Any) -> Any:
        self.found.append(("Print", source_of(stmt)))
        stmt._MustUse__used = True
        return _StatementList([])

    def on_Property(self, stmt: Any) -> Any:
        kind = {Property.Kind.Assert: "Assert", Property.Kind.Assume: "Assume"}.get(stmt.kind, "Cover")
        self.found.append((kind, source_of(stmt)))
        if self.keep_assertions and kind != "Cover":
            return super().on_Property(stmt)
        stmt._MustUse__used = True
        return _StatementList([])

    def on_Part(self, value: Any) -> Any:
        inner = value.value
        while isinstance(inner, Operator) and inner.operator in ("u", "s"):
            inner = inner.operands[0]
        inner = self.on_value(inner)
        if isinstance(inner, Operator) and inner.operator == "~":
            inner = Const(-1) - inner.operands[0].as_unsigned()
        return Part(inner, self.on_value(value.offset), value.width, value.stride)


def prepare(component: wiring.Component, ports: Sequence[Port]) -> Prepared:
    """Elaborates `component` once. Domains that it does not declare are created.

    Raises InputError L010 where the design's own `elaborate` fails, L011 where Amaranth refuses it.
    """
    fragment = user_call(lambda: Fragment.get(component, None), "elaborating the design")
    rewrite = _Rewrite()
    plain, asserting = rewrite(fragment), _Rewrite(keep_assertions=True)(fragment)
    created: dict[str, ClockDomain] = {}

    def missing(name: str) -> ClockDomain:
        # Synchronous: in Amaranth 0.5 each tick waited for under async_reset leaks.
        return created.setdefault(name, ClockDomain(name))

    def finish(fragment: Any) -> tuple[Design, tuple[Domain, ...]]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", DeprecationWarning)
            fragment._propagate_domains(missing)
            domains = _domains(fragment, created.values())
            return fragment.prepare(_ports(ports, domains), propagate_domains=False), domains

    design, domains = user_call(lambda: finish(plain), "putting the design together")
    asserts = any(kind.startswith("Ass") for kind, _ in rewrite.found)
    checked = user_call(lambda: finish(asserting), "putting the design together")[0] if asserts else design
    notes = [f"{kind} is left out of the machine{_at(source)}" for kind, source in rewrite.found]
    notes += _undriven(design, ports, domains)
    return Prepared(design, checked, domains, tuple(_memories(design.fragment)), tuple(notes))


def user_call(function: Callable[[], T], doing: str) -> T:
    """`function()`; what goes wrong in it becomes one message with the user's own line."""
    try:
        return function()
    except GridError:
        raise
    except (Exception, SystemExit) as error:
        # What the fault has left unused is not the user's to mend; the next elaboration turns this back on.
        UnusedElaboratable._MustUse__silence = True
        line = last_user_line(error.__traceback__)
        text = " ".join(exception_text(error).split())
        raise InputError(
            "L010" if line else "L011",
            f"{doing} failed: {text}{quoted(line)}",
            where=line,
            hint="The fault is in the design; the line shown is the last of its own that ran." if line else None,
        ) from error


def _fragments(fragment: Any) -> Iterator[Any]:
    """A fragment and all below it, parents first, in the order of the netlist."""
    stack = [fragment]
    while stack:
        current = stack.pop()
        yield current
        stack.extend(child for child, _, _ in reversed(current.subfragments))


def _domains(fragment: Any, created: Iterable[ClockDomain]) -> tuple[Domain, ...]:
    """All clock domains, by name: those of the whole design and those local to a part of it."""
    made = {id(domain) for domain in created}
    found: dict[int, ClockDomain] = {}
    used: set[int] = set()
    for part in _fragments(fragment):
        for domain in part.domains.values():
            found.setdefault(id(domain), domain)
        names = set(part.statements)
        if isinstance(part, MemoryInstance):
            names |= {port._domain for port in (*part._read_ports, *part._write_ports)}
        used |= {id(part.domains[name]) for name in names - {"comb"}}
    domains = [
        Domain(
            name=domain.name,
            clock=domain.clk,
            reset=domain.rst,
            rising=domain.clk_edge == "pos",
            asynchronous=bool(domain.async_reset),
            declared=id(domain) not in made,
            used=id(domain) in used,
            source=source_of(domain.clk) if id(domain) not in made else None,
        )
        for domain in found.values()
    ]
    return tuple(sorted(domains, key=lambda domain: domain.name))


def _ports(ports: Sequence[Port], domains: Sequence[Domain]) -> list[tuple[str, Signal, PortDirection | None]]:
    """Every port of the component, and the clock and reset of every domain (Amaranth then tells whether the
    design drives them)."""
    listed: list[tuple[str, Signal, PortDirection | None]] = []
    for port in ports:
        if port.width and isinstance(port.value, Signal):
            way = PortDirection.Input if port.is_input else PortDirection.Output
            listed.append((port.name, port.value, way))
    for index, domain in enumerate(domains):
        listed.append((clock_port(index), domain.clock, None))
        if domain.reset is not None:
            listed.append((reset_port(index), domain.reset, None))
    return listed


def clock_port(index: int) -> str:
    """The netlist's name for the clock of domain `index`; no port of a component is called so."""
    return f"clock${index}"


def reset_port(index: int) -> str:
    """The netlist's name for the reset of domain `index`."""
    return f"reset${index}"


def _memories(fragment: Any) -> Iterator[Any]:
    return (part for part in _fragments(fragment) if isinstance(part, MemoryInstance))


def spoken(name: str) -> str:
    """A signal's name as we say it: Amaranth calls those that it could not name "$signal", or nothing."""
    return name.removeprefix("$") or "unnamed"


def _at(source: SourceLine | None) -> str:
    return f" ({source})" if source else ""


def _undriven(design: Design, ports: Sequence[Port], domains: Sequence[Domain]) -> list[str]:
    """A note for each output and each inner signal that is used, but driven by nothing (and 0)."""
    masks = LHSMaskCollector()
    for part in _fragments(design.fragment):
        for statements in part.statements.values():
            masks.visit_stmt(statements)
        if isinstance(part, MemoryInstance):
            for port in part._read_ports:
                masks.visit_value(port._data, ~0)
    driven = {id(signal) for signal, _ in masks.masks()}
    known = {id(port.value) for port in ports}
    known |= {id(s) for domain in domains for s in (domain.clock, domain.reset) if s is not None}
    notes = [
        f"output '{port.name}' is driven by nothing; it stays at its initial value{_at(port.source)}"
        for port in ports
        if not port.is_input and port.width and isinstance(port.value, Signal) and id(port.value) not in driven
    ]
    seen: set[int] = set()
    for part in _fragments(design.fragment):
        info = design.fragments[part]
        for signal in info.used_signals:
            if id(signal) in driven | known | seen or signal.init or not len(signal):
                continue
            seen.add(id(signal))
            path = ".".join((*info.name[1:], spoken(info.signal_names.get(signal, signal.name))))
            notes.append(f"signal '{path}' is used, but driven by nothing; it stays 0{_at(source_of(signal))}")
    return notes


class _Ready(Fragment):  # type: ignore[misc]
    """A fragment whose preparation is already done: what makes the simulator run a given design."""

    def __init__(self, design: Design) -> None:
        super().__init__()
        self._design = design

    def prepare(self, *args: Any, **kwargs: Any) -> Design:
        return self._design


def simulator_of(design: Any) -> Simulator:
    """A fresh Amaranth simulator of a prepared design; any number of them may be made.

    Raises InputError L011 where Amaranth cannot compile the design.
    """

    def make() -> Simulator:
        with remembered_shapes():
            return Simulator(_Ready(design))

    return user_call(lambda: run_deep(make), "compiling the design for Amaranth's simulator")
