"""Mistakes of the hand with one stroke of wire. The press tests look for them and are measured by them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from hdl2grid.plan.model import Plan, Stroke

AROUND = ((1, 0), (-1, 0), (0, 1), (0, -1))
"""Steps (dx, dy) to the four neighbours of a tile."""


@dataclass(frozen=True)
class WrongStroke:
    """What is laid instead of a stroke, and in which colour; nothing where `stroke` is None."""

    kind: str
    colour: str
    stroke: Stroke | None


def wrong_strokes(plan: Plan, colour: str, stroke: Stroke) -> Iterator[WrongStroke]:
    """A stroke left out, one tile short or long, one tile off, in each other colour; what would leave the grid is no
    mistake that can be made."""
    x0, y0, x1, y1 = stroke
    ax, ay = (1, 0) if y0 == y1 else (0, 1)
    yield WrongStroke("stroke left out", colour, None)
    changed: list[tuple[str, Stroke]] = []
    if (x0, y0) != (x1, y1):
        changed += [("one tile short", (x0 + ax, y0 + ay, x1, y1)), ("one tile short", (x0, y0, x1 - ax, y1 - ay))]
    changed += [("one tile long", (x0 - ax, y0 - ay, x1, y1)), ("one tile long", (x0, y0, x1 + ax, y1 + ay))]
    changed += [("one off", (x0 + dx, y0 + dy, x1 + dx, y1 + dy)) for dx, dy in AROUND]
    for kind, moved in changed:
        a, b, c, d = moved
        if min(a, c) >= 0 and min(b, d) >= 0 and max(a, c) < plan.width and max(b, d) < plan.height:
            yield WrongStroke(kind, colour, moved)
    for other in plan.colours:
        if other != colour:
            yield WrongStroke("wrong colour", other, stroke)
