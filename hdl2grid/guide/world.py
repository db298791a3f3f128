"""A machine while it is being laid: the physics of docs/grid-model.md, its part on laying too, and no more.

Nothing here looks at a finished plan: nets are read off the tiles as they are when a pulse runs, so that half a
machine behaves as half a machine does. It shares no code with `plan/extract.py` and `sim/`.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from hdl2grid.guide.model import USUAL, Action, Fresh, Tile
from hdl2grid.plan.model import Device, Stroke

MAX_DELAYED = 10_000
"""Most waves that delays may start after one event. Guessed."""

_FUNCTIONS: dict[str, Callable[[int, int], bool]] = {
    "AND": lambda ones, size: ones == size,
    "OR": lambda ones, size: ones > 0,
    "NAND": lambda ones, size: ones < size,
    "NOR": lambda ones, size: ones == 0,
    "XOR": lambda ones, size: ones == 1,
    "XNOR": lambda ones, size: ones != 1,
}
"""What a gate says, by the number of its toggles at 1 and of all its toggles."""

_STEPS = ((1, 0), (-1, 0), (0, 1), (0, -1))
"""Steps (dx, dy) to the four neighbours of a tile."""

_WATCHED = ("toggle", "pixel")
_SINKS = ("toggle", "pixel", "strobe", "ticker", "delay")


class Impossible(Exception):
    """What the hands were told cannot be done: a tile is taken, a toggle has nothing to stand on."""


class Thing:
    """A device in the world. `value` is what changes, and then another thing takes this one's place: a toggle's bit,
    whether a pixel is lit, a ticker runs or a switch is on, and the output that a gate remembers."""

    __slots__ = ("device", "kind", "value")

    def __init__(self, device: Device, value: int) -> None:
        self.device, self.kind, self.value = device, device.kind, value


@dataclass(slots=True)
class Outcome:
    """What an action did: the gates that lost a pulse, and whether anything emitted."""

    lost: list[Tile] = field(default_factory=list)
    pulses: int = 0


def tiles_of(stroke: Stroke) -> list[Tile]:
    """The tiles of a stroke, ends included."""
    x0, y0, x1, y1 = stroke
    columns, rows = range(min(x0, x1), max(x0, x1) + 1), range(min(y0, y1), max(y0, y1) + 1)
    return [(x, y) for y in rows for x in columns]


class World:
    """Tiles, devices and wires as they stand; `do` changes them."""

    def __init__(self, fresh: Fresh = USUAL) -> None:
        self.things: dict[Tile, Thing] = {}
        self.wires: dict[str, set[Tile]] = {}
        self.backdrop: list[tuple[int, int, int, int]] = []
        self._outs: dict[Tile, Tile] = {}
        self._watched: dict[Tile, int] = {}
        self._shared: set[str] = set()
        """Colours whose tiles another world has, too."""
        self._sinks: dict[str, dict[Tile, tuple[Tile, ...]]] = {}
        """What is known of nets: colour -> tile -> its sinks."""
        self._fresh = fresh

    def copy(self) -> World:
        """A world of its own in the same state."""
        twin = World(self._fresh)
        twin.things = dict(self.things)
        twin.wires = dict(self.wires)
        self._shared.update(self.wires)
        twin._shared.update(self.wires)
        twin._watched = dict(self._watched)
        twin.backdrop = list(self.backdrop)
        twin._outs = dict(self._outs)
        twin._sinks = {colour: dict(known) for colour, known in self._sinks.items()}
        return twin

    # ---- what can be seen

    def value(self, tile: Tile, kind: str) -> int | None:
        """What the device of `kind` on a tile shows; None where there is none."""
        thing = self.things.get(tile)
        return thing.value if thing is not None and thing.kind == kind else None

    def watched(self) -> dict[Tile, int]:
        """All toggles and pixels with what they show."""
        return dict(self._watched)

    # ---- what can be done

    def do(self, action: Action) -> Outcome:
        """Carries out one action. Raises Impossible."""
        outcome = Outcome()
        if action.do == "place" and action.device is not None:
            self._place(action.device, outcome)
        elif action.do == "remove" and action.tile is not None:
            self._remove(action.tile)
        elif action.do in ("wire", "unwire") and action.stroke is not None and action.colour is not None:
            tiles = self._own(action.colour)
            covered = tiles_of(action.stroke)
            tiles.update(covered) if action.do == "wire" else tiles.difference_update(covered)
            self._sinks.pop(action.colour, None)
        elif action.do == "backdrop" and action.area is not None:
            self.backdrop.append(action.area)
        elif action.do in ("press", "tick") and action.tile is not None:
            for _ in range(action.times):
                self._press(action.tile, outcome) if action.do == "press" else self._tick(action.tile, outcome)
        else:
            raise Impossible(f"nobody knows how to '{action.do}' that")
        return outcome

    def _own(self, colour: str) -> set[Tile]:
        """The tiles of a colour, which may be changed."""
        if colour in self._shared:
            self._shared.discard(colour)
            self.wires[colour] = set(self.wires[colour])
        return self.wires.setdefault(colour, set())

    def put(self, tile: Tile, thing: Thing) -> None:
        """A thing takes the place of what is on a tile, and nothing answers."""
        self.things[tile] = thing
        if thing.kind in _WATCHED:
            self._watched[tile] = thing.value

    def _place(self, device: Device, outcome: Outcome) -> None:
        tile = (device.x, device.y)
        below = self.things.get((tile[0], tile[1] + 1))
        old = self.things.get(tile)
        replaced = old is not None and old.kind == device.kind == "toggle"
        for taken in (tile, device.to):
            if taken is not None and (taken in self.things or taken in self._outs.values()) and not replaced:
                raise Impossible(f"the tile {taken} is taken")
        if device.kind in ("toggle", "strobe") and (below is None or below.kind not in ("gate", "toggle")):
            raise Impossible(f"a {device.kind} on {tile} has nothing to stand on")
        fresh = {
            "toggle": int(device.bit or 0),
            "pixel": int(self._fresh.pixel_lit),
            "switch": int(bool(device.on)),
            "ticker": int(self._fresh.ticker_running),
            "gate": self._fresh.gate,
        }
        self.put(tile, Thing(device, fresh.get(device.kind, 0)))
        if device.to is not None:
            self._outs[tile] = device.to
        self._forget(device.kind)
        if device.kind == "toggle":
            gate = self._gate_below(tile)
            if gate is not None and self._decides(gate, False):
                self._run([gate], outcome)

    def stand(self, device: Device, value: int) -> None:
        """Puts a device down as it is in the midst of play: nothing answers."""
        tile = (device.x, device.y)
        self.put(tile, Thing(device, value))
        if device.to is not None:
            self._outs[tile] = device.to
        self._forget(device.kind)

    def _forget(self, kind: str) -> None:
        """A device of this kind has come or gone."""
        if kind in _SINKS or kind == "crossover":
            self._sinks.clear()

    def _remove(self, tile: Tile) -> None:
        if tile not in self.things:
            raise Impossible(f"there is nothing on {tile} to remove")
        self._forget(self.things.pop(tile).kind)
        self._outs.pop(tile, None)
        self._watched.pop(tile, None)

    def _press(self, tile: Tile, outcome: Outcome) -> None:
        thing = self.things.get(tile)
        kind = thing.kind if thing else "nothing"
        if thing is None or kind not in ("button", "switch", "ticker"):
            raise Impossible(f"{kind} on {tile} cannot be pressed")
        if kind in ("switch", "ticker"):
            self.put(tile, Thing(thing.device, thing.value ^ 1))
        if kind != "ticker":
            self._run([tile], outcome)

    def _tick(self, tile: Tile, outcome: Outcome) -> None:
        if self.value(tile, "ticker") is None:
            raise Impossible(f"there is no ticker on {tile}")
        self._run([tile], outcome)

    # ---- pulses

    def _run(self, emitting: list[Tile], outcome: Outcome) -> None:
        """A wave, and the waves of all delays that it starts, each when it runs out."""
        pending: list[tuple[float, int, Tile]] = []
        started = 0
        now = 0.0
        while emitting:
            for delay in self._wave(emitting, outcome):
                started += 1
                heapq.heappush(pending, (now + float(self.things[delay].device.seconds or 0), started, delay))
            if started > MAX_DELAYED:
                raise Impossible("delays go on for ever")
            if not pending:
                return
            now, _, delay = heapq.heappop(pending)
            emitting = [self._outs[delay]]

    def _wave(self, emitting: list[Tile], outcome: Outcome) -> list[Tile]:
        """One wave from its source on: the delays that it starts, one entry a hit."""
        source = emitting[0]
        emitted: set[Tile] = set()
        delays: list[Tile] = []
        while emitting:
            outcome.pulses += len(emitting)
            emitted.update(emitting)
            touched, marked = self._hit(emitting, source, delays)
            emitting = []
            for gate in sorted(touched | marked):
                if self._decides(gate, gate in marked):
                    (outcome.lost if gate in emitted else emitting).append(gate)
        return delays

    def _hit(self, emitting: Iterable[Tile], source: Tile, delays: list[Tile]) -> tuple[set[Tile], set[Tile]]:
        """Applies all hits of a round: the gates whose stack is to be examined, and those with a marked
        strobe."""
        touched: set[Tile] = set()
        marked: set[Tile] = set()
        for tile in emitting:
            for sinks in self.nets_on(tile):
                for sink in sinks:
                    thing = self.things[sink]
                    if thing.kind == "delay":
                        delays.append(sink)
                    elif thing.kind == "strobe":
                        gate = self._gate_below(sink)
                        if gate is not None:
                            marked.add(gate)
                    elif thing.kind != "ticker" or sink != source:
                        self.put(sink, Thing(thing.device, thing.value ^ 1))
                        gate = self._gate_below(sink) if thing.kind == "toggle" else None
                        if gate is not None:
                            touched.add(gate)
        return touched, marked

    def _gate_below(self, tile: Tile) -> Tile | None:
        x, y = tile
        while (thing := self.things.get((x, y + 1))) is not None:
            if thing.kind == "gate":
                return x, y + 1
            if thing.kind != "toggle":
                return None
            y += 1
        return None

    def _decides(self, gate: Tile, is_marked: bool) -> bool:
        """Examines a stack: whether its gate is due to emit."""
        x, y = gate
        bits = []
        while (thing := self.things.get((x, y - 1))) is not None and thing.kind == "toggle":
            bits.append(thing.value)
            y -= 1
        if bits and thing is not None and thing.kind == "strobe":
            return is_marked and len(bits) == 1 and bits[0] == 1
        stack = self.things[gate]
        says = int(_FUNCTIONS[stack.device.function or "AND"](sum(bits), len(bits))) if bits else 0
        changed = says != stack.value
        if changed:
            self.put(gate, Thing(stack.device, says))
        return changed

    def nets_on(self, tile: Tile) -> tuple[tuple[Tile, ...], ...]:
        """For each net on a tile (one a colour at most), the tiles of its sinks."""
        found = []
        for colour, tiles in self.wires.items():
            if tile in tiles:
                known = self._sinks.setdefault(colour, {})
                if tile not in known:
                    known[tile] = self._flood(tile, tiles)
                found.append(known[tile])
        return tuple(found)

    def _flood(self, start: Tile, wired: set[Tile]) -> tuple[Tile, ...]:
        """The sinks that are joined to `start` by wire of one colour. A crossover is passed straight."""
        todo = [(start, (0, 0))]
        seen = {(start, (0, 0))}
        sinks: set[Tile] = set()
        while todo:
            (x, y), axis = todo.pop()
            thing = self.things.get((x, y))
            if thing is not None and thing.kind in _SINKS:
                sinks.add((x, y))
            for dx, dy in (axis, (-axis[0], -axis[1])) if axis != (0, 0) else _STEPS:
                near = (x + dx, y + dy)
                if near in wired:
                    there = self.things.get(near)
                    crossed = there is not None and there.kind == "crossover"
                    place = (near, (abs(dx), abs(dy)) if crossed else (0, 0))
                    if place not in seen:
                        seen.add(place)
                        todo.append(place)
        return tuple(sorted(sinks))
