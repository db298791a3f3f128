"""The state diagram of a small machine.

The states stand in two columns, down on the right and up on the left, in the order in which a walk finds them, so
that a counter is a ring.
"""

from __future__ import annotations

import math

from hdl2grid.show import look as hues
from hdl2grid.show.legend import shortened
from hdl2grid.show.scene import Box, Point, Polyline, Scene, Shape, Text
from hdl2grid.show.state_space import MAX_STATES, StateSpace, state_space
from hdl2grid.sim.network import Network

_HIGH = 24.0
_ROW = 62.0
_LETTER = 6.6
_MARGIN = 40.0
_HEAD = 84.0
_CURVE_POINTS = 16
_LABEL_LENGTH = 40


def states_scene(network: Network, max_states: int = MAX_STATES) -> Scene:
    """The state diagram of a machine. Raises InputError (W004) as `state_space` does."""
    space = state_space(network, max_states)
    count = len(space.labels)
    labels = [shortened(label, _LABEL_LENGTH) for label in space.labels]
    if len(set(labels)) < count:
        labels = [f"{i + 1}: {label}" for i, label in enumerate(labels)]
    wide = max(60.0, max(len(label) for label in labels) * _LETTER + 20)
    rows = (count + 1) // 2
    gap = max(170.0, min(420.0, 24.0 * rows))
    left, right = _MARGIN + wide / 2 + 30, _MARGIN + wide * 1.5 + 30 + gap
    places = [_place(i, rows, left, right) for i in range(count)]
    diagram = _Diagram(places, wide, (left + right) / 2)
    shapes = [shape for start, to, text in space.arrows for shape in diagram.arrow(start, to, text)]
    for i, (x, y) in enumerate(places):
        line = 2.8 if i == 0 else 1.3
        shapes.append(Box(x - wide / 2, y - _HIGH / 2, wide, _HIGH, hues.PAPER, hues.INK, line, _HIGH / 2))
        shapes.append(Text(x, y + 3.8, labels[i], 10.5, hues.INK, "middle"))
    title = f"{shortened(network.name, 60)}: {count} {'state' if count == 1 else 'states'}"
    notes = _notes(space)
    head: list[Shape] = [Text(_MARGIN, 24, title, 17, hues.INK, bold=True)]
    head += [Text(_MARGIN, 41 + 14 * i, note, 10, hues.GREY_TEXT) for i, note in enumerate(notes)]
    size = (round(max(right + wide / 2 + _MARGIN + 30, 560.0)), round(_HEAD + rows * _ROW + _MARGIN))
    return Scene(*size, title, " ".join(notes), (*head, *shapes))


def _notes(space: StateSpace) -> list[str]:
    notes = ["The state with the thick edge is the first. Events that change nothing are left out."]
    found = [f"{event}: from everywhere to {shortened(space.labels[to], 60)}" for event, to in space.everywhere]
    return [*notes, *(["; ".join(found)] if found else [])]


def _place(index: int, rows: int, left: float, right: float) -> Point:
    if index < rows:
        return right, _HEAD + (index + 0.5) * _ROW
    return left, _HEAD + (2 * rows - index - 0.5) * _ROW


class _Diagram:
    """Draws arrows between states that are `wide` pixels across."""

    def __init__(self, places: list[Point], wide: float, middle: float) -> None:
        self.places, self.wide, self.middle = places, wide, middle
        self.num_at: dict[int, int] = {}

    def arrow(self, start: int, end: int, text: str) -> list[Shape]:
        """An arrow: straight between neighbours in a column, else a curve through the middle."""
        (x0, y0), (x1, y1) = self.places[start], self.places[end]
        if x0 == x1 and abs(y1 - y0) < _ROW * 1.5:
            side = 1 if y1 > y0 else -1
            x = x0 + side * 16
            path = [(x, y0 + side * _HIGH / 2), (x, y1 - side * _HIGH / 2)]
            anchor = "start" if side > 0 else "end"
            label = Text(x + side * 6, (y0 + y1) / 2 + 3.5, shortened(text, 36), 9.5, hues.INK, anchor, halo=hues.PAPER)
            return [*_line(path), label]
        first, last = self._port(start), self._port(end)
        pull = 0.75 if x0 == x1 else 0.35
        bent = [(x + (self.middle - x) * pull, y) for x, y in (first, last)]
        path = [_cubic((first, bent[0], bent[1], last), k / _CURVE_POINTS) for k in range(_CURVE_POINTS + 1)]
        x, y = path[_CURVE_POINTS // 4]
        return [*_line(path), Text(x, y + 3.5, shortened(text, 36), 9.5, hues.INK, "middle", halo=hues.PAPER)]

    def _port(self, state: int) -> Point:
        """A point of its own at the inner side of a state."""
        x, y = self.places[state]
        number = self.num_at.get(state, 0)
        self.num_at[state] = number + 1
        shift = ((number + 1) // 2) * (1 if number % 2 else -1)
        inner = self.wide / 2 if x < self.middle else -self.wide / 2
        return x + inner, y + max(-8.0, min(8.0, 3.0 * shift))


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
