"""How drawings look: sizes relative to a tile, hues of everything but wires, and the lanes of the wires.

All hues are greys except the yellow of lit pixels (Okabe and Ito, Color Universal Design, 2002), so that only
wires carry colour; nothing is told by colour alone.
"""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.colours import IEC_60757, hue_of_name
from hdl2grid.base.target import Colour, Target

PAPER = "#FFFFFF"
INK = "#1A1A1A"
GREY_TEXT = "#595959"
GRID = "#E6E6E6"
GRID_FIFTH = "#C8C8C8"
BACKDROP = "#EDEDED"
STACK = "#F4F4F4"
OUTLINE = "#3C3C3C"
PIXEL_LIT = "#F0E442"
PIXEL_DARK = "#3C3C3C"
PIXEL_DARK_CROSS = "#B4B4B4"
TOGGLE_ONE = "#3C3C3C"

DEFAULT_TILE = 26
"""Pixels to a tile at normal size. Guessed."""

DEVICE_HALF = 0.36
"""Half the side of a device's box, in tiles: the wires on its tile can be seen around it. The lanes of all
wire colours share the same width, on both axes. Guessed."""

WIRE_WIDTH = 0.09
"""Width of a wire in tiles: four lanes within a device's box leave gaps as wide as the wires."""


@dataclass(frozen=True)
class Look:
    """The measures of one drawing: pixels to a tile, and the wire colours in order."""

    tile: float
    colours: tuple[Colour, ...]

    def middle(self, index: float) -> float:
        """The middle of tile number `index` along an axis, in pixels from the grid's edge."""
        return (index + 0.5) * self.tile

    def lane(self, index: int, colour: int) -> float:
        """Where wire of `colour` crosses tile `index` along an axis, in pixels from the grid's edge."""
        num = len(self.colours)
        return (index + 0.5 + 2 * DEVICE_HALF * ((colour + 0.5) / num - 0.5)) * self.tile

    def dash(self, colour: int) -> tuple[float, ...]:
        """The dash of a wire colour in pixels."""
        return tuple(length * self.tile / 10 for length in self.colours[colour].dash)

    @property
    def wire(self) -> float:
        """The width of a wire in pixels."""
        return self.tile * WIRE_WIDTH

    @property
    def half(self) -> float:
        """Half the side of a device's box in pixels."""
        return self.tile * DEVICE_HALF

    @property
    def thin(self) -> float:
        """The width of outlines in pixels."""
        return max(0.8, self.tile / 24)


def colours_of(names: tuple[str, ...], target: Target) -> tuple[Colour, ...]:
    """How the wire colours of a plan are drawn: as `target` says for those that it has, by their names for
    the rest, and in hues that are left for names that say no colour."""
    known = {colour.name: colour for colour in target.colours}
    hues = {name: known[name].hue if name in known else hue_of_name(name) for name in names}
    spare = [colour.hue for colour in target.colours if colour.hue not in hues.values()]
    found = []
    for index, name in enumerate(names):
        dash = target.colours[index % len(target.colours)].dash
        hue = hues[name] or (spare.pop(0) if spare else GREY_TEXT)
        found.append(known.get(name) or Colour(name, IEC_60757.get(name), hue, dash))
    return tuple(found)
