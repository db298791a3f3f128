"""A plan against its floorplan, read from the plan's own tiles."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator

from hdl2grid.base.errors import Finding
from hdl2grid.design.floorplan import At, AtEdge, BesidePanel, Floorplan, FromPanel
from hdl2grid.panel.model import PanelLayout
from hdl2grid.plan.model import Device, Plan, Stroke

Tile = tuple[int, int]


def check_floorplan_kept(plan: Plan, floorplan: Floorplan | None, panel: PanelLayout | None) -> tuple[Finding, ...]:
    """What in the plan is not where the floorplan wants it: findings V030 to V034."""
    if floorplan is None:
        return ()
    corner = _panel_corner(plan, panel)
    return (
        *_limits(plan, floorplan),
        *_keep_outs(plan, floorplan),
        *_sources(plan, floorplan, panel, corner),
        *(_around_panel(plan, floorplan, panel, corner) if panel is not None and corner is not None else ()),
    )


def _panel_corner(plan: Plan, panel: PanelLayout | None) -> Tile | None:
    """Where the panel's top left tile is: where most of its pixels are found."""
    if panel is None:
        return None
    places = Counter(
        (device.x - pixel.x, device.y - pixel.y)
        for device in plan.devices
        for pixel in panel.pixels
        if device.kind == "pixel" and device.signal == pixel.signal
    )
    return min(places, key=lambda tile: (-places[tile], tile)) if places else None


def _limits(plan: Plan, floorplan: Floorplan) -> Iterator[Finding]:
    for what, size, limit in (("wide", plan.width, floorplan.width), ("high", plan.height, floorplan.height)):
        if limit is not None and size > limit:
            yield Finding("V030", f"the plan is {size} tiles {what}, and the floorplan allows {limit}")


def _keep_outs(plan: Plan, floorplan: Floorplan) -> Iterator[Finding]:
    for one in floorplan.keep_out:
        for device in plan.devices:
            if one.covers(device.x, device.y):
                yield Finding("V031", f"a {device.kind} stands on a keep-out", (device.x, device.y))
        for colour, strokes in zip(plan.colours, plan.wires, strict=True):
            for x, y in _tiles(strokes):
                if one.covers(x, y):
                    yield Finding("V031", "wire lies on a keep-out", (x, y), colour)


def _tiles(strokes: tuple[Stroke, ...]) -> list[Tile]:
    found = {(x, y) for x0, y0, x1, y1 in strokes for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)}
    return sorted(found)


def _sources(plan: Plan, floorplan: Floorplan, panel: PanelLayout | None, corner: Tile | None) -> Iterator[Finding]:
    at = {device.name: (device.x, device.y) for device in plan.devices if device.kind in ("ticker", "button", "switch")}
    for name, place in floorplan.sources.items():
        if name not in at:
            yield Finding("V032", f"the floorplan places '{name}', and the plan has no such source")
            continue
        x, y = at[name]
        if isinstance(place, At):
            good, wanted = (x, y) == (place.x, place.y), f"({place.x},{place.y})"
        elif panel is None or corner is None:
            good, wanted = False, "a place by the panel"
        elif isinstance(place, FromPanel):
            good, wanted = (
                (x - corner[0], y - corner[1]) == (place.dx, place.dy),
                f"{place.dx},{place.dy} from the panel",
            )
        else:
            good, wanted = _is_beside((x, y), place, panel, corner), f"{place.gap} {place.side} of the panel"
        if not good:
            yield Finding("V032", f"the source is not where the floorplan wants it: {wanted}", (x, y), subject=name)


def _is_beside(tile: Tile, place: BesidePanel, panel: PanelLayout, corner: Tile) -> bool:
    dx, dy = tile[0] - corner[0], tile[1] - corner[1]
    return {
        "left": dx == -1 - place.gap,
        "right": dx == panel.width + place.gap,
        "above": dy == -1 - place.gap,
        "below": dy == panel.height + place.gap,
    }[place.side]


def _around_panel(plan: Plan, floorplan: Floorplan, panel: PanelLayout, corner: Tile) -> Iterator[Finding]:
    if isinstance(floorplan.panel, At) and corner != (floorplan.panel.x, floorplan.panel.y):
        yield Finding("V033", f"the panel does not begin at ({floorplan.panel.x},{floorplan.panel.y})", corner)
    edges = floorplan.panel.edges if isinstance(floorplan.panel, AtEdge) else ()
    right, bottom = corner[0] + panel.width, corner[1] + panel.height
    for device in plan.devices:
        if device.kind == "crossover" or device.name in floorplan.sources:
            continue
        x, y = device.x, device.y
        in_panel = corner[0] <= x < right and corner[1] <= y < bottom
        if in_panel and _shows(device, panel, corner):
            continue
        sides = (
            ("left", "left", x < corner[0]), ("right", "right", x >= right),
            ("above", "top", y < corner[1]), ("below", "bottom", y >= bottom),
        )  # fmt: skip
        for side, edge, beyond in sides:
            if floorplan.logic == side and not beyond:
                yield Finding("V034", f"the {device.kind} is not {side} of the panel", (x, y), subject=device.name)
            if edge in edges and beyond:
                yield Finding("V034", f"the {device.kind} is beyond the panel's {edge}", (x, y), subject=device.name)
        margin = floorplan.margin
        if corner[0] - margin <= x < right + margin and corner[1] - margin <= y < bottom + margin:
            yield Finding("V034", f"the {device.kind} is in the panel's margin", (x, y), subject=device.name)


def _shows(device: Device, panel: PanelLayout, corner: Tile) -> bool:
    place = device.x - corner[0], device.y - corner[1]
    return device.kind == "pixel" and any((p.x, p.y) == place and p.signal == device.signal for p in panel.pixels)
