"""The state diagram of a small machine.

The states stand in two columns, down on the right and up on the left, in the order in which a walk finds them, so
that a counter is a ring.
"""

from __future__ import annotations

import math
import textwrap

from hdl2grid.show import look as hues
from hdl2grid.show.legend import shortened
from hdl2grid.show.scene import Box, Point, Polyline, Scene, Shape, Text
from hdl2grid.show.state_space import MAX_STATES, StateSpace, state_space
from hdl2grid.sim.pulse_network import Network

_HIGH = 24.0
"""Height of a state, in pixels. This and all sizes below are guessed."""

_GAP = 38.0
"""Room between two states, in pixels."""

_PORT = 13.0
"""Distance between two arrows at one state, in pixels."""

_SMALL = 5.2
"""Width of a letter beside an arrow, in pixels."""

_ARROW = 44
"""Most letters beside an arrow."""

_NOTE = 120
"""Most letters in a line of a note."""

_LETTER = 6.6
"""Width of a letter in a state, in pixels."""

_MARGIN = 40.0
"""Margin of the drawing, in pixels."""

_HEAD = 84.0
"""Room for the title, in pixels."""

_CURVE_POINTS = 16
"""Straight pieces that a curve is drawn with."""

_LABEL_LENGTH = 40
"""Most letters in a state."""


def states_scene(network: Network, max_states: int = MAX_STATES) -> Scene:
    """The state diagram of a machine. Raises InputError (W004) as `state_space` does."""
    space = state_space(network, max_states)
    count = len(space.labels)
    labels = [shortened(label, _LABEL_LENGTH) for label in space.labels]
    if len(set(labels)) < count:
        labels = [f"{i + 1}: {label}" for i, label in enumerate(labels)]
    numbered = len(set(space.labels)) < count
    wide = max(60.0, max(len(label) for label in labels) * _LETTER + 20)
    diagram = _Diagram(space, wide)
    shapes = [shape for start, to, text in space.arrows for shape in diagram.arrow(start, to, text)]
    for i, (x, y) in enumerate(diagram.places):
        line = 2.8 if i == 0 else 1.3
        high = diagram.high[i]
        shapes.append(Box(x - wide / 2, y - high / 2, wide, high, hues.PAPER, hues.INK, line, _HIGH / 2))
        shapes.append(Text(x, y + 3.8, labels[i], 10.5, hues.INK, "middle"))
    title = f"{shortened(network.name, 60)}: {count} {'state' if count == 1 else 'states'}"
    notes = _notes(space, labels, numbered)
    head: list[Shape] = [Text(_MARGIN, 24, title, 17, hues.INK, bold=True)]
    head += [Text(_MARGIN, 41 + 14 * i, note, 10, hues.GREY_TEXT) for i, note in enumerate(notes)]
    return Scene(*diagram.size, title, " ".join(notes), (*head, *shapes))


def _notes(space: StateSpace, labels: list[str], numbered: bool) -> list[str]:
    notes = ["The state with the thick edge is the first. Events that change nothing are left out."]
    if any("=" not in label for label in space.labels):
        notes.append("A name by itself is an output that is 1.")
    for event, to, sources in space.everywhere:
        names = [str(s + 1) if numbered else labels[s] for s in sources]
        told = f"from {', '.join(names)}" if names else "from everywhere"
        notes += textwrap.wrap(f"{event}: {told} to {labels[to]}", _NOTE)
    return notes


class _Diagram:
    """Places for the states, and the arrows between them. Each arrow leaves and enters a state on a row of its own at
    its inner side, so that no label lies on another."""

    def __init__(self, space: StateSpace, wide: float) -> None:
        count = len(space.labels)
        rows = (count + 1) // 2
        self.wide = wide
        self.column = [i >= rows for i in range(count)]
        self.row = [i if i < rows else 2 * rows - 1 - i for i in range(count)]
        self.out: dict[tuple[int, int], int] = {}
        self.into: dict[tuple[int, int], int] = {}
        ports = [0] * count
        for start, end, _ in space.arrows:
            if not self.is_next(start, end):
                self.out[start, end] = ports[start]
                ports[start] += 1
        for start, end, _ in space.arrows:
            if not self.is_next(start, end):
                self.into[start, end] = ports[end]
                ports[end] += 1
        self.ports = ports
        self.high = [max(_HIGH, _PORT * n + 4) for n in ports]
        curved = [shortened(text, _ARROW) for a, b, text in space.arrows if not self.is_next(a, b)]
        self.stub = max((len(text) * _SMALL for text in curved), default=0.0) + 14
        inner = 2 * self.stub + max(150.0, min(420.0, 24.0 * rows)) if curved else 150.0
        beside = max(
            (len(shortened(t, _ARROW)) * _SMALL for a, b, t in space.arrows if self.is_next(a, b)), default=0.0
        )
        edge = _MARGIN + max(30.0, beside - wide / 2 + 26)
        left, right = edge + wide / 2, edge + wide * 1.5 + inner
        self.middle = (left + right) / 2
        notes = len(space.everywhere) + 1
        tops = [_HEAD + 14.0 * notes]
        for row in range(rows):
            tallest = max((self.high[i] for i in range(count) if self.row[i] == row), default=_HIGH)
            tops.append(tops[-1] + tallest + _GAP)
        self.places = [
            (left if self.column[i] else right, (tops[self.row[i]] + tops[self.row[i] + 1] - _GAP) / 2)
            for i in range(count)
        ]
        self.size = (round(max(right + wide / 2 + edge, 560.0)), round(tops[-1] + _MARGIN))

    def is_next(self, start: int, end: int) -> bool:
        """Whether two states stand one above the other."""
        return self.column[start] == self.column[end] and abs(self.row[start] - self.row[end]) == 1

    def arrow(self, start: int, end: int, text: str) -> list[Shape]:
        """An arrow: straight between neighbours in a column, else a curve through the middle."""
        (x0, y0), (x1, y1) = self.places[start], self.places[end]
        told = shortened(text, _ARROW)
        if self.is_next(start, end):
            side = 1 if y1 > y0 else -1
            x = x0 + side * 16
            path = [(x, y0 + side * self.high[start] / 2), (x, y1 - side * self.high[end] / 2)]
            middle = (path[0][1] + path[1][1]) / 2 + 3.5
            label = Text(x + side * 6, middle, told, 9.5, hues.INK, "start" if side > 0 else "end", halo=hues.PAPER)
            return [*_line(path), label]
        first, inward = self._port(start, self.out[start, end])
        last, outward = self._port(end, self.into[start, end])
        leave = first[0] + inward * self.stub, first[1]
        enter = last[0] + outward * 16, last[1]
        pull = 0.9 if x0 == x1 else 0.5
        bent = [(x + (self.middle - x) * pull, y) for x, y in (leave, enter)]
        curve = [_cubic((leave, bent[0], bent[1], enter), k / _CURVE_POINTS) for k in range(_CURVE_POINTS + 1)]
        label = Text(
            first[0] + inward * 6,
            first[1] + 3.2,
            told,
            9.5,
            hues.INK,
            "start" if inward > 0 else "end",
            halo=hues.PAPER,
        )
        begin = first[0] + inward * (len(told) * _SMALL + 12), first[1]
        return [*_line([begin, *curve, last]), label]

    def _port(self, state: int, number: int) -> tuple[Point, int]:
        """A row at the inner side of a state, and the direction inward."""
        x, y = self.places[state]
        inward = 1 if self.column[state] else -1
        return (x + inward * self.wide / 2, y + _PORT * (number - (self.ports[state] - 1) / 2)), inward


def _line(path: list[Point]) -> list[Shape]:
    """A path with an arrowhead at its end."""
    tip, before = path[-1], path[-2]
    along = math.atan2(tip[1] - before[1], tip[0] - before[0])
    wings = [(tip[0] - 9 * math.cos(along + a), tip[1] - 9 * math.sin(along + a)) for a in (0.35, -0.35)]
    return [
        Polyline(tuple(path), hues.OUTLINE, 1.1),
        Polyline((wings[0], tip, wings[1]), hues.OUTLINE, 1.0, hues.OUTLINE, closed=True),
    ]


def _cubic(points: tuple[Point, Point, Point, Point], t: float) -> Point:
    """A point of a cubic Bezier curve."""
    share = ((1 - t) ** 3, 3 * t * (1 - t) ** 2, 3 * t**2 * (1 - t), t**3)
    x = sum(w * p[0] for w, p in zip(share, points, strict=True))
    return x, sum(w * p[1] for w, p in zip(share, points, strict=True))
