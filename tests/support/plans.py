"""Small machines made by hand: their plans, their circuits, and pictures of them."""

from __future__ import annotations

from dataclasses import replace

from hdl2grid.circuit.model import Circuit, Level, Origin, Pixel, Source, Stack, Toggle
from hdl2grid.plan.model import Device, Plan, SignalTap, Stroke

COLOURS = ("black", "orange", "blue", "violet")


def make_plan(
    name: str,
    size: tuple[int, int],
    devices: list[Device],
    signals: list[SignalTap],
    **wires: list[Stroke],
) -> Plan:
    strokes = tuple(tuple(wires.get(colour, ())) for colour in COLOURS)
    return Plan(name, "default", COLOURS, *size, tuple(devices), strokes, (), tuple(signals))


def _origins(count: int) -> tuple[Origin, ...]:
    return tuple(Origin("top", "") for _ in range(count))


def divider_plan() -> Plan:
    """A divider by two: toggle and strobe of one stack on the ticker's net, a pixel on its output.

    ::

        . . S . . .      S strobe, T toggle, G gate, @ ticker, P pixel
        @ - T . . .      black: @ T S;  orange: G P
        . . G - - P
    """
    return make_plan(
        "divider",
        (6, 3),
        [
            Device("ticker", 0, 1, name="sync", period_s=1, running=True),
            Device("gate", 2, 2, name="half", function="AND"),
            Device("toggle", 2, 1, bit=0),
            Device("strobe", 2, 0),
            Device("pixel", 5, 2, lit=False, signal="lamp"),
        ],
        [SignalTap("lamp", "orange", 3, 2, 0)],
        black=[(0, 1, 2, 1), (2, 0, 2, 1)],
        orange=[(2, 2, 5, 2)],
    )


def divider_circuit() -> Circuit:
    """At ticks 1, 3, 5 .. the lamp changes."""
    return Circuit(
        name="divider",
        sources=(Source("ticker", "sync", period_s=1, running=True),),
        stacks=(Stack("half", "AND", (Toggle(0, ("sync",)),), ("sync",)),),
        pixels=(Pixel("lamp", False, ("half",)),),
        origin=_origins(1),
        levels=(Level("lamp", ("half",), 0),),
    )


def counter_plan() -> Plan:
    """A counter of two bits, the AND of both, three pixels; blue crosses blue at (6,5).

    ::

        @ - S - - - S            black: @ and both strobes
        . . T . . - T            orange: first gate, second toggle, lower toggle of the AND
        . . G - - . G - - P      blue: second gate, q[1], upper toggle of the AND
        . . | . | . |
        . . - - - - X - - P      blue: first gate, q[0], through the crossover X
        . . . . | . T
        . . . . - - T
        . . . . . . G - - P      violet: the AND, both
    """
    return make_plan(
        "counter",
        (10, 9),
        [
            Device("ticker", 0, 1, name="sync", period_s=1, running=True),
            Device("gate", 2, 3, name="r0", function="AND"),
            Device("toggle", 2, 2, bit=1),
            Device("strobe", 2, 1),
            Device("gate", 6, 3, name="r1", function="AND"),
            Device("toggle", 6, 2, bit=0),
            Device("strobe", 6, 1),
            Device("gate", 6, 8, name="and", function="AND"),
            Device("toggle", 6, 7, bit=0),
            Device("toggle", 6, 6, bit=0),
            Device("crossover", 6, 5, form="straight"),
            Device("pixel", 9, 3, lit=False, signal="q[1]"),
            Device("pixel", 9, 5, lit=False, signal="q[0]"),
            Device("pixel", 9, 8, lit=False, signal="both"),
        ],
        [
            SignalTap("q[0]", "orange", 3, 3, 0),
            SignalTap("q[1]", "blue", 7, 3, 0),
            SignalTap("both", "violet", 7, 8, 0),
            SignalTap("count[0]", "orange", 3, 3, 0),
            SignalTap("count[1]", "blue", 7, 3, 0),
        ],
        black=[(0, 1, 6, 1)],
        orange=[(2, 3, 4, 3), (4, 2, 4, 7), (4, 2, 6, 2), (4, 7, 6, 7)],
        blue=[(6, 3, 9, 3), (6, 3, 6, 6), (2, 3, 2, 5), (2, 5, 9, 5)],
        violet=[(6, 8, 9, 8)],
    )


def counter_circuit() -> Circuit:
    return Circuit(
        name="counter",
        sources=(Source("ticker", "sync", period_s=1, running=True),),
        stacks=(
            Stack("r0", "AND", (Toggle(1, ()),), ("sync",)),
            Stack("r1", "AND", (Toggle(0, ("r0",)),), ("sync",)),
            Stack("and", "AND", (Toggle(0, ("r0",)), Toggle(0, ("r1",)))),
        ),
        pixels=(
            Pixel("q[0]", False, ("r0",)),
            Pixel("q[1]", False, ("r1",)),
            Pixel("both", False, ("and",)),
        ),
        origin=_origins(3),
        levels=(
            Level("q[0]", ("r0",), 0),
            Level("q[1]", ("r1",), 0),
            Level("both", ("and",), 0),
            Level("count[0]", ("r0",), 0),
            Level("count[1]", ("r1",), 0),
        ),
    )


def blinker_plan() -> Plan:
    """One register that starts at 1, flips at a tick while the switch `go` is on, and is reset by a button.

    ::

        @ - - S . . S - B      black: @ S;  blue: B S
        o - - T . . T . .      orange: o (the switch) T;  violet: both gates, right toggle, pixel
        . . . G - - G - P
    """
    return make_plan(
        "blinker",
        (9, 3),
        [
            Device("ticker", 0, 0, name="sync", period_s=0.5, running=True),
            Device("switch", 0, 1, name="go", on=False),
            Device("button", 8, 0, name="reset"),
            Device("gate", 3, 2, name="q", function="AND"),
            Device("toggle", 3, 1, bit=0),
            Device("strobe", 3, 0),
            Device("gate", 6, 2, name="q reset", function="AND"),
            Device("toggle", 6, 1, bit=0),
            Device("strobe", 6, 0),
            Device("pixel", 8, 2, lit=True, signal="q"),
        ],
        [SignalTap("q", "violet", 4, 2, 1)],
        black=[(0, 0, 3, 0)],
        orange=[(0, 1, 3, 1)],
        blue=[(6, 0, 8, 0)],
        violet=[(3, 2, 8, 2), (6, 1, 6, 2)],
    )


def blinker_circuit() -> Circuit:
    return Circuit(
        name="blinker",
        sources=(
            Source("ticker", "sync", period_s=0.5, running=True),
            Source("switch", "go", on=False),
            Source("button", "reset"),
        ),
        stacks=(
            Stack("q", "AND", (Toggle(0, ("go",)),), ("sync",)),
            Stack("q reset", "AND", (Toggle(0, ("q", "q reset")),), ("reset",)),
        ),
        pixels=(Pixel("q", True, ("q", "q reset")),),
        origin=_origins(2),
        levels=(Level("q", ("q", "q reset"), 1),),
    )


def with_devices(plan: Plan, *devices: Device) -> Plan:
    return replace(plan, devices=(*plan.devices, *devices))


def with_wire(plan: Plan, colour: str, *strokes: Stroke) -> Plan:
    wires = [list(s) for s in plan.wires]
    wires[plan.colours.index(colour)] += strokes
    return replace(plan, wires=tuple(tuple(s) for s in wires))


def without_wire(plan: Plan, stroke: Stroke, *instead: Stroke) -> Plan:
    assert any(stroke in strokes for strokes in plan.wires)
    return replace(
        plan,
        wires=tuple(
            tuple(s for s in strokes if s != stroke) + (instead if stroke in strokes else ()) for strokes in plan.wires
        ),
    )


def without_device(plan: Plan, x: int, y: int) -> Plan:
    assert any((d.x, d.y) == (x, y) for d in plan.devices)
    return replace(plan, devices=tuple(d for d in plan.devices if (d.x, d.y) != (x, y)))


PAIRS = {
    "divider": (divider_plan, divider_circuit),
    "counter": (counter_plan, counter_circuit),
    "blinker": (blinker_plan, blinker_circuit),
}
