"""The panel as text: what a person would see, for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.plan.model import Plan

LIT, DARK, EMPTY = "#", ".", " "
MAX_SIDE = 200
"""Widest and highest panel that is printed, in characters. Guessed: about the widest terminal."""


def panel_text(plan: Plan, lit: Sequence[int]) -> str:
    """All pixels at their places, `#` lit and `.` dark; `lit[i]` belongs to the i-th pixel of `plan.devices`.

    Empty where there are no pixels, or where they stand too far apart to be shown.
    """
    pixels = [device for device in plan.devices if device.kind == "pixel"]
    if not pixels:
        return ""
    left, top = min(p.x for p in pixels), min(p.y for p in pixels)
    width, height = max(p.x for p in pixels) - left + 1, max(p.y for p in pixels) - top + 1
    if max(width, height) > MAX_SIDE:
        return ""
    rows = [[EMPTY] * width for _ in range(height)]
    for pixel, bit in zip(pixels, lit, strict=True):
        rows[pixel.y - top][pixel.x - left] = LIT if bit else DARK
    return "\n".join("".join(row).rstrip() for row in rows)
