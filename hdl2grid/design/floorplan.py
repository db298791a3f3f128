"""What a user may demand of a plan's places: the floorplan of a machine.

Tiles are counted from the grid's top left tile, (0, 0); x to the right, y downward.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import KW_ONLY, dataclass, field
from typing import Any

from hdl2grid.base.errors import InputError, SourceLine, nearest
from hdl2grid.base.sources import short
from hdl2grid.base.target import MAX_GRID_SIDE
from hdl2grid.base.userline import user_line

SIDES = ("left", "right", "above", "below")
LOGIC = (*SIDES, "around")
EDGES = ("left", "right", "top", "bottom")


@dataclass(frozen=True)
class At:
    """On tile (`x`, `y`) of the grid; for a panel, its top left tile. Raises InputError M022 outside of 0 to 9,999."""

    x: int
    y: int

    def __post_init__(self) -> None:
        for name, value in (("x", self.x), ("y", self.y)):
            _check_number(f"At: {name}", value, 0, MAX_GRID_SIDE - 1)


@dataclass(frozen=True)
class FromPanel:
    """`dx` columns to the right and `dy` rows below the panel's top left tile; either may be negative. The rectangle
    around the panel and all that is placed by it is kept for them. Raises InputError M022."""

    dx: int
    dy: int

    def __post_init__(self) -> None:
        for name, value in (("dx", self.dx), ("dy", self.dy)):
            _check_number(f"FromPanel: {name}", value, -MAX_GRID_SIDE + 1, MAX_GRID_SIDE - 1)


@dataclass(frozen=True)
class BesidePanel:
    """Next to the panel on one side ("left", "right", "above", "below") with `gap` free tiles between. Several on one
    side stand in the order of the floorplan, from the top or the left, with a free tile between them.

    Raises InputError M022.
    """

    side: str
    gap: int = 1

    def __post_init__(self) -> None:
        _check_word("BesidePanel", self.side, SIDES)
        _check_number("BesidePanel: gap", self.gap, 0, 100)


@dataclass(frozen=True, init=False)
class AtEdge:
    """For a panel: at one edge of the plan ("left", "right", "top", "bottom"), or at several. Beyond it lies nothing
    but wire. Raises InputError M022."""

    edges: tuple[str, ...]

    def __init__(self, *edges: str) -> None:
        if not edges:
            raise _wrong("AtEdge: name at least one edge", "For example AtEdge('top') or AtEdge('top', 'left').")
        for edge in edges:
            _check_word("AtEdge", edge, EDGES)
        if len(set(edges)) != len(edges) or {"left", "right"} <= set(edges) or {"top", "bottom"} <= set(edges):
            raise _wrong(f"AtEdge: {', '.join(edges)} do not go together", "Name one edge of each pair, once.")
        object.__setattr__(self, "edges", tuple(edges))


@dataclass(frozen=True)
class KeepOut:
    """A rectangle of the grid where nothing is laid, not even wire: `width` x `height` tiles from tile (`x`, `y`).

    Raises InputError M022.
    """

    x: int
    y: int
    width: int
    height: int

    def __post_init__(self) -> None:
        for name, low in (("x", 0), ("y", 0), ("width", 1), ("height", 1)):
            _check_number(f"KeepOut: {name}", getattr(self, name), low, MAX_GRID_SIDE)

    @property
    def rectangle(self) -> tuple[int, int, int, int]:
        """(x0, y0, x1, y1), ends included."""
        return self.x, self.y, self.x + self.width - 1, self.y + self.height - 1

    def covers(self, x: int, y: int) -> bool:
        x0, y0, x1, y1 = self.rectangle
        return x0 <= x <= x1 and y0 <= y <= y1


Place = At | FromPanel | BesidePanel


@dataclass(frozen=True)
class Floorplan:
    """Where things are to be. What it leaves open, layout decides.

    panel: At(x, y) or AtEdge("top").
    sources: source, by its event's name ("sync", "reset", "hold", "word[0]") -> At, FromPanel or BesidePanel.
    keep_out: KeepOuts, where nothing is laid.
    width, height: limits of the grid in tiles; `--width` and `--height` may narrow them.
    logic: on which side of the panel all stacks stand, and all sources and pixels without a place of their own:
        "left", "right", "above", "below", or "around" for any.
    margin: columns and rows around the panel without devices; wires pass there.

    With a keep-out or an At, tile (0, 0) of the plan is that of the floorplan, also where nothing is laid there.

    Raises InputError M022 for a value that cannot be, M024 for demands that contradict each other, M025 for what lies
    outside of its own limits. What does not match the machine is told by Machine (M021, M023, M024).
    """

    _: KW_ONLY
    panel: At | AtEdge | None = None
    sources: Mapping[str, Place] = field(default_factory=dict)
    keep_out: Sequence[KeepOut] = ()
    width: int | None = None
    height: int | None = None
    logic: str = "around"
    margin: int = 0
    source: SourceLine | None = field(default=None, compare=False)

    def __post_init__(self) -> None:
        if self.source is None:
            object.__setattr__(self, "source", user_line())
        if self.panel is not None and not isinstance(self.panel, (At, AtEdge)):
            raise self.error("M022", f"panel= takes At(x, y) or AtEdge(...), not {short(self.panel)}")
        object.__setattr__(self, "sources", self._checked_sources())
        object.__setattr__(self, "keep_out", self._checked_keep_outs())
        for name in ("width", "height"):
            if getattr(self, name) is not None:
                _check_number(f"Floorplan: {name}", getattr(self, name), 1, MAX_GRID_SIDE)
        _check_word("Floorplan: logic", self.logic, LOGIC)
        _check_number("Floorplan: margin", self.margin, 0, 100)
        self._check_contradictions()
        self.check_limits(self.width or MAX_GRID_SIDE, self.height or MAX_GRID_SIDE)

    def _checked_sources(self) -> dict[str, Place]:
        sources: Any = self.sources
        if not isinstance(sources, Mapping):
            raise self.error("M022", f"sources= must map names to places, not be {short(sources)}")
        for name, place in sources.items():
            if not isinstance(name, str) or not isinstance(place, (At, FromPanel, BesidePanel)):
                what = f"source {short(name)} is given {short(place)}; it takes At, FromPanel or BesidePanel"
                raise self.error("M022", what)
        return dict(sources)

    def _checked_keep_outs(self) -> tuple[KeepOut, ...]:
        given: Any = self.keep_out
        if isinstance(given, (str, Mapping)) or not isinstance(given, Sequence):
            raise self.error("M022", f"keep_out= takes a list of KeepOut(x, y, width, height), not {short(given)}")
        for one in given:
            if not isinstance(one, KeepOut):
                raise self.error("M022", f"keep_out= takes KeepOut(x, y, width, height), not {short(one)}")
        return tuple(given)

    def _check_contradictions(self) -> None:
        opposite = {"left": "left", "right": "right", "above": "top", "below": "bottom"}
        if isinstance(self.panel, AtEdge) and opposite.get(self.logic) in self.panel.edges:
            edge = opposite[self.logic]
            raise self.error("M024", f"the panel is at the {edge}, and the logic would be {self.logic} of it")
        taken: dict[tuple[int, int], str] = {}
        for name, place in self.sources.items():
            if isinstance(place, At):
                other = taken.setdefault((place.x, place.y), name)
                if other != name:
                    raise self.error("M024", f"sources '{other}' and '{name}' would share tile ({place.x},{place.y})")
                if any(one.covers(place.x, place.y) for one in self.keep_out):
                    raise self.error("M024", f"source '{name}' would stand on a keep-out, at ({place.x},{place.y})")

    def check_limits(self, width: int, height: int) -> None:
        """Raises InputError M025 where a place or a keep-out lies outside of a grid of `width` x `height` tiles."""
        limits = f"the largest grid allowed, {width} x {height} tiles"
        for name, place in self.sources.items():
            if isinstance(place, At) and not (place.x < width and place.y < height):
                raise self.error("M025", f"source '{name}' at ({place.x},{place.y}) is outside of {limits}")
        if isinstance(self.panel, At) and not (self.panel.x < width and self.panel.y < height):
            raise self.error("M025", f"the panel at ({self.panel.x},{self.panel.y}) is outside of {limits}")
        for one in self.keep_out:
            x0, y0, x1, y1 = one.rectangle
            if x0 >= width or y0 >= height:
                raise self.error("M025", f"keep-out [{x0},{y0},{x1},{y1}] is outside of {limits}")

    def error(self, code: str, what: str, hint: str | None = None) -> InputError:
        return InputError(code, what, where=self.source, hint=hint)

    def told(self) -> str:
        """The demands in words; "" where there is none."""
        parts = []
        if self.logic != "around":
            parts.append(f"logic {self.logic} {'of ' if self.logic in ('left', 'right') else ''}the panel")
        if isinstance(self.panel, At):
            parts.append(f"panel at ({self.panel.x},{self.panel.y})")
        elif self.panel is not None:
            parts.append(f"panel at the {' and '.join(self.panel.edges)}")
        if self.margin:
            parts.append(f"a margin of {self.margin} around it")
        if self.sources:
            parts.append(f"{len(self.sources)} source{'s' if len(self.sources) > 1 else ''} placed")
        if self.keep_out:
            parts.append(f"{len(self.keep_out)} keep-out{'s' if len(self.keep_out) > 1 else ''}")
        limits = [f"{v} {n}" for v, n in ((self.width, "columns"), (self.height, "rows")) if v is not None]
        return ", ".join(parts + (["at most " + " and ".join(limits)] if limits else []))


def _wrong(what: str, hint: str | None = None) -> InputError:
    return InputError("M022", what, where=user_line(), hint=hint)


def _check_number(what: str, value: object, low: int, high: int) -> None:
    if type(value) is not int or not low <= value <= high:
        raise _wrong(f"{what} must be a whole number from {low} to {high}, not {short(value)}")


def _check_word(what: str, value: object, words: tuple[str, ...]) -> None:
    if not isinstance(value, str) or value not in words:
        hint = nearest(value, words) if isinstance(value, str) else None
        raise _wrong(f"{what}: {short(value)} is none of {', '.join(words)}", hint)
