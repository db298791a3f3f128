"""Follows a guide to the letter. It stands in for a person who knows only guide.json and the grid's rules."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.guide.model import Expectation, Guide, Step
from hdl2grid.guide.world import Impossible, World, tiles_of
from hdl2grid.plan.model import Plan


@dataclass(frozen=True)
class Trouble:
    """Something that went wrong at a step: an impossible action, a lost pulse, an expectation not seen."""

    step: str
    what: str


@dataclass(frozen=True)
class Laid:
    """What came of following a guide. `num_lost` counts lost pulses, `num_seen` expectations that were met."""

    world: World
    troubles: tuple[Trouble, ...]
    num_lost: int
    num_seen: int


def lay(guide: Guide) -> Laid:
    """Carries out every step of a guide and looks at everything that it says must be seen."""
    world = World(guide.fresh)
    troubles: list[Trouble] = []
    num_lost = num_seen = 0
    for step in guide.steps():
        lost, found = follow(world, step)
        num_lost += lost
        troubles += found
        for expectation in step.expect:
            if is_seen(world, expectation):
                num_seen += 1
            else:
                troubles.append(Trouble(step.number, f"not seen: {_words(expectation, world)}"))
    return Laid(world, tuple(troubles), num_lost, num_seen)


def follow(world: World, step: Step) -> tuple[int, list[Trouble]]:
    """Carries out the actions of one step: how many pulses got lost, and what went wrong."""
    troubles: list[Trouble] = []
    num_lost = 0
    for action in step.actions:
        try:
            outcome = world.do(action)
        except Impossible as error:
            troubles.append(Trouble(step.number, str(error)))
            continue
        num_lost += len(outcome.lost)
        troubles += [Trouble(step.number, f"the gate on {gate} lost a pulse") for gate in outcome.lost]
    return num_lost, troubles


def is_seen(world: World, expectation: Expectation) -> bool:
    """Whether the eyes see it. What the panel reads is for a person alone, and counts as seen."""
    if expectation.tile is None:
        return True
    return world.value(expectation.tile, expectation.see) == expectation.value


def _words(expectation: Expectation, world: World) -> str:
    assert expectation.tile is not None
    there = world.value(expectation.tile, expectation.see)
    found = "nothing" if there is None else str(there)
    return f"{expectation.see} {expectation.tile} = {expectation.value}; there is {found}"


def differences(world: World, plan: Plan) -> tuple[str, ...]:
    """Where a world is not the plan in its first state; empty when it is exactly that."""
    found: list[str] = []
    wanted = {(d.x, d.y): d for d in plan.devices}
    for tile in sorted(wanted.keys() | world.things.keys()):
        device, thing = wanted.get(tile), world.things.get(tile)
        if device is None or thing is None:
            found.append(f"{tile}: {'nothing' if thing is None else thing.kind} instead of {device and device.kind}")
        elif thing.device != device:
            found.append(f"{tile}: {thing.device} instead of {device}")
        elif device.kind in _FIRST and thing.value != int(bool(getattr(device, _FIRST[device.kind]))):
            found.append(f"{tile}: the {device.kind} shows {thing.value}")
    for colour, strokes in zip(plan.colours, plan.wires, strict=True):
        tiles = {tile for stroke in strokes for tile in tiles_of(stroke)}
        laid = world.wires.get(colour, set())
        found += [f"{tile}: {colour} wire is missing" for tile in sorted(tiles - laid)]
        found += [f"{tile}: {colour} wire too much" for tile in sorted(laid - tiles)]
    for colour in sorted(world.wires.keys() - set(plan.colours)):
        found += [f"{tile}: {colour} is no colour of the plan" for tile in sorted(world.wires[colour])]
    if sorted(world.backdrop) != sorted(plan.backdrop):
        found.append(f"the backdrop is {sorted(world.backdrop)} instead of {sorted(plan.backdrop)}")
    return tuple(found)


_FIRST = {"toggle": "bit", "pixel": "lit", "ticker": "running", "switch": "on"}
"""Which key of a device says what it shows in the first state."""
