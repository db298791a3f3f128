"""A panel as data: which output bit each pixel shows, and where it stands. Tile (0, 0) is its top left."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class PanelPixel:
    """A pixel on tile (`x`, `y`) of its panel that shows the output bit of flat name `signal`."""

    x: int
    y: int
    signal: str


@dataclass(frozen=True)
class PanelLayout:
    """The panel that layout places as one macro. `backdrop` are decorative rectangles [x0, y0, x1, y1], ends
    included, within the panel."""

    width: int
    height: int
    pixels: tuple[PanelPixel, ...]
    backdrop: tuple[tuple[int, int, int, int], ...] = ()
