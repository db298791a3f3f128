"""Single mistakes of the hands, and whether the guide's checks show them.

A guide is followed by many pairs of hands at once, each with one mistake of its own, until a check shows it. What
is left at the end is compared with the plan: a mistake that changes nothing in the machine need not be found.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

from hdl2grid.circuit.model import FUNCTIONS
from hdl2grid.guide.laying import is_seen
from hdl2grid.guide.model import Action, Guide, Step, Tile
from hdl2grid.guide.sentences import as_text
from hdl2grid.guide.slips import AROUND, wrong_strokes
from hdl2grid.guide.world import Impossible, World, tiles_of
from hdl2grid.plan.extract import extract
from hdl2grid.plan.model import Device, Plan, Stroke
from hdl2grid.sim.waves import gate_output


@dataclass(frozen=True)
class Slip:
    """One mistake: action `index` of step `step` is done as `instead` (None: left out)."""

    step: int
    index: int
    kind: str
    instead: Action | None


@dataclass(frozen=True)
class Verdict:
    """What became of a slip: the step that showed it (None: none did), and how: "own" (the step itself or
    another one of the same net), "later", or "impossible" (the hands notice that a tile is taken or empty)."""

    slip: Slip
    shown_at: int | None
    how: str


def slips(guide: Guide) -> Iterator[Slip]:
    """All single mistakes with strokes and devices that are to stay."""
    assert guide.plan is not None
    plan = guide.plan
    own = {(d.x, d.y): d for d in plan.devices}
    for number, step in enumerate(guide.steps()):
        for index, action in enumerate(step.actions):
            found: Iterator[tuple[str, Action | None]] = iter(())
            if action.do == "wire" and step.net is not None and not _is_temporary(guide, action):
                found = _stroke_slips(plan, action)
            elif action.device is not None and own.get((action.device.x, action.device.y)) == action.device:
                found = _device_slips(plan, action.device)
            for kind, instead in found:
                yield Slip(number, index, kind, instead)


def _is_temporary(guide: Guide, action: Action) -> bool:
    return any(
        a.do == "unwire" and (a.colour, a.stroke) == (action.colour, action.stroke)
        for step in guide.steps()
        for a in step.actions
    )


def _stroke_slips(plan: Plan, action: Action) -> Iterator[tuple[str, Action | None]]:
    assert action.stroke is not None and action.colour is not None
    for wrong in wrong_strokes(plan, action.colour, action.stroke):
        instead = None if wrong.stroke is None else replace(action, colour=wrong.colour, stroke=wrong.stroke)
        yield wrong.kind, instead


def _device_slips(plan: Plan, device: Device) -> Iterator[tuple[str, Action | None]]:
    yield f"{device.kind} left out", None
    if device.kind == "toggle":
        yield "wrong bit", Action("place", device=replace(device, bit=1 - (device.bit or 0)))
    elif device.kind == "gate":
        for function in FUNCTIONS:
            if function != device.function:
                yield "wrong gate", Action("place", device=replace(device, function=function))
    if device.kind in ("pixel", "crossover", "button", "switch", "ticker"):
        for dx, dy in AROUND:
            x, y = device.x + dx, device.y + dy
            if 0 <= x < plan.width and 0 <= y < plan.height:
                yield f"{device.kind} misplaced", Action("place", device=replace(device, x=x, y=y))


class _Hands:
    """Somebody who follows the guide with one slip."""

    def __init__(self, slip: Slip, world: World) -> None:
        self.slip = slip
        self.world = world

    def follow(self, number: int, step: Step, right: World, before: dict[Tile, int]) -> str | None:
        """How this step shows the slip; None when it does not."""
        for index, action in enumerate(step.actions):
            todo: Action | None = action
            if number == self.slip.step and index == self.slip.index:
                todo = self.slip.instead
            if todo is not None:
                try:
                    self.world.do(todo)
                except Impossible:
                    return "impossible"
        if not all(is_seen(self.world, expectation) for expectation in step.expect):
            return "seen"
        if "othing else may change" in step.text or "othing may change" in step.text:
            after = self.world.watched()
            own = {e.tile for e in step.expect}
            wrong = [t for t, v in after.items() if t not in own and before.get(t, v) != v]
            wrong = [t for t in wrong if right.watched().get(t) != after[t]]
            if wrong:
                return "seen"
        return None


def judge(guide: Guide, chosen: list[Slip] | None = None) -> list[Verdict]:
    """Follows the guide with each slip (all of them if not `chosen`) until a check shows it."""
    todo = list(slips(guide)) if chosen is None else chosen
    by_step: dict[int, list[Slip]] = {}
    for slip in todo:
        by_step.setdefault(slip.step, []).append(slip)
    steps = list(guide.steps())
    right = World(guide.fresh)
    hands: list[_Hands] = []
    verdicts: list[Verdict] = []
    for number, step in enumerate(steps):
        hands += [_Hands(slip, right.copy()) for slip in by_step.get(number, ())]
        befores = [hand.world.watched() for hand in hands]
        for action in step.actions:
            right.do(action)
        left = []
        for hand, before in zip(hands, befores, strict=True):
            shown = hand.follow(number, step, right, before)
            if shown is None:
                left.append(hand)
            else:
                net = steps[hand.slip.step].net
                own = number == hand.slip.step or (net is not None and step.title == steps[hand.slip.step].title)
                how = shown if shown == "impossible" else "own" if own else "later"
                verdicts.append(Verdict(hand.slip, number, how))
        hands = left
    return verdicts + [Verdict(hand.slip, None, "not shown") for hand in hands]


def shown_by_any_press(guide: Guide, chosen: list[Slip]) -> list[Slip]:
    """Those of the slips with a net's wire that a press of that net could show.

    At the moment of any press that its own test makes on its tiles, a button somewhere on them where no other wire lies
    (or what stands there and can be pressed), pressed once, changes other toggles or pixels than without the slip.
    """
    steps = list(guide.steps())
    tiles: dict[int, set[Tile]] = {}
    for step in steps:
        if step.net is not None:
            strokes = [a.stroke for a in step.actions if a.do == "wire" and a.stroke is not None]
            tiles.setdefault(step.net, set()).update(t for stroke in strokes for t in tiles_of(stroke))
    by_step: dict[int, list[Slip]] = {}
    for slip in chosen:
        by_step.setdefault(slip.step, []).append(slip)
    right = World(guide.fresh)
    found = []
    worlds: list[tuple[Slip, World]] = []
    for number, step in enumerate(steps):
        if step.net is None or step.net not in {steps[slip.step].net for slip, _ in worlds}:
            worlds = []
        worlds += [(slip, right.copy()) for slip in by_step.get(number, ())]
        for index, action in enumerate(step.actions):
            if action.do == "press" and worlds and action.tile in tiles[step.net or 0]:
                clear = {t for t in tiles[step.net or 0] if sum(t in laid for laid in right.wires.values()) == 1}
                seen = _presses(right, clear)
                shown = [pair for pair in worlds if any(_pressed(pair[1], t) != seen[t] for t in seen)]
                found += [slip for slip, _ in shown]
                worlds = [pair for pair in worlds if pair not in shown]
            right.do(action)
            for slip, world in worlds:
                todo = slip.instead if (slip.step, slip.index) == (number, index) else action
                if todo is not None:
                    world.do(todo)
    return found


def _presses(world: World, tiles: set[Tile]) -> dict[Tile, dict[Tile, int]]:
    """What is seen after a press on each of the tiles that can be pressed."""
    can = {t for t in tiles if t not in world.things or world.things[t].kind in ("button", "switch")}
    return {tile: _pressed(world, tile) for tile in sorted(can)}


def _pressed(world: World, tile: Tile) -> dict[Tile, int]:
    world = world.copy()
    if tile not in world.things:
        world.do(Action("place", device=Device("button", *tile)))
    world.do(Action("press", tile=tile))
    return world.watched()


def machine_of(guide: Guide, slip: Slip | None) -> Plan:
    """The tiles that a guide leaves when one slip is made and nothing is noticed."""
    assert guide.plan is not None
    plan = guide.plan
    devices: dict[Tile, Device] = {}
    wires: dict[str, dict[Stroke, int]] = {colour: {} for colour in plan.colours}
    world = World()
    for number, step in enumerate(guide.steps()):
        for index, action in enumerate(step.actions):
            todo: Action | None = action
            if slip is not None and (number, index) == (slip.step, slip.index):
                todo = slip.instead
            if todo is None:
                continue
            if todo.do == "place" and todo.device is not None:
                devices.setdefault((todo.device.x, todo.device.y), todo.device)
            elif todo.do == "remove" and todo.tile is not None:
                devices.pop(todo.tile, None)
            elif todo.do in ("wire", "unwire"):
                world.do(todo)
    for colour, tiles in world.wires.items():
        wires.setdefault(colour, {}).update({(*tile, *tile): 1 for tile in sorted(tiles)})
    return replace(
        plan,
        devices=tuple(devices[t] for t in sorted(devices, key=lambda t: (t[1], t[0]))),
        wires=tuple(tuple(wires[colour]) for colour in plan.colours),
        signals=(),
    )


def fingerprint(plan: Plan) -> dict[Tile, object]:
    """All that decides how a machine behaves, by tile: what drives each sink, what each stack is, and the first
    state. Two plans with the same fingerprint are the same machine."""
    found = extract(plan)
    marks: dict[Tile, object] = {}
    for index, device in enumerate(plan.devices):
        if device.kind in ("toggle", "pixel", "strobe", "ticker", "delay"):
            drivers = Counter(
                (plan.devices[d].x, plan.devices[d].y)
                for net in found.device_nets[index]
                for d in found.nets[net].drivers
                if d != index
            )
            odd = sorted(t for t, n in drivers.items() if n % 2 or device.kind in ("strobe", "delay"))
            marks[device.x, device.y] = (device.kind, device.bit, device.lit, tuple(odd))
        elif device.kind in ("button", "switch"):
            marks[device.x, device.y] = (device.kind, device.on)
    for stack in found.stacks:
        gate, size = plan.devices[stack.gate], len(stack.toggles)
        table = tuple(gate_output(gate.function or "AND", ones, size) for ones in range(size + 1))
        says = "strobed" if stack.strobe is not None else min(table, tuple(1 - v for v in table))
        marks[gate.x, gate.y] = (says, size)
    return marks


def describe(guide: Guide, slip: Slip) -> str:
    """A slip in words, for reports."""
    step = list(guide.steps())[slip.step]
    instead = "nothing" if slip.instead is None else _short(slip.instead)
    return as_text(f"step {step.number}: {slip.kind}: {instead} instead of {_short(step.actions[slip.index])}")


def _short(action: Action) -> str:
    from hdl2grid.guide.text_lines import action_line

    return action_line(action)
