"""Single mistakes in a finished machine. The functional check and the looks are chosen to show them."""

from __future__ import annotations

from collections.abc import Iterator

from hdl2grid.circuit.model import FUNCTIONS
from hdl2grid.guide.bench import Bench, Fault
from hdl2grid.guide.model import Tile
from hdl2grid.guide.reach import joined
from hdl2grid.guide.sentences import Words, at
from hdl2grid.guide.slips import AROUND
from hdl2grid.guide.world import tiles_of
from hdl2grid.sim.waves import gate_output


def hidden_faults(bench: Bench) -> list[Fault]:
    """Mistakes that no press test sees: a gate or source that is not joined to its net, a strobe that is not hit,
    a gate or strobe that a net touches by mistake, a gate of another function."""
    return [
        *_lost(bench, ("gate", "ticker", "button", "switch", "strobe")),
        *_touched(bench, ("gate", "strobe")),
        *_functions(bench),
    ]


def all_faults(bench: Bench) -> list[Fault]:
    """Hidden faults, and those that the press tests see too: lost toggles and pixels, wrong bits, nets that touch."""
    return [
        *hidden_faults(bench),
        *_lost(bench, ("toggle", "pixel")),
        *_cut(bench),
        *_touched(bench, ("toggle", "pixel")),
        *_bits(bench),
        *_bridges(bench),
    ]


def _lost(bench: Bench, kinds: tuple[str, ...]) -> Iterator[Fault]:
    survey = bench.survey
    for net in survey.nets:
        for index in (*net.drivers, *net.sinks):
            device = survey.device(index)
            if device.kind in kinds:
                tile = survey.tile(index)
                own = [s for s in net.strokes if _covers(s, tile)]
                where = own[0] if own else net.strokes[0]
                yield Fault(
                    what=f"{device.kind} {at(tile)} of {survey.owner(index)} is not joined to the {net.colour} wire",
                    cure=f"lay {Words().stroke(net.colour, where)} again",
                    lost=((index, net.index),),
                )


def _cut(bench: Bench) -> Iterator[Fault]:
    """A stroke that is left out where it cuts off several devices from the first driver."""
    survey = bench.survey
    crossovers = {survey.tile(i) for i in survey.of_kind("crossover")}
    for net in survey.nets:
        devices = {survey.tile(i): i for i in (*net.drivers, *net.sinks)}
        if not net.drivers:
            continue
        for stroke in net.strokes:
            left = {t for other in net.strokes if other != stroke for t in tiles_of(other)}
            start = survey.tile(net.drivers[0])
            reached = joined(start, left, frozenset(), crossovers) if start in left else {start}
            lost = tuple((i, net.index) for tile, i in devices.items() if tile not in reached)
            if len(lost) > 1:
                told = Words().stroke(net.colour, stroke)
                yield Fault(what=f"{told}, of net {net.name} is left out", cure=f"lay {told} again", lost=lost)


def _covers(stroke: tuple[int, int, int, int], tile: Tile) -> bool:
    return stroke[0] <= tile[0] <= stroke[2] and stroke[1] <= tile[1] <= stroke[3]


def _touched(bench: Bench, kinds: tuple[str, ...]) -> Iterator[Fault]:
    """A stroke that is one tile too long and ends on a device of another net."""
    survey = bench.survey
    for net in survey.nets:
        own = {*net.drivers, *net.sinks}
        beside = {(x + dx, y + dy) for x, y in net.tiles for dx, dy in AROUND} - net.tiles
        for tile in sorted(beside):
            index = survey.device_at.get(tile)
            if index is not None and index not in own and survey.device(index).kind in kinds:
                kind = survey.device(index).kind
                yield Fault(
                    what=f"{net.colour} wire of net {net.name} lies on the {kind} {at(tile)} too",
                    cure=f"take up {net.colour} on {at(tile)}",
                    added=((index, net.index),),
                )


def _functions(bench: Bench) -> Iterator[Fault]:
    """Gates of plain stacks that say something else; the opposite function everywhere is no mistake, since only
    changes count."""
    survey = bench.survey
    for stack in survey.extraction.stacks:
        if stack.strobe is not None:
            continue
        gate, size = survey.device(stack.gate), len(stack.toggles)
        right = _table(gate.function or "AND", size)
        seen = {right, tuple(1 - v for v in right)}
        for function in FUNCTIONS:
            table = _table(function, size)
            if table not in seen:
                seen |= {table, tuple(1 - v for v in table)}
                yield Fault(
                    what=f"the gate on {at((gate.x, gate.y))} is {function} instead of {gate.function}",
                    cure=f"it must be {gate.function}",
                    functions=((stack.gate, function),),
                )


def _table(function: str, size: int) -> tuple[int, ...]:
    return tuple(gate_output(function, ones, size) for ones in range(size + 1))


def _bits(bench: Bench) -> Iterator[Fault]:
    survey = bench.survey
    for index in survey.of_kind("toggle"):
        device = survey.device(index)
        yield Fault(
            what=f"the toggle on {at((device.x, device.y))} was placed as {1 - (device.bit or 0)}",
            cure=f"it must start as {device.bit}",
            bits=((index, 1 - (device.bit or 0)),),
        )


def _bridges(bench: Bench) -> Iterator[Fault]:
    """Two nets of one colour that run side by side or cross, joined."""
    survey = bench.survey
    for a in survey.nets:
        near = {(x + 2 * dx, y + 2 * dy) for x, y in a.tiles for dx, dy in AROUND} | a.tiles
        for b in survey.nets[a.index + 1 :]:
            if b.colour == a.colour and near & b.tiles:
                added = [(d, b.index) for d in (*a.drivers, *a.sinks)] + [(d, a.index) for d in (*b.drivers, *b.sinks)]
                own = {(d, n.index) for n in (a, b) for d in (*n.drivers, *n.sinks)}
                yield Fault(
                    what=f"the {a.colour} nets {a.name} and {b.name} touch",
                    cure=f"part them near {at(min(near & b.tiles))}",
                    added=tuple(pair for pair in added if pair not in own),
                )
