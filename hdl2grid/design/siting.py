"""Whether a floorplan fits its machine, and the rectangle that it keeps for the panel."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from itertools import count

from hdl2grid.base.errors import InputError, SourceLine, nearest
from hdl2grid.base.sources import short
from hdl2grid.design.floorplan import At, BesidePanel, Floorplan, FromPanel
from hdl2grid.panel.model import PanelLayout

Tile = tuple[int, int]


@dataclass(frozen=True)
class Frame:
    """The rectangle that is kept for the panel, its margin and the sources placed by it: `width` x `height` tiles,
    in which the panel, of `panel_size`, begins at `panel_at` and each source stands at its tile."""

    width: int
    height: int
    panel_size: Tile
    panel_at: Tile = (0, 0)
    sources: Mapping[str, Tile] = field(default_factory=dict)


def check_floorplan(
    floorplan: object, panel: PanelLayout | None, names: tuple[str, ...], source: SourceLine | None
) -> None:
    """Whether a floorplan fits a machine with this panel and sources of these names.

    Raises InputError M020 where it is no Floorplan, M021 for a source that there is not, M023 for a demand on a panel
    where there is none, M024 where two things would share a tile, M025 where the panel is outside of its limits.
    """
    if floorplan is None:
        return
    if not isinstance(floorplan, Floorplan):
        hint = "For example floorplan=Floorplan(logic='below', width=40)."
        raise InputError("M020", f"floorplan= takes a Floorplan, not {short(floorplan)}", where=source, hint=hint)
    for name in floorplan.sources:
        if name not in names:
            hint = nearest(name, names) or "The machine has no sources."
            raise floorplan.error("M021", f"the floorplan places '{name}', and the machine has no such source", hint)
    if panel is None:
        _check_without_panel(floorplan)
    else:
        _check_frame(floorplan, panel)


def _check_without_panel(floorplan: Floorplan) -> None:
    beside = [name for name, place in floorplan.sources.items() if not isinstance(place, At)]
    asked = [
        *(["panel="] if floorplan.panel is not None else []),
        *([f"logic='{floorplan.logic}'"] if floorplan.logic != "around" else []),
        *(["margin="] if floorplan.margin else []),
        *(f"the place of '{name}'" for name in beside),
    ]
    if asked:
        raise floorplan.error("M023", f"{asked[0]} is about a panel, and the machine has none")


def _check_frame(floorplan: Floorplan, panel: PanelLayout) -> None:
    frame = frame_of(floorplan, panel)
    taken: dict[Tile, str] = {}
    px, py = frame.panel_at
    for name, (x, y) in frame.sources.items():
        other = taken.setdefault((x, y), name)
        if other != name:
            raise floorplan.error("M024", f"sources '{other}' and '{name}' would share a tile")
        if any((p.x + px, p.y + py) == (x, y) for p in panel.pixels):
            raise floorplan.error("M024", f"source '{name}' would stand on a pixel of the panel")
    if not isinstance(floorplan.panel, At):
        return
    corner = corner_of(floorplan.panel, frame)
    if corner[0] < 0 or corner[1] < 0:
        raise floorplan.error("M025", "a source placed by the panel is left of or above the grid")
    width, height = floorplan.width, floorplan.height
    if (width is not None and floorplan.panel.x + panel.width > width) or (
        height is not None and floorplan.panel.y + panel.height > height
    ):
        raise floorplan.error("M025", "the panel reaches beyond the floorplan's own limits")
    for name, place in floorplan.sources.items():
        if isinstance(place, At) and _within((place.x, place.y), corner, frame):
            raise floorplan.error("M024", f"source '{name}' would stand in the panel or its margin")
    for one in floorplan.keep_out:
        x0, y0, x1, y1 = one.rectangle
        x, y = floorplan.panel.x, floorplan.panel.y
        if x0 < x + panel.width and x1 >= x and y0 < y + panel.height and y1 >= y:
            raise floorplan.error("M024", f"the panel would stand on keep-out [{x0},{y0},{x1},{y1}]")
        for name, (dx, dy) in frame.sources.items():
            if one.covers(corner[0] + dx, corner[1] + dy):
                raise floorplan.error("M024", f"source '{name}' would stand on keep-out [{x0},{y0},{x1},{y1}]")


def corner_of(panel: At, frame: Frame) -> Tile:
    """The top left tile of the frame of a panel that stands at a given tile."""
    return panel.x - frame.panel_at[0], panel.y - frame.panel_at[1]


def _within(tile: Tile, corner: Tile, frame: Frame) -> bool:
    return 0 <= tile[0] - corner[0] < frame.width and 0 <= tile[1] - corner[1] < frame.height


def frame_of(floorplan: Floorplan, panel: PanelLayout) -> Frame:
    """The rectangle of a panel. At the left and top, a margin is no wider than the grid allows."""
    offsets = _source_offsets(floorplan, panel)
    margin = floorplan.margin
    left = min([-margin, *(x for x, _ in offsets.values())])
    top = min([-margin, *(y for _, y in offsets.values())])
    if isinstance(floorplan.panel, At):
        left = min([max(-margin, -floorplan.panel.x), *(x for x, _ in offsets.values())])
        top = min([max(-margin, -floorplan.panel.y), *(y for _, y in offsets.values())])
    right = max([panel.width - 1 + margin, *(x for x, _ in offsets.values())])
    bottom = max([panel.height - 1 + margin, *(y for _, y in offsets.values())])
    sources = {name: (x - left, y - top) for name, (x, y) in offsets.items()}
    return Frame(right - left + 1, bottom - top + 1, (panel.width, panel.height), (-left, -top), sources)


def _source_offsets(floorplan: Floorplan, panel: PanelLayout) -> dict[str, Tile]:
    """Sources placed by the panel, from its top left tile."""
    next_place = {side: count(0, 2) for side in ("left", "right", "above", "below")}
    found: dict[str, Tile] = {}
    for name, place in floorplan.sources.items():
        if isinstance(place, FromPanel):
            found[name] = place.dx, place.dy
        elif isinstance(place, BesidePanel):
            along = next(next_place[place.side])
            across = {
                "left": -1 - place.gap, "right": panel.width + place.gap,
                "above": -1 - place.gap, "below": panel.height + place.gap,
            }[place.side]  # fmt: skip
            found[name] = (across, along) if place.side in ("left", "right") else (along, across)
    return found
