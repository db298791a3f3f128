"""Segment digits and what stands between them."""

from __future__ import annotations

from hdl2grid.base.userline import user_line
from hdl2grid.panel.panel import Panel, check_whole, of_pixels


def seven_segment(port: str, size: int = 2) -> Panel:
    """A digit of seven segments, `size` + 2 tiles wide and 2 x `size` + 3 high: each stroke is `size` pixels.

    Bits 0 to 6 of `port` are the segments a to g of the usual order: a top, b upper right, c lower right, d
    bottom, e lower left, f upper left, g middle. With `size=2`:

        .aa.
        f..b
        f..b
        .gg.
        e..c
        e..c
        .dd.
    """
    check_whole("a digit's size", size, 1, 1000, user_line())
    middle, bottom, right = size + 1, 2 * size + 2, size + 1
    along = range(1, size + 1)
    strokes = {
        0: [(i, 0) for i in along],
        1: [(right, i) for i in along],
        2: [(right, middle + i) for i in along],
        3: [(i, bottom) for i in along],
        4: [(0, middle + i) for i in along],
        5: [(0, i) for i in along],
        6: [(i, middle) for i in along],
    }
    pixels = [(x, y, f"{port}[{bit}]") for bit, stroke in strokes.items() for x, y in stroke]
    return of_pixels(pixels, user_line(), (size + 2, 2 * size + 3))


def leading_one(signal: str, size: int = 2) -> Panel:
    """A '1' that one bit lights as a whole: the strokes b and c of a digit of that `size`, one tile wide."""
    check_whole("a digit's size", size, 1, 1000, user_line())
    rows = [*range(1, size + 1), *range(size + 2, 2 * size + 2)]
    return of_pixels([(0, y, signal) for y in rows], user_line(), (1, 2 * size + 3))


def colon(signal: str, size: int = 2) -> Panel:
    """Two dots that one bit lights, one above the other, to stand between digits of that `size`."""
    check_whole("a digit's size", size, 1, 1000, user_line())
    upper = (size + 2) // 2
    return of_pixels([(0, upper, signal), (0, 2 * size + 2 - upper, signal)], user_line(), (1, 2 * size + 3))
