"""Devices as shapes, each inside its own tile.

Gates bear the qualifying symbols of IEC 60617-12: & (AND), the sign 'at least one' (OR), =1 (exactly one),
and the negation circle at the output; a strobe bears the wedge of a dynamic input. Pixels are the lamp of IEC
60617-8 (a circle with a cross); buttons and switches are drawn after the contacts of IEC 60617-7; a ticker
bears the pulse train of an astable element, and a delay the sign of a delay element, both of IEC 60617-12.
"""

from __future__ import annotations

from collections.abc import Callable

from hdl2grid.plan.model import Device
from hdl2grid.show import look as hues
from hdl2grid.show.look import Look
from hdl2grid.show.scene import Box, Disc, Group, Line, Point, Polyline, Shape, Text

SYMBOL = {"AND": "&", "NAND": "&", "OR": "≥1", "NOR": "≥1", "XOR": "=1", "XNOR": "=1"}
NEGATED = frozenset({"NAND", "NOR", "XNOR"})


def device_shape(device: Device, look: Look) -> Group:
    """One device, with a title that names it and its place."""
    x, y = look.middle(device.x), look.middle(device.y)
    shapes = _DRAW[device.kind](device, x, y, look)
    if device.kind == "delay" and device.to is not None:
        shapes += _delay_end(device, x, y, look)
    return Group(device_title(device), tuple(shapes))


def device_title(device: Device) -> str:
    """What the device is and where, in words: "gate NAND minutes.carry (12,4)"."""
    words: dict[str, Callable[[], str]] = {
        "gate": lambda: f"gate {device.function} {device.name}",
        "toggle": lambda: f"toggle {device.bit}",
        "strobe": lambda: "strobe",
        "pixel": lambda: f"pixel {device.signal}, {'lit' if device.lit else 'dark'}",
        "ticker": lambda: f"ticker {device.name}, every {device.period_s} s{'' if device.running else ', stopped'}",
        "button": lambda: f"button {device.name}",
        "switch": lambda: f"switch {device.name}, {'on' if device.on else 'off'}",
        "delay": lambda: f"delay of {device.seconds} s to {device.to}",
        "crossover": lambda: "crossover",
    }
    return f"{words[device.kind]()} ({device.x},{device.y})"


def _box(x: float, y: float, look: Look, fill: str = hues.PAPER, radius: float = 0.06) -> Box:
    half = look.half
    return Box(x - half, y - half, 2 * half, 2 * half, fill, hues.OUTLINE, look.thin * 1.2, look.tile * radius)


def _word(text: str, x: float, y: float, look: Look, fill: str = hues.INK, size: float = 0.46) -> Text:
    return Text(x, y + look.tile * size * 0.36, text, look.tile * size, fill, "middle", bold=True)


def gate_shapes(function: str, x: float, y: float, look: Look) -> list[Shape]:
    """A gate of `function` with its middle at (`x`, `y`)."""
    size, thin = look.tile, look.thin
    shapes: list[Shape] = [_box(x, y, look)]
    symbol = SYMBOL[function]
    if symbol == "≥1":
        left, top, step = x - size * 0.25, y - size * 0.13, size * 0.1
        sign = ((left, top), (left + 2.2 * step, top + step), (left, top + 2 * step))
        shapes.append(Polyline(sign, hues.INK, thin * 1.3))
        low = top + 2.9 * step
        shapes.append(Line(left, low, left + 2.2 * step, low, hues.INK, thin * 1.3))
        shapes.append(_word("1", x + size * 0.14, y, look))
    else:
        shapes.append(_word(symbol, x, y, look))
    if function in NEGATED:
        shapes.append(Disc(x, y + look.half, size * 0.11, hues.PAPER, hues.INK, thin * 1.3))
    return shapes


def _gate(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    return gate_shapes(device.function or "AND", x, y, look)


def _toggle(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    one = device.bit == 1
    fill, ink = (hues.TOGGLE_ONE, hues.PAPER) if one else (hues.PAPER, hues.INK)
    return [_box(x, y, look, fill), _word(str(device.bit), x, y, look, ink)]


def _strobe(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    left, deep, half = x - look.half, look.tile * 0.42, look.tile * 0.24
    wedge = ((left, y - half), (left + deep, y), (left, y + half))
    return [_box(x, y, look), Polyline(wedge, hues.INK, look.thin * 1.4)]


def _pixel(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    radius = look.tile * 0.4
    fill, cross = (hues.PIXEL_LIT, hues.INK) if device.lit else (hues.PIXEL_DARK, hues.PIXEL_DARK_CROSS)
    arm = radius * 0.7071
    return [
        Disc(x, y, radius, fill, hues.INK, look.thin * 1.3),
        Line(x - arm, y - arm, x + arm, y + arm, cross, look.thin),
        Line(x - arm, y + arm, x + arm, y - arm, cross, look.thin),
    ]


def _ticker(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    step, high = look.tile * 0.13, look.tile * 0.2
    left, low, top = x - 2 * step, y + high * 0.8, y - high * 0.8
    train: list[Point] = [(left, low), (left + step, low), (left + step, top), (left + 2 * step, top)]
    train += [(left + 2 * step, low), (left + 3 * step, low), (left + 3 * step, top), (left + 4 * step, top)]
    shapes: list[Shape] = [_box(x, y, look), Polyline(tuple(train), hues.INK, look.thin * 1.4)]
    if not device.running:
        bar = look.tile * 0.28
        shapes.append(Line(x - bar, y + bar, x + bar, y - bar, hues.INK, look.thin * 1.4))
    return shapes


def _button(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    wide, thin = look.tile * 0.22, look.thin * 1.5
    return [
        _box(x, y, look),
        Line(x - wide, y - wide * 0.9, x + wide, y - wide * 0.9, hues.INK, thin),
        Line(x, y - wide * 0.9, x, y + wide * 0.3, hues.INK, thin),
        Line(x - wide, y + wide * 0.3, x + wide, y + wide * 0.3, hues.INK, thin),
        Disc(x - wide, y + wide, look.thin * 1.3, hues.INK),
        Disc(x + wide, y + wide, look.thin * 1.3, hues.INK),
    ]


def _switch(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    wide, thin = look.tile * 0.24, look.thin * 1.5
    lift = 0.0 if device.on else look.tile * 0.2
    reach = wide if device.on else wide * 0.75
    low = y + look.tile * 0.04
    return [
        _box(x, y, look),
        Line(x - wide, low, x + reach, low - lift, hues.INK, thin),
        Disc(x - wide, low, look.thin * 1.5, hues.INK),
        Disc(x + wide, low, look.thin * 1.5, hues.PAPER, hues.INK, look.thin),
        Text(
            x,
            y + look.tile * 0.3,
            "on" if device.on else "off",
            look.tile * 0.24,
            hues.INK,
            "middle",
            bold=True,
        ),
    ]


def _delay(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    wide, high, thin = look.tile * 0.22, look.tile * 0.14, look.thin * 1.4
    return [
        _box(x, y, look),
        Line(x - wide, y, x + wide, y, hues.INK, thin),
        Line(x - wide, y - high, x - wide, y + high, hues.INK, thin),
        Line(x + wide, y - high, x + wide, y + high, hues.INK, thin),
    ]


def _delay_end(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    """The out tile of a delay, and the clear line that leads to it."""
    assert device.to is not None
    end_x, end_y = look.middle(device.to[0]), look.middle(device.to[1])
    return [
        Line(x, y, end_x, end_y, hues.OUTLINE, look.thin, (look.tile * 0.1, look.tile * 0.2)),
        Disc(end_x, end_y, look.half, hues.PAPER, hues.OUTLINE, look.thin * 1.2),
        Disc(end_x, end_y, look.half * 0.3, hues.INK),
    ]


def _crossover(device: Device, x: float, y: float, look: Look) -> list[Shape]:
    half = look.tile * 0.44
    return [
        Box(x - half, y - half, 2 * half, 2 * half, hues.STACK, hues.OUTLINE, look.thin, look.tile * 0.3),
    ]


_DRAW: dict[str, Callable[[Device, float, float, Look], list[Shape]]] = {
    "gate": _gate,
    "toggle": _toggle,
    "strobe": _strobe,
    "pixel": _pixel,
    "ticker": _ticker,
    "button": _button,
    "switch": _switch,
    "delay": _delay,
    "crossover": _crossover,
}
