"""circuit.json out and in: docs/circuit.schema.json says its shape. `levels` are not part of the file."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hdl2grid.base.errors import InputError, SourceLine
from hdl2grid.base.strict_json import Reader, line, lines, parse, read_text
from hdl2grid.circuit.check import check_circuit
from hdl2grid.circuit.model import FUNCTIONS, Circuit, Origin, Pixel, Source, Stack, Toggle

FORMAT = "hdl2grid circuit"
VERSION = 1
"""Of the format; a file of another version is refused."""

_SOURCE_KEYS: dict[str, tuple[str, ...]] = {
    "ticker": ("period_s", "running"),
    "button": (),
    "switch": ("on",),
}


def dump_circuit(circuit: Circuit) -> str:
    """The text of circuit.json: one source, stack, pixel or origin a line; ends with a newline."""
    origins = (
        f"{line(stack.name)}: {line(_origin(origin))}"
        for stack, origin in zip(circuit.stacks, circuit.origin, strict=True)
    )
    members = [
        f'"format": {line(FORMAT)}',
        f'"version": {VERSION}',
        f'"name": {line(circuit.name)}',
        f'"sources": [{lines((line(_source(s)) for s in circuit.sources), "  ")}]',
        f'"stacks": [{lines((line(_stack(s)) for s in circuit.stacks), "  ")}]',
        f'"pixels": [{lines((line(_pixel(p)) for p in circuit.pixels), "  ")}]',
        f'"origin": {{{lines(origins, "  ")}}}',
    ]
    return "{" + lines(members, "") + "}\n"


def _source(source: Source) -> dict[str, Any]:
    further = {key: getattr(source, key) for key in _SOURCE_KEYS[source.kind]}
    return {"kind": source.kind, "name": source.name, **further}


def _stack(stack: Stack) -> dict[str, Any]:
    return {
        "name": stack.name,
        "function": stack.function,
        "toggles": [{"bit": t.bit, "drivers": list(t.drivers)} for t in stack.toggles],
        "strobe": None if stack.strobe is None else list(stack.strobe),
    }


def _pixel(pixel: Pixel) -> dict[str, Any]:
    return {"signal": pixel.signal, "lit": pixel.lit, "drivers": list(pixel.drivers)}


def _origin(origin: Origin) -> dict[str, Any]:
    source = None if origin.source is None else str(origin.source)
    return {"block": origin.block, "signal": origin.signal, "source": source}


def load_circuit(source: str | Path, *, where: str | None = None) -> Circuit:
    """The circuit in a file (a Path) or in a text (a str, called `where` in messages); `levels` is empty.

    Raises InputError with a J-code and the key's path for anything that docs/circuit.schema.json does not
    allow, and for what `check_circuit` finds.
    """
    text = read_text(source) if isinstance(source, Path) else source
    place = where or (str(source) if isinstance(source, Path) else "circuit.json")
    circuit = _circuit(Reader(parse(text, place), place))
    found = check_circuit(circuit)
    if found:
        more = f" (and {len(found) - 1} more)" if len(found) > 1 else ""
        first = found[0]
        raise InputError(first.code, first.what + more, where=f"{place}, {first.place}", hint=first.hint)
    return circuit


def _circuit(top: Reader) -> Circuit:
    top.header(FORMAT, VERSION)
    members = top.record(("format", "version", "name", "sources", "stacks", "pixels", "origin"))
    stacks = tuple(_read_stack(item) for item in members["stacks"].items())
    origins = members["origin"].record(tuple(dict.fromkeys(stack.name for stack in stacks)))
    return Circuit(
        name=members["name"].name(),
        sources=tuple(_read_source(item) for item in members["sources"].items()),
        stacks=stacks,
        pixels=tuple(_read_pixel(item) for item in members["pixels"].items()),
        origin=tuple(_read_origin(origins[stack.name]) for stack in stacks),
    )


def _read_source(reader: Reader) -> Source:
    members = reader.members()
    if "kind" not in members:
        reader.fail("J008", "the key 'kind' is missing")
    kind = members["kind"].one_of(_SOURCE_KEYS)
    members = reader.record(("kind", "name", *_SOURCE_KEYS[kind]))
    name = members["name"].name()
    if kind == "ticker":
        period, running = members["period_s"].positive(), members["running"].boolean()
        return Source(kind, name, period_s=period, running=running)
    if kind == "switch":
        return Source(kind, name, on=members["on"].boolean())
    return Source(kind, name)


def _read_stack(reader: Reader) -> Stack:
    members = reader.record(("name", "function", "toggles", "strobe"))
    strobe = members["strobe"]
    return Stack(
        name=members["name"].name(),
        function=members["function"].one_of(FUNCTIONS),
        toggles=tuple(_read_toggle(item) for item in members["toggles"].items()),
        strobe=None if strobe.value is None else _read_drivers(strobe),
    )


def _read_toggle(reader: Reader) -> Toggle:
    members = reader.record(("bit", "drivers"))
    return Toggle(members["bit"].integer(0, 1), _read_drivers(members["drivers"]))


def _read_pixel(reader: Reader) -> Pixel:
    members = reader.record(("signal", "lit", "drivers"))
    return Pixel(members["signal"].name(), members["lit"].boolean(), _read_drivers(members["drivers"]))


def _read_drivers(reader: Reader) -> tuple[str, ...]:
    drivers = sorted(item.name() for item in reader.items())
    for a, b in zip(drivers, drivers[1:], strict=False):
        if a == b:
            reader.fail("J015", f"the driver '{a}' stands twice")
    return tuple(drivers)


def _read_origin(reader: Reader) -> Origin:
    members = reader.record(("block", "signal", "source"))
    source = members["source"]
    block, signal = members["block"], members["signal"]
    return Origin(_text(block), _text(signal), None if source.value is None else _source_line(source))


def _text(reader: Reader) -> str:
    """Like a name, but may be empty: not every stack stands for a signal."""
    return "" if reader.value == "" else reader.name()


def _source_line(reader: Reader) -> SourceLine:
    path, colon, number = _long_text(reader).rpartition(":")
    if not path or not colon or not number.isascii() or not number.isdigit() or len(number) > 9:
        reader.fail("J011", "a source is written FILE:LINE")
    return SourceLine(path, int(number))


def _long_text(reader: Reader) -> str:
    if type(reader.value) is not str or len(reader.value) > 4096:
        reader.fail("J009", "a text of at most 4,096 characters is wanted here")
    return reader.value
