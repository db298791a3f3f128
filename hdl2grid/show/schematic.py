"""The circuit drawing: what is connected to what, without places, in the symbols of IEC 60617-12.

Qualifying symbols: & (AND), the sign 'at least one' (OR), =1 (exactly one; for two inputs also their sum modulo
2), 2k+1 (an odd number: the sum modulo 2 of more than two); 1D, 1T and C1 with the wedge of a dynamic input
(flip-flops); a small circle negates.
"""

from __future__ import annotations

from collections.abc import Mapping

from hdl2grid.base.errors import InputError
from hdl2grid.circuit.model import Origin
from hdl2grid.plan.model import Device
from hdl2grid.show import look as hues
from hdl2grid.show.circuit_parts import Part, circuit_parts
from hdl2grid.show.devices import NEGATED, SYMBOL, device_shape
from hdl2grid.show.legend import shortened
from hdl2grid.show.look import Look
from hdl2grid.show.scene import Box, Disc, Group, Line, Polyline, Scene, Shape, Text
from hdl2grid.show.schematic_layout import Layout, Node, lay_out_parts
from hdl2grid.show.transform import shifted
from hdl2grid.sim.pulse_network import Network

MAX_PARTS = 3000
"""Largest circuit that is drawn, in parts. Guessed."""

PITCH = 16.0
"""Distance between two inputs, in pixels. This and all sizes below are guessed."""

_TRACK = 9.0
"""Distance between two vertical lines, in pixels."""

_SYMBOL = 52.0
"""Width of a symbol, in pixels."""

_SUM = 30.0
"""Width of a sum's symbol, in pixels."""

_LABEL = 150.0
"""Room for a name beside an input, in pixels."""

_MARGIN = 30.0
"""Margin of the drawing, in pixels."""

_HEAD = 60.0
"""Room for the title, in pixels."""

_NAME_LENGTH = 26
"""Longer names are shortened to so many letters."""

_LINE = 1.2
"""Width of lines, in pixels."""

_CIRCLE = 3.0
"""Radius of the circle that negates, in pixels."""


def schematic_scene(network: Network, origins: Mapping[str, Origin] | None = None) -> Scene:
    """The circuit drawing of a machine. `origins` tells, by a stack's name, what it stands for in the HDL design.

    Raises InputError (W004) for a machine of more than 3000 parts.
    """
    parts = circuit_parts(network)
    if len(parts) > MAX_PARTS:
        what = f"a circuit of {len(parts)} parts is too large to be drawn; at most {MAX_PARTS} are"
        raise InputError("W004", what, where=network.name)
    layout = lay_out_parts(parts)
    drawing = _Drawing(layout, origins or {})
    shapes = drawing.shapes()
    title = f"{shortened(network.name, 60)}: circuit of {len(network.stacks)} stacks"
    notes = (
        "What leads to a flip-flop is told by name at its input. Several drivers of one input add up modulo 2.",
        "A flip-flop 1D follows its data at each clock; 1T changes at a clock while its input is 1.",
    )
    head: list[Shape] = [Text(_MARGIN, 24, title, 17, hues.INK, bold=True)]
    head += [Text(_MARGIN, 40 + 13 * i, note, 10, hues.GREY_TEXT) for i, note in enumerate(notes)]
    about = "Sources, flip-flops, gates and lamps from left to right, in the symbols of IEC 60617-12."
    size = (round(max(drawing.width, 620.0)), round(drawing.height))
    return Scene(*size, title, about, (*head, *shapes))


class _Drawing:
    """Turns pitches into pixels."""

    def __init__(self, layout: Layout, origins: Mapping[str, Origin]) -> None:
        self.layout, self.origins = layout, origins
        self.left: list[float] = []
        x = _MARGIN
        for column, tracks in zip(layout.columns, layout.tracks, strict=True):
            x += self._room_before(column)
            self.left.append(x)
            x += _SYMBOL + _TRACK * (tracks + 2)
        self.width = x + _MARGIN + _LABEL
        lowest = max((node.top + node.height for node in layout.nodes), default=0)
        self.height = _HEAD + lowest * PITCH + _MARGIN

    def _room_before(self, column: tuple[int, ...]) -> float:
        """For labels and sums on the left of the symbols of a column."""
        nodes = [self.layout.nodes[i] for i in column]
        has_label = any(node.part is not None and (None in node.feeds or node.part.clock) for node in nodes)
        has_sum = any(n.part is not None and any(len(one.drivers) > 1 for one in n.part.inputs) for n in nodes)
        return (_LABEL if has_label else 0.0) + (_SUM + 14 if has_sum else 0.0)

    def y(self, pitches: float) -> float:
        return _HEAD + pitches * PITCH

    def shapes(self) -> list[Shape]:
        shapes: list[Shape] = []
        for node in self.layout.nodes:
            shapes += self._passage(node) if node.part is None else [self._part(node, node.part)]
        return [*self._trunks(), *shapes]

    def _pin_x(self, node: Node, index: int) -> float:
        """Where a line to an input ends: at the symbol, or at the sum in front of it."""
        x = self.left[node.column]
        if node.part is None:
            return x
        for one in node.part.inputs:
            if index < max(1, len(one.drivers)):
                return x - _SUM - 14 if len(one.drivers) > 1 else x
            index -= max(1, len(one.drivers))
        return x

    def _trunks(self) -> list[Shape]:
        lines: list[Shape] = []
        for trunk in self.layout.trunks:
            source = self.layout.nodes[trunk.source]
            x = self.left[trunk.channel] + _SYMBOL + _TRACK * (trunk.track + 1.5)
            start = self.y(source.out)
            ends = [(self.layout.nodes[i], index) for i, index in trunk.sinks]
            ys = [start, *(self.y(node.pin(index)) for node, index in ends)]
            right = self.left[trunk.channel] + _SYMBOL
            lines.append(Line(right, start, x, start, hues.INK, _LINE))
            lines.append(Line(x, min(ys), x, max(ys), hues.INK, _LINE))
            for node, index in ends:
                y = self.y(node.pin(index))
                lines.append(Line(x, y, self._pin_x(node, index), y, hues.INK, _LINE))
            inner = sorted(ys)[1:-1]
            lines += [Disc(x, y, 2.2, hues.INK) for y in inner]
        return lines

    def _passage(self, node: Node) -> list[Shape]:
        x, low, high = self.left[node.column], self.y(node.pin(0)), self.y(node.out)
        middle = x + _SYMBOL / 2
        path = ((x, low), (middle, low), (middle, high), (x + _SYMBOL, high))
        return [Polyline(path, hues.INK, _LINE)]

    def _part(self, node: Node, part: Part) -> Group:
        x, top = self.left[node.column], self.y(node.top + 1)
        draw = {"source": self._source, "lamp": self._lamp}.get(part.kind, self._element)
        name = shortened(part.name, _NAME_LENGTH)
        shapes = draw(node, part, x, top)
        if part.kind != "lamp":
            shapes.append(Text(x + _SYMBOL / 2, top - 4, name, 9.5, hues.INK, "middle", halo=hues.PAPER))
        return Group(self._title(part), tuple(shapes))

    def _title(self, part: Part) -> str:
        origin = self.origins.get(part.name) if part.kind in ("gate", "flipflop") else None
        words = [f"{part.kind} {part.symbol} {part.name}"]
        if origin is not None:
            words += [origin.signal, str(origin.source or "")]
        return ", ".join(word for word in words if word)

    def _source(self, node: Node, part: Part, x: float, top: float) -> list[Shape]:
        device = Device(part.symbol, 0, 0, name=part.name, running=True, on=False)
        symbol = device_shape(device, Look(24, ())).shapes
        return shifted(symbol, x + _SYMBOL - 24, top + PITCH - 12)

    def _lamp(self, node: Node, part: Part, x: float, top: float) -> list[Shape]:
        y = self.y(node.pin(0)) if len(node.feeds) < 2 else self.y(node.top + 1 + len(node.feeds) / 2)
        lamp = device_shape(Device("pixel", 0, 0, lit=True, signal=""), Look(24, ())).shapes
        name = Text(x + 30, y + 4, shortened(part.name, _NAME_LENGTH), 10, hues.INK, bold=True)
        return [*self._inputs(node, part, x), *shifted(lamp, x, y - 12), name]

    def _element(self, node: Node, part: Part, x: float, top: float) -> list[Shape]:
        """A gate or flip-flop: its outline, what it says, its inputs and its output."""
        out = self.y(node.out)
        right = x + _SYMBOL
        shapes: list[Shape] = [Box(x, top, _SYMBOL, node.rows * PITCH, hues.PAPER, hues.INK, 1.4)]
        shapes += self._inputs(node, part, x)
        if part.kind in ("gate", "sum"):
            sign = SYMBOL.get(part.symbol) or _sum_sign(len(part.inputs))
            shapes.append(Text(x + _SYMBOL / 2, top + 15, sign, 13, hues.INK, "middle"))
            shapes.append(Line(right, out, right + _TRACK, out, hues.INK, _LINE))
            if part.symbol in NEGATED:
                shapes.append(Disc(right + _CIRCLE, out, _CIRCLE, hues.PAPER, hues.INK, _LINE))
            return shapes
        first = self.y(node.pin(0))
        clock = self.y(node.top + 0.5 + node.rows)
        wedge = ((x, clock - 5), (x + 9, clock), (x, clock + 5))
        shapes += [
            Line(right, out, right + _TRACK, out, hues.INK, _LINE),
            Text(x + 6, first + 4, f"1{part.symbol}", 10, hues.INK),
            Polyline(wedge, hues.INK, _LINE),
            Text(x + 13, clock + 4, "C1", 10, hues.INK),
            Line(x - 12, clock, x, clock, hues.INK, _LINE),
            self._label(x - 14, clock, " or ".join(part.clock) or "nothing"),
        ]
        return shapes

    def _label(self, x: float, y: float, text: str) -> Text:
        return Text(x, y + 3.5, shortened(text, _NAME_LENGTH), 9.5, hues.INK, "end", halo=hues.PAPER)

    def _inputs(self, node: Node, part: Part, x: float) -> list[Shape]:
        shapes: list[Shape] = []
        index = 0
        for one in part.inputs:
            count = max(1, len(one.drivers))
            ys = [self.y(node.pin(index + i)) for i in range(count)]
            end = x - 2 * _CIRCLE if one.negated else x
            middle = sum(ys) / len(ys)
            start = x - 14
            if count > 1:
                shapes += self._sum(start - _SUM, ys)
                shapes.append(Line(start, middle, end, middle, hues.INK, _LINE))
            for i, (driver, y) in enumerate(zip(one.drivers, ys, strict=False)):
                if node.feeds[index + i] is None:
                    edge = x if count == 1 else start - _SUM
                    shapes.append(Line(edge - 12, y, end if count == 1 else edge, y, hues.INK, _LINE))
                    shapes.append(self._label(edge - 14, y, driver))
            if not one.drivers:
                shapes += [Line(start, middle, end, middle, hues.INK, _LINE), self._label(start - 2, middle, "0")]
            if one.negated:
                shapes.append(Disc(x - _CIRCLE, middle, _CIRCLE, hues.PAPER, hues.INK, _LINE))
            index += count
        return shapes

    def _sum(self, x: float, ys: list[float]) -> list[Shape]:
        """The sum modulo 2 of several drivers."""
        top, high = ys[0] - PITCH / 2 + 1, ys[-1] - ys[0] + PITCH - 2
        return [
            Box(x, top, _SUM, high, hues.PAPER, hues.INK, _LINE),
            Text(x + _SUM / 2, top + high / 2 + 3.5, _sum_sign(len(ys)), 10, hues.INK, "middle"),
        ]


def _sum_sign(number: int) -> str:
    """The qualifying symbol of a sum modulo 2 of that many levels."""
    return "=1" if number == 2 else "2k+1"
