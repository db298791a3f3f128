"""The building site: steps are added one by one, carried out in a world of their own, and told what is seen."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

from hdl2grid.guide.model import (
    MAX_KINDS,
    MAX_THINGS,
    PICTURE,
    USUAL,
    Action,
    Expectation,
    Fresh,
    KeepClear,
    Mistake,
    Step,
    Tile,
)
from hdl2grid.guide.sentences import Words
from hdl2grid.guide.survey import NetInfo, Survey
from hdl2grid.guide.world import World, tiles_of
from hdl2grid.plan.model import Device, Plan, Rect, Stroke

CLEAR = 2
"""Wire of the same colour within so many tiles is marked 'keep clear'. Guessed."""

COMFORTABLE = 6
"""Things in one step, where there is a choice. Common practice, no source."""


class PulseLost(AssertionError):
    """A step that would lose a pulse: a fault of the guide."""


class Site:
    """A world in which every step has been carried out so far, and the steps by section."""

    def __init__(self, survey: Survey, words: Words, fresh: Fresh = USUAL) -> None:
        self.survey = survey
        self.plan: Plan = survey.plan
        self.words = words
        self.fresh = fresh
        self.world = World(fresh)
        self.fresh_pixel = int(fresh.pixel_lit)
        self.laid: list[int] = []
        self.steps: list[Step] = []
        self.section = 1
        self._in_section = 0
        self.steps_of_net: dict[int, list[str]] = {}
        self.buttons: dict[Tile, str] = {}
        self.first = {
            (d.x, d.y): int(bool(d.bit if d.kind == "toggle" else d.lit))
            for d in self.plan.devices
            if d.kind in ("toggle", "pixel")
        }

    def step(
        self,
        title: str,
        template: str,
        actions: Sequence[Action],
        see: Callable[[], Iterable[Tile]] | Iterable[Tile] = (),
        mistakes: Sequence[Mistake] = (),
        of: NetInfo | None = None,
        focus: Iterable[Tile] = (),
        **values: object,
    ) -> Step:
        """Carries out `actions` and adds the step.

        `values` fill the `template`, which may also name {seen}: the tiles of `see` with what they then show.
        The value `reading`, if given, is what the digits of the panel must show. Raises PulseLost.
        """
        clear = tuple(self.keep_clear(actions))
        before = self.world.watched()
        done = []
        for action in actions:
            done.append(self.by_hand(action))
            outcome = self.world.do(action)
            if outcome.lost:
                raise PulseLost(f"{title}: pulses are lost at {outcome.lost}")
        found = self.expectations(see() if callable(see) else see)
        expect = tuple(sorted(found, key=lambda e: e.tile is not None and before.get(e.tile) == e.value))
        reading = str(values.setdefault("reading", ""))
        if reading:
            expect = (*expect, Expectation("digits", text=reading))
        self._in_section += 1
        number = f"{self.section}.{self._in_section}"
        values["seen"] = self.words.seen(expect)
        made = Step(
            text=self.words.say(template, **values),
            actions=tuple(done),
            expect=expect,
            number=number,
            title=title,
            area=picture_area(self.plan, [*_tiles_of_actions(a for a in actions if a.is_thing), *focus]),
            keep_clear=clear,
            mistakes=tuple(mistakes),
            net=None if of is None else of.index,
            changes=sum(before.get(e.tile) != e.value for e in expect if e.tile is not None),
        )
        self.steps.append(made)
        if of is not None:
            self.steps_of_net.setdefault(of.index, []).append(number)
        return made

    def by_hand(self, action: Action) -> Action:
        """A press with the word that fits what stands there now, and its name if it is the machine's own."""
        thing = self.world.things.get(action.tile) if action.do == "press" and action.tile is not None else None
        if thing is not None and thing.kind == "switch":
            return replace(action, hand="flip", name=thing.device.name or "")
        if thing is not None and thing.kind == "button" and thing.device in self.plan.devices:
            return replace(action, name=thing.device.name or "")
        if thing is not None and thing.kind == "ticker":
            return replace(action, hand="stop" if thing.value else "start")
        return action

    def trial(self, actions: Iterable[Action]) -> World:
        """The world as it would be after `actions`."""
        world = self.world.copy()
        for action in actions:
            world.do(action)
        return world

    def expectations(self, tiles: Iterable[Tile], world: World | None = None) -> tuple[Expectation, ...]:
        """What the toggles and pixels on `tiles` show now, or in another world."""
        found = []
        things = (world or self.world).things
        for tile in dict.fromkeys(tiles):
            thing = things.get(tile)
            if thing is not None and thing.kind in ("toggle", "pixel"):
                found.append(Expectation(thing.kind, tile, thing.value))
        return tuple(found)

    def next_section(self) -> None:
        """Later steps count in a new section, if the last one has any."""
        if self._in_section:
            self.section += 1
            self._in_section = 0

    def joined(self, start: Tile, colour: str, strokes: Iterable[Stroke]) -> set[Tile]:
        """The sinks that wire of `colour` would join to `start` if only `strokes` lay."""
        world = World()
        world.things = self.world.things
        world.wires = {colour: {tile for stroke in strokes for tile in tiles_of(stroke)}}
        return {tile for sinks in world.nets_on(start) for tile in sinks}

    def place(self, device: Device) -> Action:
        return Action("place", device=device)

    def temporary(self, tile: Tile) -> Action:
        """Puts down a button that is not in the plan, under a name that no device has."""
        taken = {d.name for d in self.plan.devices} | set(self.buttons.values())
        name = next(n for n in _test_names() if n not in taken)
        self.buttons[tile] = name
        return Action("place", device=Device("button", *tile, name=name))

    def take_away(self, tile: Tile) -> Action:
        self.buttons.pop(tile, None)
        return Action("remove", tile=tile, hand="button")

    def unlike_first(self) -> dict[Tile, int]:
        """Toggles, pixels and switches that do not show what they show in the first state."""
        values = self.world.watched()
        wrong = {tile: value for tile, value in values.items() if value != self.first[tile]}
        for index in self.survey.of_kind("switch"):
            tile = self.survey.tile(index)
            value = self.world.value(tile, "switch")
            if value is not None and value != int(bool(self.survey.device(index).on)):
                wrong[tile] = value
        return wrong

    def keep_clear(self, actions: Sequence[Action]) -> Iterator[KeepClear]:
        """Wire laid earlier in the colours of `actions` that they come near without joining it."""
        for colour in dict.fromkeys(a.colour for a in actions if a.do == "wire" and a.colour):
            new = {t for a in actions if a.colour == colour and a.stroke for t in tiles_of(a.stroke)}
            own: set[Tile] = set()
            for net in self.survey.nets:
                if net.colour == colour and new & net.tiles:
                    own |= net.tiles
            laid = self.world.wires.get(colour, set())
            for tile in sorted(self.around(new, CLEAR) & laid - own, key=lambda t: (t[1], t[0])):
                yield KeepClear(colour, tile)

    @staticmethod
    def around(tiles: Iterable[Tile], distance: int) -> set[Tile]:
        """All tiles at most `distance` steps away."""
        near: set[Tile] = set()
        for x, y in tiles:
            for dy in range(-distance, distance + 1):
                reach = distance - abs(dy)
                near.update((x + dx, y + dy) for dx in range(-reach, reach + 1))
        return near


def _test_names() -> Iterator[str]:
    yield "test"
    number = 2
    while True:
        yield f"test {number}"
        number += 1


def _tiles_of_actions(actions: Iterable[Action]) -> list[Tile]:
    tiles: list[Tile] = []
    for action in actions:
        if action.stroke is not None:
            tiles += [action.stroke[:2], action.stroke[2:]]
        elif action.area is not None:
            tiles += [action.area[:2], action.area[2:]]
        elif action.device is not None:
            tiles.append((action.device.x, action.device.y))
            tiles += [action.device.to] if action.device.to else []
        elif action.tile is not None:
            tiles.append(action.tile)
    return tiles


def extent(tiles: Iterable[Tile]) -> Rect:
    """The smallest rectangle around tiles."""
    xs, ys = zip(*tiles, strict=True)
    return min(xs), min(ys), max(xs), max(ys)


def picture_area(plan: Plan, tiles: Sequence[Tile]) -> Rect | None:
    """What the picture of a step shows: the new things and two tiles around them, within the most that a
    picture may show. None: nothing is new."""
    if not tiles:
        return None
    x0, y0, x1, y1 = extent(tiles)
    left, right = _widened(x0, x1, plan.width, PICTURE[0])
    top, bottom = _widened(y0, y1, plan.height, PICTURE[1])
    return left, top, right, bottom


def _widened(low: int, high: int, size: int, most: int) -> tuple[int, int]:
    high = min(high, low + most - 1)
    for _ in range(CLEAR):
        if high < size - 1 and high - low + 1 < most:
            high += 1
        if low > 0 and high - low + 1 < most:
            low -= 1
    return low, high


def in_sight(shown: Sequence[Tile], others: Iterable[Tile]) -> list[Tile]:
    """`shown` and as many of the others as one picture can show beside them, nearest first."""
    found = list(shown)
    tile = found[0]
    for other in sorted(others, key=lambda t: (abs(t[0] - tile[0]) + abs(t[1] - tile[1]), t)):
        if fits([*found, other]):
            found.append(other)
    return found


def fits(tiles: Iterable[Tile]) -> bool:
    """Whether one picture can show all of these tiles."""
    x0, y0, x1, y1 = extent(tiles)
    return x1 - x0 < PICTURE[0] and y1 - y0 < PICTURE[1]


def kind_of(action: Action) -> str:
    """The kind of thing that an action handles, as steps count kinds."""
    device = action.device
    if device is not None:
        return f"{device.kind} {device.function or ''}{device.bit if device.bit is not None else ''}"
    return action.colour or action.do


def shares(groups: Sequence[Sequence[Action]], most: int = COMFORTABLE) -> list[list[Action]]:
    """Groups of actions that belong together, joined into steps as long as each step keeps within `most`
    things, MAX_KINDS kinds and one picture. A group that is too large by itself is parted."""
    steps: list[list[Action]] = []
    for group in groups:
        for part in _parted(group):
            joined = [*steps[-1], *part] if steps else part
            if steps and len(joined) <= most and _is_step(joined):
                steps[-1] = joined
            else:
                steps.append(list(part))
    return steps


def _parted(group: Sequence[Action]) -> Iterator[list[Action]]:
    if len(group) <= MAX_THINGS and _is_step(group):
        yield list(group)
        return
    part: list[Action] = []
    for action in group:
        if part and (len(part) >= COMFORTABLE or not _is_step([*part, action])):
            yield part
            part = []
        part.append(action)
    if part:
        yield part


def _is_step(actions: Sequence[Action]) -> bool:
    kinds = {kind_of(action) for action in actions}
    return len(actions) <= MAX_THINGS and len(kinds) <= MAX_KINDS and fits(_tiles_of_actions(actions))
