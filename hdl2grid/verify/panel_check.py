"""The panel of a plan against the panel of its design: every pixel stands as drawn."""

from __future__ import annotations

from collections import Counter

from hdl2grid.base.errors import Finding
from hdl2grid.panel.model import PanelLayout
from hdl2grid.plan.model import Plan


def compare_panel(plan: Plan, panel: PanelLayout | None) -> tuple[Finding, ...]:
    """The pixels of `panel` that the plan lacks, the panel being where most of its pixels are found."""
    if panel is None or not panel.pixels:
        return ()
    placed: dict[str, list[tuple[int, int]]] = {}
    for device in plan.devices:
        if device.kind == "pixel":
            placed.setdefault(device.signal or "", []).append((device.x, device.y))
    offsets = Counter((x - pixel.x, y - pixel.y) for pixel in panel.pixels for x, y in placed.get(pixel.signal, ()))
    if not offsets:
        return (Finding("V024", "no pixel of the design's panel is in the plan"),)
    dx, dy = min(offsets, key=lambda offset: (-offsets[offset], offset))
    missing = [p for p in panel.pixels if (p.x + dx, p.y + dy) not in placed.get(p.signal, ())]
    return tuple(
        Finding(
            "V024", "the panel has a pixel here, and the plan does not show it", (p.x + dx, p.y + dy), subject=p.signal
        )
        for p in missing
    )
