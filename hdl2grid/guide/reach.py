"""What one press flips while a machine is being laid, for all mistakes with a net's strokes at once.

To play a world for each mistake and each tile would take too long. So the wires of the net are flooded once for each
mistake, and the toggles and pixels that are hit are compared. A world is played only where stacks may answer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass
from functools import partial

from hdl2grid.guide.model import Action, Tile
from hdl2grid.guide.slips import WrongStroke, wrong_strokes
from hdl2grid.guide.survey import NetInfo, Survey
from hdl2grid.guide.world import World, tiles_of
from hdl2grid.plan.model import Device, Stroke

_ALL = ((1, 0), (-1, 0), (0, 1), (0, -1))
"""Steps (dx, dy) to the four neighbours of a tile."""

_ALONG = {0: _ALL, 1: ((1, 0), (-1, 0)), 2: ((0, 1), (0, -1))}
"""Steps that a wire can take in a place: any on a plain tile (0), along one axis in a half of a crossover (1, 2)."""


_Hits = tuple[frozenset[int], ...]
"""The sinks on each net that a press hits."""


@dataclass(frozen=True)
class Shown:
    """What presses show of mistakes with a net's strokes.

    `slips[i]` is a stroke and what is laid instead. `differs[tile][i]` are the devices that visibly do something else
    than they should when the net is pressed on `tile`; none if that press does not show the mistake. `answers` says
    whether a press changes anything where no mistake was made. `world(i)` is the field with mistake `i`.
    """

    slips: tuple[tuple[Stroke, WrongStroke], ...]
    differs: dict[Tile, list[frozenset[int]]]
    answers: bool
    world: Callable[[int], World]


class Field:
    """All devices but tickers and the pixels `absent`, and the nets laid so far."""

    def __init__(self, survey: Survey, absent: Set[int] = frozenset()) -> None:
        self.survey = survey
        self.wires: dict[str, set[Tile]] = {colour: set() for colour in survey.plan.colours}
        self.sinks: dict[Tile, int] = {}
        self.flips = set(survey.of_kind("toggle", "pixel"))
        self.crossovers = {survey.tile(i) for i in survey.of_kind("crossover")}
        self.gates = [survey.tile(i) for i in survey.of_kind("gate")]
        self.world = World()
        """The same once more, to be played where one pulse calls for another."""
        self.place(i for i, d in enumerate(survey.plan.devices) if d.kind != "ticker" and i not in absent)

    def place(self, devices: Iterable[int]) -> None:
        """From now on these stand, as they are in the first state."""
        for index in devices:
            device, tile = self.survey.device(index), self.survey.tile(index)
            if device.kind in ("toggle", "pixel", "strobe", "delay"):
                self.sinks[tile] = index
            self.world.stand(device, int(bool(device.bit if device.kind == "toggle" else device.lit)))

    def lay(self, net: NetInfo) -> None:
        """From now on `net` lies."""
        self.wires[net.colour] |= net.tiles
        _lay(self.world, net.colour, net.strokes)

    def shown(self, net: NetInfo, tiles: Sequence[Tile], stub: Stroke | None = None) -> Shown:
        """What presses on each of `tiles` show of the mistakes with the strokes of `net`, which is not laid yet.
        `stub` is temporary wire."""
        temporary = [stub] if stub else []
        for gate in self.gates if net.has_strobe else ():
            self.world.nets_on(gate)
        slips = [(s, wrong) for s in net.strokes for wrong in wrong_strokes(self.survey.plan, net.colour, s)]

        def world(number: int) -> World:
            stroke, wrong = slips[number]
            others = [s for s in net.strokes if s != stroke]
            return self._with(net.colour, [*others, *temporary], wrong)

        whole = set(net.tiles) | {t for stroke in temporary for t in tiles_of(stroke)}
        laid = self._hits({net.colour: whole}, tiles)
        right: dict[Tile, frozenset[int]] = {}
        for tile, hits in laid.items():
            right[tile] = self._effect(hits, tile, partial(self._with, net.colour, [*net.strokes, *temporary]), net)
        left = dict(_without(net, whole))
        differs: dict[Tile, list[frozenset[int]]] = {tile: [] for tile in tiles}
        for number, (stroke, wrong) in enumerate(slips):
            extra = {net.colour: left[stroke]}
            if wrong.stroke:
                extra[wrong.colour] = extra.get(wrong.colour, set()) | set(tiles_of(wrong.stroke))
            known = {laid[tile]: right[tile] for tile in tiles}
            for tile, hits in self._hits(extra, tiles).items():
                if hits not in known:
                    known[hits] = self._effect(hits, tile, partial(world, number), net)
                differs[tile].append(right[tile] ^ known[hits])
        return Shown(tuple(slips), differs, any(right.values()), world)

    def _with(self, colour: str, strokes: Sequence[Stroke], wrong: WrongStroke | None = None) -> World:
        """A world of its own in which more wire lies."""
        world = self.world.copy()
        _lay(world, colour, strokes)
        if wrong is not None and wrong.stroke is not None:
            _lay(world, wrong.colour, [wrong.stroke])
        return world

    def _effect(self, hits: _Hits, tile: Tile, world: Callable[[], World], net: NetInfo) -> frozenset[int]:
        """What is seen of a press on a `tile` of `net` that makes these hits: the toggles and pixels that flip, and
        delays that start. Where a stack samples a 1, or nets may lie that answer, a world is played."""
        if net.has_strobe and any(hits):
            return self.played(world(), [tile])
        flipped: frozenset[int] = frozenset()
        for sinks in hits:
            flipped ^= sinks & self.flips
        for sink in frozenset().union(*hits) - self.flips:
            stack = self.survey.stack_of.get(sink)
            if stack is None:
                flipped |= {sink}
            elif len(stack.toggles) == 1:
                toggle = stack.toggles[0]
                if (self.survey.device(toggle).bit or 0) ^ (toggle in flipped):
                    return self.played(world(), [tile])
        return flipped

    def played(self, world: World, tiles: Sequence[Tile]) -> frozenset[int]:
        """The toggles and pixels that have changed after a press on each of `tiles` in turn; the world changes."""
        before = world.watched()
        for tile in tiles:
            if tile not in world.things:
                world.stand(Device("button", *tile), 0)
            world.do(Action("press", tile=tile))
        return frozenset(self.sinks[t] for t, value in world.watched().items() if before[t] != value)

    def _hits(self, extra: Mapping[str, Set[Tile]], tiles: Sequence[Tile]) -> dict[Tile, _Hits]:
        """For each of `tiles` the sinks on each net there, where wire lies on `extra` too, by its colour."""
        found: dict[Tile, _Hits] = dict.fromkeys(tiles, ())
        for colour, laid in self.wires.items():
            more = extra.get(colour, frozenset())
            done: set[Tile] = set()
            for tile in tiles:
                if tile not in done and (tile in more or tile in laid):
                    places = joined(tile, laid, more, self.crossovers)
                    sinks = frozenset(self.sinks[t] for t in places & self.sinks.keys())
                    for other in tiles:
                        if other in places:
                            found[other] = (*found[other], sinks)
                    done |= places
        return found


def joined(start: Tile, laid: Set[Tile], extra: Set[Tile], crossovers: Set[Tile]) -> set[Tile]:
    """The tiles, crossovers left out, that wire of a colour on `laid` and `extra` joins to `start`, which bears it."""
    todo: list[tuple[Tile, int]] = [(start, 0)]
    seen = {start}
    crossed: set[tuple[Tile, int]] = set()
    while todo:
        (x, y), axis = todo.pop()
        for dx, dy in _ALONG[axis]:
            near = (x + dx, y + dy)
            if near in seen or not (near in extra or near in laid):
                continue
            if near in crossovers:
                place = (near, 1 if dx else 2)
                if place not in crossed:
                    crossed.add(place)
                    todo.append(place)
            else:
                seen.add(near)
                todo.append((near, 0))
    return seen


def _without(net: NetInfo, tiles: Set[Tile]) -> Iterator[tuple[Stroke, set[Tile]]]:
    """Each stroke of a net with the tiles that are left when it is not laid."""
    count: dict[Tile, int] = {}
    for stroke in net.strokes:
        for tile in tiles_of(stroke):
            count[tile] = count.get(tile, 0) + 1
    for stroke in net.strokes:
        yield stroke, set(tiles) - {t for t in tiles_of(stroke) if count[t] == 1}


def _lay(world: World, colour: str, strokes: Iterable[Stroke]) -> None:
    for stroke in strokes:
        world.do(Action("wire", colour=colour, stroke=stroke))
