"""Single lamps, rows of lamps and bars."""

from __future__ import annotations

from hdl2grid.base.ports import bit_name
from hdl2grid.base.userline import user_line
from hdl2grid.panel.panel import Panel, check_whole, of_pixels

LIMIT = 1000
"""Lamps in a row, and tiles of a lamp's side or of a gap. Guessed."""


def lamp(signal: str, width: int = 1, height: int = 1) -> Panel:
    """A block of `width` x `height` pixels that one bit lights, by its flat name ("pm", "ones[0]")."""
    where = user_line()
    check_whole("a lamp's side", width, 1, LIMIT, where)
    check_whole("a lamp's side", height, 1, LIMIT, where)
    return of_pixels([(x, y, signal) for y in range(height) for x in range(width)], where, (width, height))


def lamps(port: str, count: int, *, gap: int = 1, size: int = 1, vertical: bool = False) -> Panel:
    """A row (or a column, from the top) of lamps, one for each bit of `port`, which is `count` bits wide,
    bit 0 first. Each is `size` x `size` pixels, with `gap` free tiles between."""
    where = user_line()
    check_whole("the number of lamps", count, 1, LIMIT, where)
    check_whole("a lamp's side", size, 1, LIMIT, where)
    check_whole("a gap", gap, 0, LIMIT, where)
    pixels = []
    for index in range(count):
        start = index * (size + gap)
        for along in range(start, start + size):
            for across in range(size):
                x, y = (across, along) if vertical else (along, across)
                pixels.append((x, y, bit_name(port, count, index)))
    length = count * (size + gap) - gap
    return of_pixels(pixels, where, (size, length) if vertical else (length, size))


def bar(port: str, count: int, *, thickness: int = 1, vertical: bool = False) -> Panel:
    """A bar of `count` pixels without gaps, one for each bit of `port`: bit 0 at the left, or at the bottom
    of a vertical bar, as the bar of a gauge grows. It is `thickness` pixels thick."""
    where = user_line()
    check_whole("a bar's length", count, 1, LIMIT, where)
    check_whole("a bar's thickness", thickness, 1, LIMIT, where)
    pixels = []
    for index in range(count):
        for across in range(thickness):
            x, y = (across, count - 1 - index) if vertical else (index, across)
            pixels.append((x, y, bit_name(port, count, index)))
    return of_pixels(pixels, where, (thickness, count) if vertical else (count, thickness))
