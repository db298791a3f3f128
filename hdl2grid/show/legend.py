"""The legend: how each wire colour and each device is drawn, and how many of each there are."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.base.target import Colour
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show import look as hues
from hdl2grid.show.devices import device_shape, gate_shapes
from hdl2grid.show.look import Look
from hdl2grid.show.parts_list import count_devices, wire_tile_counts
from hdl2grid.show.scene import Disc, Line, Shape, Text
from hdl2grid.show.transform import shifted

LEGEND_WIDTH = 290
"""Width of the legend in pixels. Guessed."""

ROW = 27
"""Height of a row with a sample, in pixels. Guessed."""

_TILE = 24.0
"""Pixels to a tile of the samples. Guessed."""

_HEAD = 26
"""Height of a heading, in pixels. Guessed."""

_LINE = 15
"""Height of a line of words, in pixels. Guessed."""

_SAMPLES: dict[str, tuple[Device, str]] = {
    "toggle 0": (Device("toggle", 0, 0, bit=0), "toggle that bears 0"),
    "toggle 1": (Device("toggle", 0, 0, bit=1), "toggle that bears 1"),
    "strobe": (Device("strobe", 0, 0), "strobe: its stack samples"),
    "pixel lit": (Device("pixel", 0, 0, lit=True), "pixel, lit"),
    "pixel dark": (Device("pixel", 0, 0, lit=False), "pixel, dark"),
    "ticker running": (Device("ticker", 0, 0, running=True), "ticker"),
    "ticker stopped": (Device("ticker", 0, 0, running=False), "ticker, stopped"),
    "button": (Device("button", 0, 0), "button"),
    "switch on": (Device("switch", 0, 0, on=True), "switch, on"),
    "switch off": (Device("switch", 0, 0, on=False), "switch, off"),
    "delay": (Device("delay", 0, 0), "delay, to the end of its line"),
    "crossover": (Device("crossover", 0, 0), "crossover: the ways do not touch"),
}
"""What is counted, by its key: a device that is drawn as its sample, and its words."""

_GATES = {
    "gate AND": "gate: all toggles 1",
    "gate OR": "gate: at least one toggle 1",
    "gate NAND": "gate: not all toggles 1",
    "gate NOR": "gate: no toggle 1",
    "gate XOR": "gate: exactly one toggle 1",
    "gate XNOR": "gate: not exactly one toggle 1",
}


def _device_rows(plan: Plan) -> list[tuple[str, str, int]]:
    """Kind, words and number of each sort of device that the plan has."""
    counts = count_devices(plan)
    words = {**_GATES, **{kind: text for kind, (_, text) in _SAMPLES.items()}}
    return [(kind, words[kind], number) for kind, number in counts.items()]


def _sources(plan: Plan) -> list[str]:
    lines = []
    for device in plan.devices:
        if device.kind in ("ticker", "button", "switch"):
            period = f", every {device.period_s:g} s" if device.period_s is not None else ""
            lines.append(f"{shortened(device.name or '')}: {device.kind} at ({device.x},{device.y}){period}")
    return lines


def shortened(name: str, length: int = 24) -> str:
    """A name that fits: its start and its end where it is longer than `length` characters."""
    return name if len(name) <= length else f"{name[: length // 2 - 1]}...{name[1 - length // 2 :]}"


def legend_height(plan: Plan) -> int:
    """Pixels from the legend's top to its end."""
    rows = len(plan.colours) + len(_device_rows(plan))
    return 3 * _HEAD + rows * ROW + len(_sources(plan)) * _LINE + len(_NOTES) * _LINE + _HEAD


_NOTES = (
    "Tiles that touch and bear one colour are joined;",
    "colours never touch each other. A dot marks",
    "where three wires or more of a colour meet.",
    "Wire on a device's tile is connected to it.",
)


def legend_shapes(plan: Plan, colours: Sequence[Colour], left: float, top: float) -> list[Shape]:
    """The legend's shapes, LEGEND_WIDTH wide, with its top left at (`left`, `top`) in pixels."""
    look = Look(_TILE, tuple(colours))
    shapes: list[Shape] = []
    y = top + 16

    def head(text: str) -> None:
        nonlocal y
        shapes.append(Text(left, y, text, 12, hues.INK, bold=True))
        y += 10

    def row(sample: list[Shape], text: str) -> None:
        nonlocal y
        shapes.extend(shifted(sample, left, y))
        shapes.append(Text(left + 68, y + 16, text, 11, hues.INK))
        y += ROW

    head("Wires")
    tiles = wire_tile_counts(plan)
    for index, colour in enumerate(colours):
        code = f" ({colour.code})" if colour.code else ""
        row(_wire_sample(index, look), f"{colour.name}{code}, {tiles[colour.name]} tiles")
    y += 16
    head("Devices")
    for kind, words, number in _device_rows(plan):
        row(_device_sample(kind, look), f"{number} x {words}")
    y += 16
    head("Sources")
    for text in _sources(plan):
        y += _LINE
        shapes.append(Text(left, y - 2, text, 11, hues.INK))
    y += 10
    for text in _NOTES:
        y += _LINE
        shapes.append(Text(left, y, text, 10, hues.GREY_TEXT))
    return shapes


def _wire_sample(index: int, look: Look) -> list[Shape]:
    hue, y = look.colours[index].hue, _TILE / 2
    return [
        Line(2, y, 56, y, hue, look.wire * 1.2, look.dash(index)),
        Disc(2, y, look.wire * 0.8, hue),
        Disc(56, y, look.wire * 0.8, hue),
    ]


def _device_sample(kind: str, look: Look) -> list[Shape]:
    x = y = look.middle(0)
    if kind in _GATES:
        return shifted(gate_shapes(kind.split()[1], x, y, look), 17, 0)
    if kind == "crossover":
        reach = look.tile * 0.75
        across: list[Shape] = [
            *device_shape(_SAMPLES[kind][0], look).shapes,
            Line(x - reach, y, x + reach, y, hues.GREY_TEXT, look.wire),
            Line(x, y - look.half, x, y + look.half, hues.STACK, look.wire * 2.2),
            Line(x, y - look.half * 1.4, x, y + look.half * 1.4, hues.GREY_TEXT, look.wire),
        ]
        return shifted(across, 17, 0)
    return shifted(list(device_shape(_SAMPLES[kind][0], look).shapes), 17, 0)
