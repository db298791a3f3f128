"""A second reader of plan.json and circuit.json, written from the pages of docs/ and nothing else.

It imports nothing of hdl2grid: what it finds in a plan and what hdl2grid finds there have no code in common. It
knows the file formats, the layout rules and the waves, and plays a plan beside the design in Amaranth's simulator.

    read_plan(text)            the devices, wires and nets of a plan; PlanError on what breaks a rule
    differences(plan, circuit) where the nets of the tiles are not those of circuit.json
    Run(plan)                  the machine, event by event
    lockstep(machine, plan, events)   the machine and its design side by side
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

from amaranth.hdl import ClockDomain, Module, Signal, Value
from amaranth.hdl._ast import SignalSet
from amaranth.sim import Simulator

FUNCTIONS = {
    "AND": lambda ones, of: ones == of,
    "OR": lambda ones, of: ones > 0,
    "NAND": lambda ones, of: ones < of,
    "NOR": lambda ones, of: ones == 0,
    "XOR": lambda ones, of: ones == 1,
    "XNOR": lambda ones, of: ones != 1,
}
PLAN_KEYS = {"format", "version", "name", "target", "colours", "size", "devices", "wires", "signals"}
DEVICE_KEYS = {
    "gate": {"function", "name"},
    "toggle": {"bit"},
    "strobe": set(),
    "pixel": {"lit", "signal"},
    "ticker": {"name", "period_s", "running"},
    "button": {"name"},
    "switch": {"name", "on"},
    "crossover": {"form"},
}
SOURCES = ("ticker", "button", "switch")
SIDES = {"west": (-1, 0), "east": (1, 0), "north": (0, -1), "south": (0, 1)}
THROUGH = {"west": "h", "east": "h", "north": "v", "south": "v"}
OPPOSITE = {"west": "east", "east": "west", "north": "south", "south": "north"}

Tile = tuple[int, int]
Node = tuple[int, int, str, str]


class PlanError(AssertionError):
    """A plan, or a circuit, that breaks a rule of its page."""


def need(condition: object, *what: object) -> None:
    if not condition:
        raise PlanError(" ".join(str(part) for part in what))


# -- reading -----------------------------------------------------------------------------------------------------


def _no_twins(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    need(len(result) == len(pairs), "a key twice among", [key for key, _ in pairs])
    return result


def _no_constant(text: str) -> None:
    raise PlanError(f"{text} is no number")


def parse(text: str) -> Any:
    return json.loads(text, object_pairs_hook=_no_twins, parse_constant=_no_constant)


def _is_int(value: object, low: int, high: int) -> bool:
    return isinstance(value, int) and not isinstance(value, bool) and low <= value <= high


@dataclass
class Stack:
    name: str
    function: str
    toggles: list[Tile]
    strobe: Tile | None
    gate: Tile


@dataclass
class Plan:
    """What stands on the tiles. `nets_at` are the nets on a tile; `drivers` of a net the names that drive it."""

    top: dict[str, Any]
    devices: dict[Tile, dict[str, Any]] = field(default_factory=dict)
    wires: dict[str, set[Tile]] = field(default_factory=dict)
    stacks: dict[str, Stack] = field(default_factory=dict)
    sources: dict[str, Tile] = field(default_factory=dict)
    net_of: dict[Node, int] = field(default_factory=dict)
    tiles_of: list[list[Node]] = field(default_factory=list)

    def nets_at(self, tile: Tile) -> list[int]:
        return [net for c in self.wires if (net := self.net_of.get((*tile, c, "all"))) is not None]

    def drivers_of(self, net: int) -> list[str]:
        found = []
        for x, y, _, half in self.tiles_of[net]:
            device = self.devices.get((x, y), {})
            if half == "all" and device.get("kind") in ("gate", *SOURCES):
                found.append(device["name"])
        return found

    def sinks_of(self, net: int) -> list[Tile]:
        sinks = []
        for x, y, _, half in self.tiles_of[net]:
            if half == "all" and self.devices.get((x, y), {}).get("kind") in ("toggle", "strobe", "pixel"):
                sinks.append((x, y))
        return sinks

    def drivers_at(self, tile: Tile) -> list[str]:
        """The drivers whose pulses a sink gets. Each must reach it by an odd number of nets (rule 3)."""
        count = Counter(name for net in self.nets_at(tile) for name in self.drivers_of(net))
        for name, times in count.items():
            need(times % 2, f"{name} reaches {tile} by {times} nets")
        return sorted(count)


def read_plan(text: str) -> Plan:
    """A plan that keeps to plan-format and to the layout rules, or PlanError."""
    top = parse(text)
    need(top["format"] == "hdl2grid plan" and top["version"] == 1, "not a plan of version 1")
    need(set(top) - {"backdrop"} == PLAN_KEYS, "keys:", sorted(top))
    plan = Plan(top)
    width, height = top["size"]
    need(_is_int(width, 1, 10_000) and _is_int(height, 1, 10_000), "size", top["size"])
    need(len(top["colours"]) == len(set(top["colours"])) == 4, "colours", top["colours"])
    need(list(top["wires"]) == top["colours"], "the keys of wires are the colours, in order")
    for device in top["devices"]:
        _read_device(plan, device, width, height)
    for colour, strokes in top["wires"].items():
        tiles = plan.wires[colour] = set()
        for stroke in strokes:
            tiles |= _stroke(stroke, width, height)
    for x0, y0, x1, y1 in top.get("backdrop", ()):
        need(0 <= x0 <= x1 < width and 0 <= y0 <= y1 < height, "backdrop")
    _read_stacks(plan)
    _read_nets(plan)
    _check_wires(plan)
    _check_signals(plan)
    return plan


def _read_device(plan: Plan, device: dict[str, Any], width: int, height: int) -> None:
    kind, tile = device["kind"], (device["x"], device["y"])
    need(kind in DEVICE_KEYS, "a device of kind", kind)
    need(set(device) == {"kind", "x", "y"} | DEVICE_KEYS[kind], "keys of", device)
    need(_is_int(tile[0], 0, width - 1) and _is_int(tile[1], 0, height - 1), device, "is outside of the grid")
    need(tile not in plan.devices, "two devices on", tile)
    need(kind != "crossover" or device["form"] == "straight", device)
    need(kind != "toggle" or _is_int(device["bit"], 0, 1), device)
    need(all(isinstance(device.get(k, True), bool) for k in ("lit", "running", "on")), device)
    if kind in SOURCES:
        need(device["name"] not in plan.sources, "two sources called", device["name"])
        plan.sources[device["name"]] = tile
    plan.devices[tile] = device


def _stroke(stroke: list[int], width: int, height: int) -> set[Tile]:
    need(len(stroke) == 4 and all(_is_int(n, 0, 10_000) for n in stroke), "stroke", stroke)
    (x0, x1), (y0, y1) = sorted(stroke[::2]), sorted(stroke[1::2])
    need(x0 == x1 or y0 == y1, "a slanted stroke", stroke)
    need(x1 < width and y1 < height, "a stroke outside of the grid", stroke)
    return {(x, y) for x in range(x0, x1 + 1) for y in range(y0, y1 + 1)}


def _read_stacks(plan: Plan) -> None:
    """Gates with the toggles and the strobe above them (rule 1)."""
    used: set[Tile] = set()
    for (x, y), device in plan.devices.items():
        if device["kind"] != "gate":
            continue
        stack = Stack(device["name"], device["function"], [], None, (x, y))
        need(stack.function in FUNCTIONS, device)
        need(stack.name not in plan.stacks and stack.name not in plan.sources, "two drivers called", stack.name)
        above = y - 1
        while plan.devices.get((x, above), {}).get("kind") == "toggle":
            stack.toggles.append((x, above))
            above -= 1
        if plan.devices.get((x, above), {}).get("kind") == "strobe":
            stack.strobe = (x, above)
            need(len(stack.toggles) == 1, "a strobe on a stack of", len(stack.toggles), "toggles at", (x, y))
        need(stack.toggles, "a gate without toggles at", (x, y))
        used |= {*stack.toggles, *([stack.strobe] if stack.strobe else [])}
        plan.stacks[stack.name] = stack
    for tile, device in plan.devices.items():
        need(device["kind"] not in ("toggle", "strobe") or tile in used, device, "belongs to no stack")


# -- nets --------------------------------------------------------------------------------------------------------


def _node(plan: Plan, tile: Tile, colour: str, side: str) -> Node | None:
    """What a wire meets that comes to `tile` from its `side`."""
    if tile not in plan.wires[colour]:
        return None
    crosses = plan.devices.get(tile, {}).get("kind") == "crossover"
    return (*tile, colour, THROUGH[side] if crosses else "all")


def _neighbours(plan: Plan, node: Node) -> list[Node]:
    x, y, colour, half = node
    found = []
    for side, (dx, dy) in SIDES.items():
        if half in ("all", THROUGH[side]):
            other = _node(plan, (x + dx, y + dy), colour, OPPOSITE[side])
            if other is not None:
                found.append(other)
    return found


def _read_nets(plan: Plan) -> None:
    for colour, tiles in plan.wires.items():
        for tile in sorted(tiles):
            crosses = plan.devices.get(tile, {}).get("kind") == "crossover"
            for half in ("h", "v") if crosses else ("all",):
                start = (*tile, colour, half)
                if start in plan.net_of or (crosses and not _neighbours(plan, start)):
                    continue
                plan.net_of[start] = len(plan.tiles_of)
                reached = [start]
                for node in reached:
                    for other in _neighbours(plan, node):
                        if other not in plan.net_of:
                            plan.net_of[other] = len(plan.tiles_of)
                            reached.append(other)
                plan.tiles_of.append(reached)


def _check_wires(plan: Plan) -> None:
    """Rules 4, 5 and 6."""
    for tile, device in plan.devices.items():
        if device["kind"] == "crossover":
            halves = [(*tile, colour, half) for colour in plan.wires for half in "hv"]
            passed = [node for node in halves if node in plan.net_of]
            need(passed, "nothing passes the crossover at", tile)
            for node in passed:
                need(len(_neighbours(plan, node)) == 2, "a wire ends at a crossover:", node)
            for colour, tiles in plan.wires.items():
                used = any((*tile, colour, half) in plan.net_of for half in "hv")
                need(tile not in tiles or used, "wire that goes nowhere on the crossover at", tile)
    for net, nodes in enumerate(plan.tiles_of):
        drivers, sinks = plan.drivers_of(net), plan.sinks_of(net)
        need(drivers and sinks, "a net without driver or sink at", nodes[0])
        for name in drivers:
            ticks = name in plan.sources and plan.devices[plan.sources[name]]["kind"] == "ticker"
            need(not ticks or len(drivers) == 1, f"the ticker {name} shares a net with {drivers}")
        for node in nodes:
            ends = node[3] == "all" and node[:2] not in plan.devices and len(_neighbours(plan, node)) < 2
            need(not ends, "a wire ends at nothing:", node)


def _check_signals(plan: Plan) -> None:
    for name, tap in plan.top["signals"].items():
        need(set(tap) == {"colour", "x", "y", "initial"}, name, tap)
        need((tap["x"], tap["y"], tap["colour"], "all") in plan.net_of, name, "is read where no net is:", tap)
        need(tap["initial"] in (0, 1), name, tap)


# -- the circuit -------------------------------------------------------------------------------------------------


def read_circuit(text: str) -> dict[str, Any]:
    """A circuit that keeps to circuit-format, or PlanError."""
    top = parse(text)
    need(set(top) == {"format", "version", "name", "sources", "stacks", "pixels", "origin"}, sorted(top))
    need(top["format"] == "hdl2grid circuit" and top["version"] == 1, "not a circuit of version 1")
    names = [entry["name"] for entry in (*top["sources"], *top["stacks"])]
    need(len(names) == len(set(names)), "a name twice")
    need(set(top["origin"]) == {stack["name"] for stack in top["stacks"]}, "an origin for each stack")
    lists = [toggle["drivers"] for stack in top["stacks"] for toggle in stack["toggles"]]
    lists += [stack["strobe"] for stack in top["stacks"] if stack["strobe"] is not None]
    lists += [pixel["drivers"] for pixel in top["pixels"]]
    for drivers in lists:
        need(len(drivers) == len(set(drivers)) and set(drivers) <= set(names), "drivers", drivers)
    for stack in top["stacks"]:
        need(set(stack) == {"name", "function", "toggles", "strobe"} and stack["toggles"], stack)
    return top


def differences(plan: Plan, circuit: dict[str, Any]) -> list[str]:
    """Where the tiles say something else than circuit.json; none if the plan is right."""
    told = []
    for source in circuit["sources"]:
        tile = plan.sources.get(source["name"])
        there = {k: v for k, v in plan.devices[tile].items() if k not in "xy"} if tile else None
        if there != source:
            told.append(f"source {source} is {there}")
    if len(plan.sources) != len(circuit["sources"]) or len(plan.stacks) != len(circuit["stacks"]):
        told.append("other numbers of sources or stacks")
    for entry in circuit["stacks"]:
        stack = plan.stacks.get(entry["name"])
        if stack is None:
            told.append(f"stack {entry['name']} is missing")
            continue
        wanted = sorted((t["bit"], sorted(t["drivers"])) for t in entry["toggles"])
        found = sorted((plan.devices[t]["bit"], plan.drivers_at(t)) for t in stack.toggles)
        strobed = None if stack.strobe is None else plan.drivers_at(stack.strobe)
        wanted_strobe = None if entry["strobe"] is None else sorted(entry["strobe"])
        if (stack.function, found, strobed) != (entry["function"], wanted, wanted_strobe):
            told.append(f"stack {stack.name}: {stack.function} {found} {strobed} for {entry}")
    shown = [(tile, device) for tile, device in plan.devices.items() if device["kind"] == "pixel"]
    pixels = {(device["signal"], device["lit"], *plan.drivers_at(tile)) for tile, device in shown}
    wanted_pixels = {(pixel["signal"], pixel["lit"], *sorted(pixel["drivers"])) for pixel in circuit["pixels"]}
    if pixels != wanted_pixels:
        told.append(f"pixels {sorted(pixels ^ wanted_pixels)}")
    return told


# -- waves -------------------------------------------------------------------------------------------------------


class Run:
    """A machine that runs by the rules of the grid model. `lost` counts lost pulses."""

    def __init__(self, plan: Plan) -> None:
        self.plan = plan
        self.bit = {t: d["bit"] for t, d in plan.devices.items() if d["kind"] == "toggle"}
        self.lit = {t: int(d["lit"]) for t, d in plan.devices.items() if d["kind"] == "pixel"}
        self.level = {name: tap["initial"] for name, tap in plan.top["signals"].items()}
        self.remembered = {name: self.value(stack) for name, stack in plan.stacks.items()}
        self.lost = 0
        self.stack_of = {t: s for s in plan.stacks.values() for t in (*s.toggles, *([s.strobe] if s.strobe else []))}
        at = {**plan.sources, **{name: stack.gate for name, stack in plan.stacks.items()}}
        self.nets_of = {name: plan.nets_at(tile) for name, tile in at.items()}
        self.sinks = [plan.sinks_of(net) for net in range(len(plan.tiles_of))]
        self.taps: dict[int, list[str]] = {}
        for name, tap in plan.top["signals"].items():
            net = plan.net_of[tap["x"], tap["y"], tap["colour"], "all"]
            self.taps.setdefault(net, []).append(name)

    def value(self, stack: Stack) -> bool:
        bits = [self.bit[tile] for tile in stack.toggles]
        return FUNCTIONS[stack.function](sum(bits), len(bits))

    def event(self, source: str) -> int:
        """One wave; returns its number of rounds."""
        emitting, emitted, rounds = [source], set(), 0
        while emitting:
            rounds += 1
            examined: dict[str, Stack] = {}
            strobed: set[str] = set()
            for name in emitting:
                for net in self.nets_of[name]:
                    self._hit(net, examined, strobed)
            emitting = []
            for name, stack in sorted(examined.items()):
                if stack.strobe is not None:
                    due = name in strobed and self.bit[stack.toggles[0]] == 1
                else:
                    value = self.value(stack)
                    due, self.remembered[name] = value != self.remembered[name], value
                if due and name in emitted:
                    self.lost += 1
                elif due:
                    emitted.add(name)
                    emitting.append(name)
        return rounds

    def _hit(self, net: int, examined: dict[str, Stack], strobed: set[str]) -> None:
        for name in self.taps.get(net, ()):
            self.level[name] ^= 1
        for tile in self.sinks[net]:
            kind = self.plan.devices[tile]["kind"]
            if kind == "pixel":
                self.lit[tile] ^= 1
                continue
            stack = self.stack_of[tile]
            examined[stack.name] = stack
            if kind == "strobe":
                strobed.add(stack.name)
            else:
                self.bit[tile] ^= 1


# -- side by side with Amaranth ----------------------------------------------------------------------------------


def flat_name(path: Sequence[str | int]) -> str:
    return "__".join(str(step) for step in path)


def bits_of(name: str, value: Value) -> list[tuple[str, Value]]:
    if len(value) == 1:
        return [(name, value[0])]
    return [(f"{name}[{i}]", value[i]) for i in range(len(value))]


@dataclass
class Told:
    """What a lock-step has compared and found."""

    events: int
    output_bits: int
    register_bits: int
    unread: int
    longest_wave: int
    changed: int


class Hdl:
    """The design in Amaranth's simulator, in domains of its own or those that Amaranth makes for it.

    A press of reset sets each register that is not `reset_less` to its init value by hand: a pulse on an
    asynchronous reset would in Amaranth 0.5's simulator also clock memory ports and `reset_less` registers.
    """

    def __init__(self, machine: Any) -> None:
        self.top, self.machine = Module(), machine
        component = machine.component
        self.top.submodules.design = component
        self.inputs: dict[str, tuple[Signal, int]] = {}
        self.outputs: dict[str, Value] = {}
        self.on: dict[str, tuple[Signal, int]] = {}
        self.ports: list[Value] = []
        for path, member, value in component.signature.flatten(component):
            name, value = flat_name(path), Value.cast(value)
            self.ports.append(value)
            if member.flow.name == "Out":
                self.outputs.update(bits_of(name, value))
            elif len(value):
                self.on[name] = (value, int(machine.inputs[name].on))
                self.inputs.update({bit: (value, i) for i, (bit, _) in enumerate(bits_of(name, value))})
        self.simulator = Simulator(self.top)
        self.fragments = self.simulator._design.fragments
        self.domains: dict[str, ClockDomain] = {}
        for fragment in self.fragments:
            self.domains |= fragment.domains
        self.registers = self._registers()
        self.to_reset = self._to_reset()

    def _registers(self) -> dict[str, Value]:
        """Every bit of a signal that is no port, by its flat name without the numbers that Amaranth gives to
        namesakes, where only one is called so. Which of them are registers the plan says."""
        found: dict[str, list[Value]] = {}
        ports = {id(value) for value in self.ports}
        for info in self.fragments.values():
            for signal, name in info.signal_names.items():
                if info.name[1:2] == ("design",) and isinstance(signal, Signal) and id(signal) not in ports:
                    for bit, value in bits_of(plain(".".join((*info.name[2:], name))), signal):
                        found.setdefault(bit, []).append(value)
        return {bit: values[0] for bit, values in found.items() if len(values) == 1}

    def apply(self, ctx: Any, event: str) -> None:
        """One event: a rising edge, the flip of one bit, or a reset."""
        if event in self.domains:
            ctx.set(self.domains[event].clk, 1)
            ctx.set(self.domains[event].clk, 0)
        elif event in self.inputs:
            signal, bit = self.inputs[event]
            word = signal.as_unsigned()
            ctx.set(word, ctx.get(word) ^ 1 << bit)
        elif event not in self.machine.clocks:
            need(event == "reset", "the event", event)
            for signal in self.to_reset:
                ctx.set(signal, signal.init)

    def _to_reset(self) -> list[Signal]:
        clocked = SignalSet()
        for fragment in self.fragments:
            for domain, statements in fragment.statements.items():
                if domain != "comb" and fragment.domains[domain].rst is not None:
                    for statement in statements:
                        clocked.update(statement._lhs_signals())
            for port in getattr(fragment, "_read_ports", ()):  # of a memory
                if port._domain != "comb":
                    clocked.update(port._data._lhs_signals())
        return [signal for signal in clocked if not signal.reset_less]


def plain(name: str) -> str:
    return re.sub(r"\$\d+", "", name)


def lockstep(machine: Any, plan: Plan, events: Sequence[str]) -> Told:
    """Plays `events` in the plan and in Amaranth's simulator; PlanError at the first difference or lost pulse."""
    hdl, run = Hdl(machine), Run(plan)
    pixels: dict[str, list[Tile]] = {}
    for tile, device in plan.devices.items():
        if device["kind"] == "pixel":
            pixels.setdefault(device["signal"], []).append(tile)
    need(set(pixels) == set(hdl.outputs), "pixels of", sorted(pixels), "for the outputs", sorted(hdl.outputs))
    kinds = {name: type(source).__name__.lower() for name, source in machine.clocks.items()}
    kinds.update({"reset": "button"} if machine.reset is not None else {})
    kinds.update({name: "switch" for name in hdl.inputs})
    need({n: plan.devices[t]["kind"] for n, t in plan.sources.items()} == kinds, plan.sources, "for", kinds)
    taps = [name for name in plan.top["signals"] if name not in hdl.outputs]
    readable = {name: hdl.registers[plain(name)] for name in taps if plain(name) in hdl.registers}
    unread = len(taps) - len(readable)
    seen: dict[str, set[int]] = {name: set() for name in hdl.outputs}
    longest = 0

    async def bench(ctx: Any) -> None:
        nonlocal longest
        for name, (signal, on) in hdl.on.items():
            ctx.set(Value.cast(signal).as_unsigned(), on)
            for i, (bit, _) in enumerate(bits_of(name, signal)):
                need(plan.devices[plan.sources[bit]]["on"] == bool(on >> i & 1), bit, "starts wrong")
        compare(ctx, "the first state")
        for number, event in enumerate(events):
            longest = max(longest, run.event(event))
            need(run.lost == 0, f"a pulse is lost in event {number}, {event}")
            hdl.apply(ctx, event)
            compare(ctx, f"event {number}, {event}")

    def compare(ctx: Any, when: str) -> None:
        for name, value in hdl.outputs.items():
            level = ctx.get(value)
            seen[name].add(level)
            for tile in pixels[name]:
                need(run.lit[tile] == level, f"after {when} the pixel of {name} at {tile} is not {level}")
            need(run.level.get(name, level) == level, f"after {when} the net of {name} is not {level}")
        for name, value in readable.items():
            need(run.level[name] == ctx.get(value), f"after {when} the net of the register {name} is wrong")

    hdl.simulator.add_testbench(bench)
    hdl.simulator.run()
    changed = sum(len(levels) == 2 for levels in seen.values())
    return Told(len(events), len(hdl.outputs), len(readable), unread, longest, changed)


def events_of(plan: Plan, rng: Any, count: int) -> list[str]:
    """Random events: mostly ticks and presses, some flips, now and then a reset."""
    kinds = {name: plan.devices[tile]["kind"] for name, tile in plan.sources.items()}
    weights = [3 if name == "reset" else 4 if kind == "switch" else 12 for name, kind in kinds.items()]
    return rng.choices(list(kinds), weights, k=count) if kinds else []
