"""The timing chart: what the signals of a machine do, event by event.

One column is one event; between two columns the machine is at rest. Words are drawn as a band with their value,
single bits as a line that is high or low, as timing diagrams of data books do (common practice, no source).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from hdl2grid.base.errors import InputError
from hdl2grid.show import look as hues
from hdl2grid.show.legend import shortened
from hdl2grid.show.scene import Line, Polyline, Scene, Shape, Text
from hdl2grid.sim.named_words import words
from hdl2grid.sim.pulse_network import Network
from hdl2grid.sim.waves import PlainEngine

MAX_EVENTS = 240
"""Most events of a chart. Guessed: 5,300 pixels wide."""

MAX_ROWS = 200
"""Most signals of a chart. Guessed: 6,000 pixels high."""

_COLUMN = 22.0
"""Width of an event, in pixels. This and all sizes below are guessed."""

_ROW = 30.0
"""Height of a signal's row, in pixels."""

_HIGH = 16.0
"""Height between low and high, in pixels."""

_LEFT = 200.0
"""Room for names on the left, in pixels."""

_MARGIN = 30.0
"""Margin of the drawing, in pixels."""

_HEAD = 66.0
"""Room for title and events, in pixels."""

_SLANT = 2.5
"""Width of an edge, in pixels."""

_LETTER = 6.2
"""Width of a letter, in pixels."""

Row = tuple[str, tuple[int, ...]]
"""A word's name, and its value before the first event and after each."""


def timing_rows(network: Network, events: Sequence[str], max_events: int = MAX_EVENTS) -> tuple[Row, ...]:
    """The words of the design's registers and outputs over at most the first `max_events` events, played on the
    machine. Raises InputError (V001) for an event that the machine has not."""
    probes = [(probe.signal, network.first_probe + i) for i, probe in enumerate(network.probes)]
    pixels = [(pixel.signal, network.first_pixel + i) for i, pixel in enumerate(network.pixels)]
    switches = [
        (source.name, network.first_source + i) for i, source in enumerate(network.sources) if source.kind == "switch"
    ]
    shown = {signal for signal, _ in pixels}
    element: dict[str, int] = {}
    for signal, number in (*switches, *((s, n) for s, n in probes if s not in shown), *pixels):
        element.setdefault(signal, number)
    engine = PlainEngine(network)
    drivers = np.array([network.event(name) for name in events[:max_events]], dtype=np.int64)
    before = engine.bits()
    watched = engine.play(drivers, list(element.values())).watched
    history = np.vstack([before[list(element.values())], watched]) if element else np.zeros((len(drivers) + 1, 0))
    column = {signal: history[:, i].tolist() for i, signal in enumerate(element)}
    return tuple(
        (
            word,
            tuple(
                sum(int(bit) << i for i, bit in enumerate(bits))
                for bits in zip(*(column[n] for n in names), strict=True)
            ),
        )
        for word, names in words(element).items()
    )


def timing_scene(network: Network, events: Sequence[str], max_events: int = MAX_EVENTS) -> Scene:
    """The timing chart of the first `max_events` events.

    Raises InputError: W005 when there is no event or nothing to show, V001 for an event that the machine has not.
    """
    rows = timing_rows(network, events, max_events)[:MAX_ROWS]
    drawn = list(events[:max_events])
    if not drawn or not rows:
        raise InputError("W005", "a timing chart needs an event and a signal", where=network.name)
    bits = {name for name, values in rows if _is_bit(name, values, network)}
    shapes = _event_row(drawn)
    for i, (name, values) in enumerate(rows):
        y = _HEAD + (i + 1.5) * _ROW
        shapes.append(Text(_LEFT - 12, y + 4, shortened(name, 26), 11, hues.INK, "end"))
        shapes += _bit_line(values, y) if name in bits else _band(values, y)
    more = len(events) - len(drawn)
    title = f"{shortened(network.name, 50)}: {len(drawn)} events" + (
        f", and {more} more that are not drawn" if more else ""
    )
    note = "Each column is one event, named above; what stands in it is the state after that event."
    head: list[Shape] = [Text(_MARGIN, 24, title, 17, hues.INK, bold=True), Text(_MARGIN, 41, note, 10, hues.GREY_TEXT)]
    width = _LEFT + (len(drawn) + 1) * _COLUMN + _MARGIN
    height = _HEAD + (len(rows) + 1.2) * _ROW + _MARGIN
    return Scene(round(max(width, 560.0)), round(height), title, note, (*head, *shapes))


def _is_bit(name: str, values: tuple[int, ...], network: Network) -> bool:
    """Whether a row is a single bit: no word of several bits bears its name."""
    flat = {d.signal for d in (*network.pixels, *network.probes)} | {source.name for source in network.sources}
    return name in flat and max(values) <= 1


def _x(column: float) -> float:
    return _LEFT + column * _COLUMN


def _event_row(events: list[str]) -> list[Shape]:
    """Names of events over their columns: one name for a run of the same."""
    shapes: list[Shape] = []
    bottom = _HEAD + _ROW * 0.8
    start = 0
    while start < len(events):
        end = start
        while end + 1 < len(events) and events[end + 1] == events[start]:
            end += 1
        count = end - start + 1
        left, right = _x(start + 1), _x(end + 2)
        room = max(3, int((right - left) / _LETTER) + (2 if count == 1 else 0))
        text = _run_name(events[start], count, room)
        shapes.append(Line(left + 2, bottom, right - 2, bottom, hues.INK, 1.2))
        shapes.append(Text((left + right) / 2, bottom - 6, text, 10, hues.INK, "middle"))
        start = end + 1
    for column in range(len(events) + 2):
        height = 6.0 if column else 0.0
        shapes.append(Line(_x(column), bottom - height / 2, _x(column), bottom + height / 2, hues.GREY_TEXT, 0.8))
    return shapes


def _run_name(event: str, count: int, room: int) -> str:
    """ "sync x 12" in at most `room` letters: the name is shortened, never the count."""
    if count == 1:
        return event[:room]
    long, short = f" x {count}", f" x{count}"
    tail = long if len(event) + len(long) <= room else short
    return event[: max(1, room - len(tail))] + tail


def _bit_line(values: tuple[int, ...], y: float) -> list[Shape]:
    level = [y + _HIGH / 2 - value * _HIGH for value in values]
    points = [(_x(0), level[0])]
    for i, (a, b) in enumerate(pairwise(level), start=1):
        if a != b:
            points += [(_x(i) - _SLANT / 2, a), (_x(i) + _SLANT / 2, b)]
    points.append((_x(len(values)), level[-1]))
    floor = y + _HIGH / 2
    return [Line(_x(0), floor, _x(len(values)), floor, hues.GRID_FIFTH, 0.8), Polyline(tuple(points), hues.INK, 1.4)]


def _band(values: tuple[int, ...], y: float) -> list[Shape]:
    """A band whose edges cross where the value changes; the value stands where it has room."""
    shapes: list[Shape] = []
    start = 0
    for i in range(1, len(values) + 1):
        if i < len(values) and values[i] == values[start]:
            continue
        left, right, high = _x(start), _x(i), _HIGH / 2
        outline = (
            (left, y),
            (left + _SLANT, y - high),
            (right - _SLANT, y - high),
            (right, y),
            (right - _SLANT, y + high),
            (left + _SLANT, y + high),
        )
        shapes.append(Polyline(outline, hues.INK, 1.2, hues.PAPER, closed=True))
        text = str(values[start])
        if len(text) * _LETTER <= right - left - 2:
            shapes.append(Text((left + right) / 2, y + 3.8, text, 10, hues.INK, "middle"))
        start = i
    return shapes
