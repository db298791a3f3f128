"""A panel as a user makes it: pixels that show output bits, drawn in characters or made of parts."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from hdl2grid.base.errors import InputError, SourceLine, nearest
from hdl2grid.base.sources import short
from hdl2grid.base.userline import user_line
from hdl2grid.panel.model import PanelLayout, PanelPixel

DARK = (".", " ")
SIDE_LIMIT = 10_000
"""Tiles of a panel's side: as many as a grid's."""


@dataclass(frozen=True)
class Panel:
    """Pixels on a rectangle of `width` x `height` tiles; tile (0, 0) is its top left.

    `pixels` are PanelPixels, at most one a tile; `backdrop` are decorative rectangles [x0, y0, x1, y1], ends
    included. Raises InputError M030 where a pixel or a rectangle lies outside, or two pixels share a tile.
    """

    width: int
    height: int
    pixels: tuple[PanelPixel, ...] = ()
    backdrop: tuple[tuple[int, int, int, int], ...] = ()
    source: SourceLine | None = field(default=None, compare=False)
    pitch: int | None = field(default=None, compare=False)
    """What `from_art` was called with; None for a panel that was not drawn."""

    def __post_init__(self) -> None:
        if self.source is None:
            object.__setattr__(self, "source", user_line())
        _check_size(self.width, self.height, self.source)
        taken: dict[tuple[int, int], PanelPixel] = {}
        for pixel in self.pixels:
            if not (0 <= pixel.x < self.width and 0 <= pixel.y < self.height):
                raise self._error(f"pixel ({pixel.x},{pixel.y}) of {pixel.signal} lies outside")
            other = taken.setdefault((pixel.x, pixel.y), pixel)
            if other is not pixel:
                raise self._error(f"pixel ({pixel.x},{pixel.y}) would show both {other.signal} and {pixel.signal}")
        for x0, y0, x1, y1 in self.backdrop:
            if not (0 <= x0 <= x1 < self.width and 0 <= y0 <= y1 < self.height):
                raise self._error(f"backdrop [{x0},{y0},{x1},{y1}] lies outside")

    def _error(self, what: str) -> InputError:
        return InputError("M030", f"{what}; the panel is {self.width} x {self.height} tiles", where=self.source)

    def layout(self) -> PanelLayout:
        """The panel as data, for placement."""
        return PanelLayout(self.width, self.height, self.pixels, self.backdrop)

    @property
    def signals(self) -> tuple[str, ...]:
        """The flat names that it shows, each once, in reading order of their first pixel."""
        ordered = sorted(self.pixels, key=lambda p: (p.y, p.x))
        return tuple(dict.fromkeys(p.signal for p in ordered))

    @classmethod
    def from_art(cls, art: str, legend: Mapping[str, str | None], pitch: int = 1) -> Panel:
        """A panel drawn in characters, one a tile.

        `legend` gives for each character the flat name of the output bit it shows, or None for no pixel; a
        dot and a space are no pixel unless the legend says otherwise. Indentation that all lines share, and
        empty lines at the top and the bottom, are not part of the drawing. With `pitch` > 1 the pixels are
        spread, `pitch` tiles from one to the next. Raises InputError M031 (art or legend), M033 (pitch).
        """
        where = user_line()
        _check_legend(legend, where)
        check_whole("a pitch", pitch, 1, 1000, where)
        lines = _art_lines(art, where)
        pixels = []
        for y, line in enumerate(lines):
            for x, character in enumerate(line):
                if character not in legend and character not in DARK:
                    raise _unknown_character(character, x, y, legend, where)
                signal = legend.get(character)
                if signal is not None:
                    pixels.append(PanelPixel(x * pitch, y * pitch, signal))
        width = (max(len(line) for line in lines) - 1) * pitch + 1
        return cls(width, (len(lines) - 1) * pitch + 1, tuple(pixels), source=where, pitch=pitch)


def of_pixels(
    pixels: Iterable[tuple[int, int, str]], source: SourceLine | None, size: tuple[int, int] | None = None
) -> Panel:
    """A panel of (x, y, signal), as small as holds them (or of `size`), shifted so that they start at 0."""
    listed = sorted(pixels, key=lambda p: (p[1], p[0], p[2]))
    left = min((x for x, _, _ in listed), default=0) if size is None else 0
    top = min((y for _, y, _ in listed), default=0) if size is None else 0
    moved = tuple(PanelPixel(x - left, y - top, signal) for x, y, signal in listed)
    if size is None:
        size = max((p.x for p in moved), default=0) + 1, max((p.y for p in moved), default=0) + 1
    return Panel(size[0], size[1], moved, source=source)


def spread_layout(layout: PanelLayout, pitch: int) -> PanelLayout:
    """The layout with its pixels `pitch` tiles apart."""
    return PanelLayout(
        (layout.width - 1) * pitch + 1,
        (layout.height - 1) * pitch + 1,
        tuple(PanelPixel(p.x * pitch, p.y * pitch, p.signal) for p in layout.pixels),
        tuple((x0 * pitch, y0 * pitch, x1 * pitch, y1 * pitch) for x0, y0, x1, y1 in layout.backdrop),
    )


def _check_size(width: object, height: object, where: SourceLine | None) -> None:
    for side in (width, height):
        if not isinstance(side, int) or isinstance(side, bool) or not 1 <= side <= SIDE_LIMIT:
            raise InputError("M030", f"a panel's side is 1 to {SIDE_LIMIT} tiles, not {short(side)}", where=where)


def _check_legend(legend: object, where: SourceLine | None) -> None:
    if not isinstance(legend, Mapping):
        raise InputError("M031", f"a legend maps characters to output bits, unlike {short(legend)}", where=where)
    for character, signal in legend.items():
        if not isinstance(character, str) or len(character) != 1:
            raise InputError("M031", f"a legend's key is one character, not {short(character)}", where=where)
        if signal is not None and not isinstance(signal, str):
            raise InputError(
                "M031",
                f"the legend's '{character}' is {short(signal)}; it takes a flat name or None",
                where=where,
                hint='For example "a": "ones[0]".',
            )


def check_whole(what: str, value: object, low: int, high: int, where: SourceLine | None) -> None:
    """Raises InputError M033 unless `value` is a whole number from `low` to `high`."""
    if not isinstance(value, int) or isinstance(value, bool) or not low <= value <= high:
        text = f"{what} is a whole number from {low} to {high}, not {short(value)}"
        raise InputError("M033", text, where=where)


def _art_lines(art: object, where: SourceLine | None) -> list[str]:
    if not isinstance(art, str) or not art.strip():
        raise InputError("M031", f"a panel's art is a text of at least one line, not {short(art)}", where=where)
    if "\t" in art:
        raise InputError(
            "M031",
            "a panel's art holds a tab, which has no width of its own",
            where=where,
            hint="Use spaces.",
        )
    lines = [line.rstrip() for line in art.splitlines()]
    while lines and not lines[0]:
        lines.pop(0)
    while lines and not lines[-1]:
        lines.pop()
    indent = min(len(line) - len(line.lstrip()) for line in lines if line)
    return [line[indent:] for line in lines]


def _unknown_character(
    character: str, x: int, y: int, legend: Mapping[str, str | None], where: SourceLine | None
) -> InputError:
    return InputError(
        "M031",
        f"the legend does not say what '{character}' is (line {y + 1}, column {x + 1} of the art)",
        where=where,
        hint=nearest(character, legend) or "A dot is no pixel; give every other character in the legend.",
    )
