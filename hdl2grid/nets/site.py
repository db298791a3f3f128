"""The floorplan of a machine in numbers of cells: what layout must keep free, and where cells are pinned."""

from __future__ import annotations

from hdl2grid.design.floorplan import At, AtEdge, Floorplan
from hdl2grid.design.siting import Frame, corner_of
from hdl2grid.nets.model import Cell, Site


def site_of(floorplan: Floorplan | None, frame: Frame | None, cells: tuple[Cell, ...]) -> Site:
    """The floorplan in numbers of cells; `frame` is the panel's, None where there is no panel."""
    if floorplan is None:
        return Site()
    pinned = []
    for number, cell in enumerate(cells):
        place = floorplan.sources.get(cell.name) if cell.kind == "source" else None
        if isinstance(place, At):
            pinned.append((number, place.x, place.y))
        if cell.kind == "panel" and frame is not None and isinstance(floorplan.panel, At):
            pinned.append((number, *corner_of(floorplan.panel, frame)))
    return Site(
        tuple(one.rectangle for one in floorplan.keep_out),
        tuple(pinned),
        (None, None, None, None) if frame is None else _zone(floorplan, frame),
        (0, 0) if frame is None else frame.panel_at,
    )


def _zone(floorplan: Floorplan, frame: Frame) -> tuple[int | None, int | None, int | None, int | None]:
    edges = floorplan.panel.edges if isinstance(floorplan.panel, AtEdge) else ()
    logic = floorplan.logic
    (x, y), (w, h) = frame.panel_at, frame.panel_size
    left = frame.width if logic == "right" else x if "left" in edges else None
    right = 0 if logic == "left" else x + w if "right" in edges else None
    top = frame.height if logic == "below" else y if "top" in edges else None
    bottom = 0 if logic == "above" else y + h if "bottom" in edges else None
    return left, right, top, bottom
