"""Plans for the tests of the guide: small ones made by hand, and one that the planner made."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from hdl2grid.guide.build import make_guide
from hdl2grid.guide.model import Guide
from hdl2grid.guide.world import tiles_of
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.model import Device, Plan, SignalTap
from support import plans

DATA = Path(__file__).parents[1] / "data"


def odd_plan() -> Plan:
    """What the others have not: a delay, a lit and a dark pixel without wire, a pixel on the ticker's own net, a
    net without room for a button, names that need quoting.

    ::

        . S . . .  P      P at (5,0) and (5,1): never wired, dark and lit
        @ T . . .  P      black: @ S and the pixel B;  orange: G T
        . G B . .  .      blue: from the button o to the delay D, and from its end d to the pixel p
        o - D . d  p
    """
    return plans.make_plan(
        'odd "one", with a long name that goes on and on until no line of eighty columns can hold it',
        (6, 4),
        [
            Device("ticker", 0, 1, name="tick", period_s=0.5, running=True),
            Device("gate", 1, 2, name='a\\b "c"', function="AND"),
            Device("toggle", 1, 1, bit=1),
            Device("strobe", 1, 0),
            Device("pixel", 2, 2, lit=False, signal="beat"),
            Device("pixel", 5, 0, lit=False, signal="never[0]"),
            Device("pixel", 5, 1, lit=True, signal="never[1]"),
            Device("button", 0, 3, name="go"),
            Device("delay", 2, 3, to=(4, 3), seconds=1.5),
            Device("pixel", 5, 3, lit=False, signal="late"),
        ],
        [SignalTap("beat", "black", 0, 1, 0)],
        black=[(0, 0, 0, 1), (0, 0, 2, 0), (2, 0, 2, 2)],
        orange=[(1, 1, 1, 2)],
        blue=[(0, 3, 2, 3), (4, 3, 5, 3)],
    )


@cache
def plan_named(name: str) -> Plan:
    if (DATA / f"{name}.plan.json").exists():
        return load_plan(DATA / f"{name}.plan.json")
    return odd_plan() if name == "odd" else plans.PAIRS[name][0]()


@cache
def guide_named(name: str) -> Guide:
    return make_guide(plan_named(name))


NAMES = (*plans.PAIRS, "odd", "lights")


def tiles_of_plan(plan: Plan) -> tuple[object, ...]:
    """All that lies on tiles, however it is cut into strokes."""
    devices = tuple(sorted(plan.devices, key=lambda d: (d.y, d.x)))
    wires = tuple(frozenset(t for stroke in strokes for t in tiles_of(stroke)) for strokes in plan.wires)
    return plan.colours, plan.width, plan.height, devices, wires, sorted(plan.backdrop)
