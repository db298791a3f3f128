"""Why a size of the grid failed, as data: the tiles in conflict, and the nets that want them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

NAMED_NETS = 4
"""Nets that a message names at most, so that it stays one line. Guessed."""


@dataclass(frozen=True)
class Spot:
    """A tile with a conflict. `nets` names the nets that want it in one `colour` (its number); a single net comes too
    near to another one on the next tile. If `is_cut_off`, it is a pin that its net does not reach."""

    x: int
    y: int
    colour: int
    nets: tuple[str, ...]
    is_cut_off: bool = False


@dataclass(frozen=True)
class FailureReport:
    """The failure report of one size, in tiles. `conflicts` is the least count reached; None if not even the cells
    with their gaps found places.

    `wires` has for each row the number of colours on each tile; `devices` are the tiles with devices, `closed`
    those of keep-outs.
    """

    width: int
    height: int
    conflicts: int | None
    spots: tuple[Spot, ...] = ()
    wires: tuple[tuple[int, ...], ...] = ()
    devices: tuple[tuple[int, int], ...] = ()
    closed: tuple[tuple[int, int], ...] = ()

    def wanted(self) -> list[tuple[str, int]]:
        """The nets that are in the way, and on how many tiles; most first."""
        counts = Counter(net for spot in self.spots for net in spot.nets)
        return sorted(counts.items(), key=lambda one: (-one[1], one[0]))

    def told(self) -> str:
        """What was in the way, in a line."""
        if self.conflicts is None:
            return f"{self.width} x {self.height}: the cells with their gaps find no places"
        nets = [f"{net} ({count})" for net, count in self.wanted()[:NAMED_NETS]]
        more = len(self.wanted()) - len(nets)
        where = ""
        if self.spots:
            xs, ys = [spot.x for spot in self.spots], [spot.y for spot in self.spots]
            where = f" within ({min(xs)},{min(ys)}) to ({max(xs)},{max(ys)})"
        told = f"{self.width} x {self.height}: {self.conflicts} conflict{'s' if self.conflicts != 1 else ''}"
        if not nets:
            return told
        return f"{told}{where}; tiles wanted by {', '.join(nets)}{f' and {more} more' if more else ''}"

    def renamed(self, name: Callable[[str], str]) -> FailureReport:
        """The same with other names of the nets."""
        return replace(self, spots=tuple(replace(s, nets=tuple(map(name, s.nets))) for s in self.spots))


def nearest_miss(failures: Sequence[FailureReport]) -> FailureReport | None:
    """The size with the fewest conflicts, the smallest of these; None where none came so far as to have any."""
    known = [failure for failure in failures if failure.conflicts is not None]
    return min(known, key=lambda one: (one.conflicts or 0, one.width * one.height), default=None)
