"""plan.json out and in: docs/plan.schema.json says its shape; here each mistake gets its place."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from hdl2grid.base.errors import nearest
from hdl2grid.base.strict_json import Reader, line, lines, parse, read_text
from hdl2grid.circuit.model import FUNCTIONS
from hdl2grid.plan.model import Device, Plan, Rect, SignalTap, Stroke

FORMAT = "hdl2grid plan"
VERSION = 1
"""Of the format; a file of another version is refused."""
MAX_SIDE = 10_000
"""Tiles of a side of the grid: as much as a target may allow."""
MAX_COLOURS = 16
"""Wire colours that a file may list: more than a target has. Guessed."""
MAX_WIRE_TILES = 4_000_000
"""Tiles of all strokes, so that a stranger's file cannot fill the memory. Guessed."""

DEVICE_KEYS: dict[str, tuple[str, ...]] = {
    "gate": ("function", "name"),
    "toggle": ("bit",),
    "strobe": (),
    "pixel": ("lit", "signal"),
    "ticker": ("name", "period_s", "running"),
    "button": ("name",),
    "switch": ("name", "on"),
    "delay": ("to", "seconds"),
    "crossover": ("form",),
}
"""The keys of each kind of device beside `kind`, `x` and `y`, in the order in which they are written."""

_TOP = ("format", "version", "name", "target", "colours", "size", "devices", "wires", "signals")


def dump_plan(plan: Plan) -> str:
    """The text of plan.json: one device, stroke or signal a line; ends with a newline."""
    wires = (
        f"{line(colour)}: [{lines((line(list(s)) for s in strokes), '    ')}]"
        for colour, strokes in zip(plan.colours, plan.wires, strict=True)
    )
    taps = (
        f"{line(t.signal)}: {line({'colour': t.colour, 'x': t.x, 'y': t.y, 'initial': t.initial})}"
        for t in plan.signals
    )
    members = [
        f'"format": {line(FORMAT)}',
        f'"version": {VERSION}',
        f'"name": {line(plan.name)}',
        f'"target": {line(plan.target)}',
        f'"colours": {line(list(plan.colours))}',
        f'"size": {line([plan.width, plan.height])}',
        f'"devices": [{lines((line(_device(d)) for d in plan.devices), "  ")}]',
        f'"wires": {{{lines(wires, "  ")}}}',
        f'"backdrop": [{lines((line(list(r)) for r in plan.backdrop), "  ")}]',
        f'"signals": {{{lines(taps, "  ")}}}',
    ]
    return "{" + lines(members, "") + "}\n"


def _device(device: Device) -> dict[str, Any]:
    written: dict[str, Any] = {"kind": device.kind, "x": device.x, "y": device.y}
    for key in DEVICE_KEYS[device.kind]:
        value = getattr(device, key)
        written[key] = list(value) if isinstance(value, tuple) else value
    return written


def load_plan(source: str | Path, *, where: str | None = None) -> Plan:
    """The plan in a file (a Path) or in a text (a str, called `where` in messages).

    Raises InputError with a J-code and the key's path for anything that docs/plan.schema.json does not allow,
    and for names that stand twice, tiles outside the grid, strokes that are not straight and colours that are
    not declared. Memory is bounded: a file over 32 MiB or of more than 4,000,000 wire tiles is refused.
    """
    text = read_text(source) if isinstance(source, Path) else source
    place = where or (str(source) if isinstance(source, Path) else "plan.json")
    return _plan(Reader(parse(text, place), place))


def _plan(top: Reader) -> Plan:
    top.header(FORMAT, VERSION)
    members = top.record(_TOP, ("backdrop",))
    colours = _colours(members["colours"])
    width, height = (side.integer(1, MAX_SIDE) for side in members["size"].items(2))
    grid = _Grid(width, height)
    backdrop = members.get("backdrop")
    return Plan(
        name=members["name"].name(),
        target=members["target"].name(),
        colours=colours,
        width=width,
        height=height,
        devices=_devices(members["devices"], grid),
        wires=_wires(members["wires"], grid, colours),
        backdrop=tuple(grid.rectangle(r) for r in backdrop.items()) if backdrop else (),
        signals=tuple(_tap(n, r, grid, colours) for n, r in members["signals"].members().items()),
    )


class _Grid:
    def __init__(self, width: int, height: int) -> None:
        self.width = width
        self.height = height

    def tile(self, x: Reader, y: Reader) -> tuple[int, int]:
        return x.integer(0, self.width - 1), y.integer(0, self.height - 1)

    def corners(self, reader: Reader) -> Rect:
        x0, y0, x1, y1 = reader.items(4)
        return (*self.tile(x0, y0), *self.tile(x1, y1))

    def stroke(self, reader: Reader) -> Stroke:
        x0, y0, x1, y1 = self.corners(reader)
        if x0 != x1 and y0 != y1:
            reader.fail("J014", f"the stroke from ({x0},{y0}) to ({x1},{y1}) is not horizontal or vertical")
        return x0, y0, x1, y1

    def rectangle(self, reader: Reader) -> Rect:
        x0, y0, x1, y1 = self.corners(reader)
        if x0 > x1 or y0 > y1:
            reader.fail("J014", "a rectangle is [left, top, right, bottom]")
        return x0, y0, x1, y1


def _colours(reader: Reader) -> tuple[str, ...]:
    colours = tuple(item.name() for item in reader.items())
    if not 1 <= len(colours) <= MAX_COLOURS:
        reader.fail("J010", f"a plan has 1 to {MAX_COLOURS} colours, not {len(colours)}")
    _no_twins(reader, colours, "colour")
    return colours


def _no_twins(reader: Reader, names: tuple[str, ...], what: str) -> None:
    seen: set[str] = set()
    for name in names:
        if name in seen:
            reader.fail("J015", f"the {what} '{name}' stands twice")
        seen.add(name)


def _devices(reader: Reader, grid: _Grid) -> tuple[Device, ...]:
    devices = tuple(_read_device(item, grid) for item in reader.items())
    _no_twins(reader, tuple(d.name for d in devices if d.name is not None), "name")
    return devices


# How the value of each key of a device is read.
_READERS: dict[str, Callable[[Reader], Any]] = {
    "function": lambda r: r.one_of(FUNCTIONS),
    "name": Reader.name,
    "bit": lambda r: r.integer(0, 1),
    "lit": Reader.boolean,
    "signal": Reader.name,
    "period_s": Reader.positive,
    "running": Reader.boolean,
    "on": Reader.boolean,
    "seconds": Reader.positive,
    "form": lambda r: r.one_of(("straight",)),
}


def read_device(reader: Reader, width: int, height: int) -> Device:
    """One device with its keys as in plan.json, within a grid of `width` x `height`. Raises InputError (J)."""
    return _read_device(reader, _Grid(width, height))


def _read_device(reader: Reader, grid: _Grid) -> Device:
    members = reader.members()
    if "kind" not in members:
        reader.fail("J008", "the key 'kind' is missing")
    kind = members["kind"].one_of(DEVICE_KEYS)
    keys = DEVICE_KEYS[kind]
    members = reader.record(("kind", "x", "y", *keys))
    x, y = grid.tile(members["x"], members["y"])
    further: dict[str, Any] = {key: _READERS[key](members[key]) for key in keys if key != "to"}
    if kind == "delay":
        further["to"] = grid.tile(*members["to"].items(2))
    return Device(kind, x, y, **further)


def _wires(reader: Reader, grid: _Grid, colours: tuple[str, ...]) -> tuple[tuple[Stroke, ...], ...]:
    members = reader.record(colours)
    wires = tuple(tuple(grid.stroke(item) for item in members[colour].items()) for colour in colours)
    tiles = sum(_length(stroke) for strokes in wires for stroke in strokes)
    if tiles > MAX_WIRE_TILES:
        reader.fail("J002", f"the strokes cover {tiles} tiles; at most {MAX_WIRE_TILES} are read")
    return wires


def _length(stroke: Stroke) -> int:
    x0, y0, x1, y1 = stroke
    return abs(x1 - x0) + abs(y1 - y0) + 1


def _tap(name: str, reader: Reader, grid: _Grid, colours: tuple[str, ...]) -> SignalTap:
    Reader(name, reader.where, reader.path).name()
    members = reader.record(("colour", "x", "y", "initial"))
    colour = members["colour"].name()
    if colour not in colours:
        members["colour"].fail("J012", f"'{colour}' is no colour of this plan", nearest(colour, colours))
    x, y = grid.tile(members["x"], members["y"])
    return SignalTap(name, colour, x, y, members["initial"].integer(0, 1))


def stroke_tiles(stroke: Stroke) -> Iterator[tuple[int, int]]:
    """The tiles of a stroke from its first end to its last, ends included."""
    x0, y0, x1, y1 = stroke
    step_x = (x1 > x0) - (x1 < x0)
    step_y = (y1 > y0) - (y1 < y0)
    for i in range(_length(stroke)):
        yield x0 + i * step_x, y0 + i * step_y
