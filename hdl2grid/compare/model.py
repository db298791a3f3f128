"""A change list as data."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.guide.model import USUAL, Fresh, FromTo, Restore, Section, Tile
from hdl2grid.plan.model import Device, Plan, Rect, Stroke


@dataclass(frozen=True)
class Difference:
    """What differs, tile by tile. `removed`, `added` and `changed` (old, new) are devices; `renamed` differ in
    names only, which nobody lays; `unwired` and `wired` are the fewest strokes for each colour's name."""

    removed: tuple[Device, ...]
    added: tuple[Device, ...]
    changed: tuple[tuple[Device, Device], ...]
    renamed: tuple[tuple[Device, Device], ...]
    unwired: tuple[tuple[str, Stroke], ...]
    wired: tuple[tuple[str, Stroke], ...]
    backdrop_removed: tuple[Rect, ...]
    backdrop_added: tuple[Rect, ...]
    touched: frozenset[Tile]

    @property
    def is_empty(self) -> bool:
        """True when both plans lay the same machine, names aside."""
        return not self.touched and not self.backdrop_removed and not self.backdrop_added


@dataclass(frozen=True)
class ChangeList:
    """How a machine laid by `old` becomes `new`: the difference, the steps in laying order, the nets of `new` to
    test again, and its restore sheet."""

    old: Plan
    new: Plan
    difference: Difference
    sections: tuple[Section, ...]
    retest: tuple[FromTo, ...]
    restore: tuple[Restore, ...]
    share_touched: float
    """Touched tiles as a share of the tiles that bear a device or wire in either plan."""
    fresh: Fresh = USUAL
    """What devices are like when placed."""
