"""What the guide must know about a plan before the first step: nets by name, blocks, and the order of laying."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property

from hdl2grid.guide.model import Tile
from hdl2grid.guide.world import Thing
from hdl2grid.plan.cover import fewest_strokes
from hdl2grid.plan.extract import Extraction, PlacedStack, extract
from hdl2grid.plan.model import Device, Plan, Stroke

LONGEST = (22, 14)
"""Longest stroke across and down in tiles: with a tile around it, it fits into a step's picture."""

_PART = re.compile(r"\.(reset|register|gate|[a-z_]+\d+)$")
_INDEX = re.compile(r"\[\d+\]$")
_NUMBERED = re.compile(r"\$\d+")
_CODED = re.compile(r"\.code'*(?=$|\.)")


@dataclass(frozen=True)
class NetInfo:
    """One net. `drivers` and `sinks` index the plan's devices; `strokes` cover `tiles` and are few."""

    index: int
    name: str
    block: str
    colour: str
    tiles: frozenset[Tile]
    drivers: tuple[int, ...]
    sinks: tuple[int, ...]
    strokes: tuple[Stroke, ...]
    has_strobe: bool
    level: int
    """0: register outputs and sources; else plain stacks between them and this net, at most."""


def block_of(name: str) -> str:
    """The block that a stack's name tells: `minutes.ones` of `minutes.ones[2].reset` and `minutes.ones.and3`."""
    while match := _PART.search(name):
        name = name[: match.start()]
    return _INDEX.sub("", name)


def titles_of(blocks: Iterable[str]) -> dict[str, str]:
    """For people: blocks without what elaboration and synthesis add to a name, where that leaves them different."""
    blocks = tuple(blocks)
    titles = {block: block for block in blocks}
    for pattern in (_NUMBERED, _CODED):
        plain = {block: pattern.sub("", title) for block, title in titles.items()}
        counts = Counter(plain.values())
        titles = {block: plain[block] if counts[plain[block]] == 1 else title for block, title in titles.items()}
    return titles


class Survey:
    """A plan with its nets and stacks; computed once, never changed."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.extraction: Extraction = extract(plan)
        self.device_at: dict[Tile, int] = {(d.x, d.y): i for i, d in enumerate(plan.devices)}
        self.taken: set[Tile] = {*self.device_at, *(d.to for d in plan.devices if d.to is not None)}
        self.stack_of: dict[int, PlacedStack] = {}
        for stack in self.extraction.stacks:
            for device in (stack.gate, *stack.toggles, *([stack.strobe] if stack.strobe is not None else [])):
                self.stack_of[device] = stack
        self._levels = self._net_levels()
        self.nets = tuple(self._info(i) for i in range(len(self.extraction.nets)))

    @cached_property
    def things(self) -> dict[Tile, Thing]:
        """All devices of the plan on their tiles."""
        return {(d.x, d.y): Thing(d, 0) for d in self.plan.devices}

    def device(self, index: int) -> Device:
        return self.plan.devices[index]

    def tile(self, index: int) -> Tile:
        device = self.plan.devices[index]
        return device.x, device.y

    def of_kind(self, *kinds: str) -> list[int]:
        """The devices of these kinds, in the plan's order."""
        return [i for i, d in enumerate(self.plan.devices) if d.kind in kinds]

    def watched(self, net: NetInfo) -> list[int]:
        """The toggles and pixels on a net."""
        return [s for s in net.sinks if self.device(s).kind in ("toggle", "pixel")]

    def owner(self, device: int) -> str:
        """What a device is part of or shows, in words."""
        if device in self.stack_of:
            return self.device(self.stack_of[device].gate).name or ""
        return self.device(device).name or self.device(device).signal or ""

    def _info(self, index: int) -> NetInfo:
        net = self.extraction.nets[index]
        names = [self.device(d).name or "" for d in net.drivers]
        name = min(names, key=lambda n: (len(n), n), default="") or "delay"
        ways: dict[Tile, bool | None] = {}
        for x, y, half in net.places:
            ways[x, y] = None if (x, y) in ways or not half else half == "we"
        strokes = [piece for stroke in fewest_strokes(ways) for piece in pieces(stroke)]
        return NetInfo(
            index=index,
            name=name,
            block=block_of(name),
            colour=self.plan.colours[net.colour],
            tiles=frozenset(ways),
            drivers=net.drivers,
            sinks=net.sinks,
            strokes=tuple(strokes),
            has_strobe=any(self.device(s).kind == "strobe" for s in net.sinks),
            level=self._levels[index],
        )

    @cached_property
    def titles(self) -> dict[str, str]:
        """Blocks by what people are told they are called."""
        gates = (self.device(stack.gate).name or "" for stack in self.extraction.stacks)
        return titles_of(dict.fromkeys([*map(block_of, gates), *(net.block for net in self.nets)]))

    # ---- order

    @cached_property
    def before(self) -> tuple[frozenset[int], ...]:
        """For each net the nets that must be tested before it is laid: those that reach it through a plain
        stack or a delay."""
        result: list[set[int]] = [set() for _ in self.extraction.nets]
        for into, out in self._passages():
            for net in out:
                result[net].update(n for n in into if n != net)
        return tuple(frozenset(nets) for nets in result)

    def _passages(self) -> Iterable[tuple[tuple[int, ...], tuple[int, ...]]]:
        """The nets that lead into and out of each plain stack and each delay."""
        found = self.extraction
        for stack in found.stacks:
            if stack.strobe is None:
                into = {net for toggle in stack.toggles for net in found.device_nets[toggle]}
                yield tuple(sorted(into)), found.device_nets[stack.gate]
        for delay, out in found.out_nets.items():
            yield found.device_nets[delay], out

    def _net_levels(self) -> list[int]:
        levels = [0] * len(self.extraction.nets)
        for _ in range(len(levels)):
            changed = False
            for into, out in self._passages():
                depth = 1 + max((levels[n] for n in into), default=0)
                for net in out:
                    if levels[net] < depth <= len(levels):
                        levels[net], changed = depth, True
            if not changed:
                break
        return levels

    @cached_property
    def order(self) -> tuple[int, ...]:
        """The nets in the order in which they are laid and tested.

        A net comes after those that reach it through a plain stack, so that no wired output answers its
        test; strobes come last: of buttons first, then of gates, switches and tickers. Within this, block
        by block, and register outputs before plain stacks.
        """
        plain = [net.index for net in self.nets if not net.has_strobe]
        done: set[int] = set()
        todo = list(plain)
        chosen: list[int] = []
        block = ""
        while todo:
            ready = [n for n in todo if not (self.before[n] & set(todo) - {n})] or todo
            first = min(ready, key=lambda n: (self.nets[n].block != block, *self._place_in_order(n)))
            block = self.nets[first].block
            chosen.append(first)
            done.add(first)
            todo.remove(first)
        strobes = [net.index for net in self.nets if net.has_strobe]
        return (*chosen, *sorted(strobes, key=self._strobe_rank))

    def _place_in_order(self, index: int) -> tuple[int, int, str, int]:
        net = self.nets[index]
        return net.level, self._first_level[net.block], net.block, index

    @cached_property
    def _first_level(self) -> dict[str, int]:
        """For each block the first of its nets, so that blocks keep the order of their places."""
        first: dict[str, int] = {}
        for net in self.nets:
            y, x = min((y, x) for x, y in net.tiles)
            first[net.block] = min(first.get(net.block, 1 << 30), y * self.plan.width + x)
        return first

    def _strobe_rank(self, index: int) -> tuple[int, str, int]:
        net = self.nets[index]
        kinds = {self.device(d).kind for d in net.drivers}
        rank = {"button": 0, "gate": 1, "switch": 2, "ticker": 3}
        return max((rank.get(kind, 1) for kind in kinds), default=1), net.name, index


def pieces(stroke: Stroke) -> list[Stroke]:
    """A stroke in as few pieces as the picture of a step can show, each of about the same length."""
    x0, y0, x1, y1 = stroke
    if y0 == y1:
        return [(a, y0, b, y0) for a, b in _shares(x0, x1, LONGEST[0])]
    return [(x0, a, x0, b) for a, b in _shares(y0, y1, LONGEST[1])]


def _shares(start: int, end: int, longest: int) -> list[tuple[int, int]]:
    length = end - start + 1
    number = -(-length // longest)
    cuts = [start + length * i // number for i in range(number + 1)]
    return [(a, b - 1) for a, b in zip(cuts, cuts[1:], strict=False)]
