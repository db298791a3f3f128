"""A plain guide for tests of the page: every device, then every stroke, then a press of each button, there and
back. Good enough to be laid and shown; the real one is made in hdl2grid/guide."""

from __future__ import annotations

from hdl2grid.guide.model import Action, Expectation, Guide, Mistake, Section, Step
from hdl2grid.plan.model import Device, Plan

SIZE = 5


def _order(device: Device) -> tuple[int, int, int]:
    kinds = ("pixel", "gate", "toggle", "strobe", "crossover", "ticker", "button", "switch", "delay")
    return kinds.index(device.kind), device.x, -device.y


def plain_guide(plan: Plan, sha256: str = "0" * 64) -> Guide:
    """Steps of at most five devices or strokes, and a check of every switch and button at the end."""
    devices = [Action("place", device=d) for d in sorted(plan.devices, key=_order)]
    wires = [
        Action("wire", colour=colour, stroke=stroke)
        for colour, strokes in zip(plan.colours, plan.wires, strict=True)
        for stroke in strokes
    ]
    presses = [Action("press", tile=(d.x, d.y), times=2) for d in plan.devices if d.kind in ("button", "switch")]
    pixel = next(d for d in plan.devices if d.kind == "pixel")
    seen = (Expectation("pixel", (pixel.x, pixel.y), int(bool(pixel.lit))),)
    wrong = (Mistake("a stroke is missing", "nothing changes", "lay it"),)
    sections = [
        ("Devices", "Devices come before wires, because a toggle may send a pulse.", devices, ()),
        ("Wires", "Laying wire sends no pulse.", wires, ()),
        ("Check", "Every source once there and back.", presses, seen),
    ]
    made = []
    number = 0
    for title, why, actions, expect in sections:
        steps = []
        for start in range(0, len(actions), SIZE):
            number += 1
            part = tuple(actions[start : start + SIZE])
            steps.append(
                Step(f"{title}, part {len(steps) + 1}.", part, expect, number, mistakes=wrong if expect else ())
            )
        made.append(Section(title, why, tuple(steps)))
    return Guide(plan.name, sha256, tuple(made))
