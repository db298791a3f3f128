"""The parts list: every device by kind and first state, and wire tiles by colour."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Callable, Iterable

from hdl2grid.plan.model import Device, Plan, Stroke

_SORT: dict[str, Callable[[Device], str]] = {
    "gate": lambda d: f"gate {d.function}",
    "toggle": lambda d: f"toggle {d.bit}",
    "strobe": lambda d: "strobe",
    "pixel": lambda d: "pixel lit" if d.lit else "pixel dark",
    "ticker": lambda d: "ticker running" if d.running else "ticker stopped",
    "button": lambda d: "button",
    "switch": lambda d: "switch on" if d.on else "switch off",
    "delay": lambda d: "delay",
    "crossover": lambda d: "crossover",
}

SORTS = (
    *(f"gate {function}" for function in ("AND", "OR", "NAND", "NOR", "XOR", "XNOR")),
    "toggle 0",
    "toggle 1",
    "strobe",
    "pixel lit",
    "pixel dark",
    "ticker running",
    "ticker stopped",
    "button",
    "switch on",
    "switch off",
    "delay",
    "crossover",
)
"""Every sort of device, in the order in which lists show them."""


def count_devices(plan: Plan) -> dict[str, int]:
    """How many devices of each sort the plan has, in the order of SORTS; sorts without any are left out.

    A delay counts once, though it has an in tile and an out tile.
    """
    counts = Counter(_SORT[device.kind](device) for device in plan.devices)
    return {sort: counts[sort] for sort in SORTS if counts[sort]}


def stroke_tiles(strokes: Iterable[Stroke]) -> set[tuple[int, int]]:
    """The tiles (x, y) that strokes of one colour cover."""
    tiles: set[tuple[int, int]] = set()
    for x0, y0, x1, y1 in strokes:
        columns, rows = range(min(x0, x1), max(x0, x1) + 1), range(min(y0, y1), max(y0, y1) + 1)
        tiles.update((x, y) for x in columns for y in rows)
    return tiles


def wire_tile_counts(plan: Plan) -> dict[str, int]:
    """How many tiles bear each wire colour, in the plan's order of colours."""
    pairs = zip(plan.colours, plan.wires, strict=True)
    return {colour: len(stroke_tiles(strokes)) for colour, strokes in pairs}


def parts_rows(plan: Plan) -> list[tuple[str, str, int]]:
    """Part, first state and number: "gate", "NAND", 12. Wires come last, counted in tiles."""
    rows = []
    for sort, number in count_devices(plan).items():
        part, _, state = sort.partition(" ")
        rows.append((part, state, number))
    return rows + [("wire", colour, number) for colour, number in wire_tile_counts(plan).items()]


def parts_csv(plan: Plan) -> str:
    """The parts list as CSV (RFC 4180, but with plain line feeds) with a header line."""
    buffer = io.StringIO()
    writer = csv.writer(buffer, lineterminator="\n")
    writer.writerow(("part", "state", "number"))
    writer.writerows(parts_rows(plan))
    return buffer.getvalue()
