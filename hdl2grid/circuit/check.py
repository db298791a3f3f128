"""What every circuit must hold to, whoever made it: synthesis, net forming or a file."""

from __future__ import annotations

from collections.abc import Iterator

from hdl2grid.base.errors import Finding, nearest
from hdl2grid.circuit.model import FUNCTIONS, Circuit, Source, Stack

_SOURCE_FIELDS = {"ticker": ("period_s", "running"), "button": (), "switch": ("on",)}


def check_circuit(circuit: Circuit) -> tuple[Finding, ...]:
    """Every offence, none when the circuit is well formed.

    Names are unique over sources and stacks; functions are known; a stack has at least one toggle, and just
    one under a strobe; bits are 0 or 1; drivers exist and stand ascending, each once; each output bit has
    one pixel entry; `origin` has one entry a stack.
    """
    return tuple(_offences(circuit))


def _offences(circuit: Circuit) -> Iterator[Finding]:
    names: set[str] = set()
    for name in [s.name for s in circuit.sources] + [s.name for s in circuit.stacks]:
        if not name:
            yield Finding("J016", "a source or stack has no name")
        elif name in names:
            yield Finding("J015", f"the name '{name}' stands twice")
        names.add(name)
    for source in circuit.sources:
        yield from _source_offences(source)
    for stack in circuit.stacks:
        yield from _stack_offences(stack, names)
    shown: set[str] = set()
    for pixel in circuit.pixels:
        if pixel.signal in shown:
            yield Finding("J015", f"the pixel of '{pixel.signal}' stands twice")
        shown.add(pixel.signal)
        yield from _driver_offences(pixel.drivers, names, f"pixel {pixel.signal}")
    levels: set[str] = set()
    for level in circuit.levels:
        if level.signal in levels:
            yield Finding("J015", f"the level of '{level.signal}' stands twice")
        levels.add(level.signal)
        yield from _driver_offences(level.drivers, names, f"level of {level.signal}")
    if len(circuit.origin) != len(circuit.stacks):
        yield Finding("J016", f"{len(circuit.origin)} origins for {len(circuit.stacks)} stacks")


def _source_offences(source: Source) -> Iterator[Finding]:
    if source.kind not in _SOURCE_FIELDS:
        yield Finding("J012", f"'{source.kind}' is no kind of source", subject=source.name)
        return
    wanted = _SOURCE_FIELDS[source.kind]
    for field in ("period_s", "running", "on"):
        if (getattr(source, field) is not None) != (field in wanted):
            word = "lacks" if field in wanted else "has no use for"
            yield Finding("J016", f"a {source.kind} {word} '{field}'", subject=source.name)


def _stack_offences(stack: Stack, names: set[str]) -> Iterator[Finding]:
    if stack.function not in FUNCTIONS:
        yield Finding("J012", f"'{stack.function}' is no function of a gate", subject=stack.name)
    if not stack.toggles:
        yield Finding("J016", "a stack has at least one toggle", subject=stack.name)
    if stack.strobe is not None:
        if len(stack.toggles) > 1:
            what = f"a strobe over {len(stack.toggles)} toggles makes random events, not logic"
            yield Finding("J016", what, subject=stack.name)
        yield from _driver_offences(stack.strobe, names, f"strobe of {stack.name}")
    for i, toggle in enumerate(stack.toggles):
        if toggle.bit not in (0, 1):
            yield Finding("J016", f"toggle {i} is placed as {toggle.bit}", subject=stack.name)
        yield from _driver_offences(toggle.drivers, names, f"toggle {i} of {stack.name}")


def _driver_offences(drivers: tuple[str, ...], names: set[str], subject: str) -> Iterator[Finding]:
    for driver in drivers:
        if driver not in names:
            hint = nearest(driver, names)
            yield Finding("J017", f"no source or stack is called '{driver}'", subject=subject, hint=hint)
    if any(a >= b for a, b in zip(drivers, drivers[1:], strict=False)):
        yield Finding("J016", "drivers must ascend, each at most once", subject=subject)
