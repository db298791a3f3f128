"""Follows guide.json by what docs/grid-model.md says of laying, and nothing else: no line of hdl2grid is used.

    python tests/support/independent_guide.py FOLDER ...

reads guide.json and plan.json of each folder. The guide is good when every expectation is seen, no pulse is lost, and
the tiles that are left are those of plan.json in its first state.
"""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from statistics import median
from typing import Any

Tile = tuple[int, int]
Node = tuple[int, int, str]
"""A tile and, on a crossover, one of its halves: "we" or "ns"."""

SAYS = {
    "AND": lambda ones, size: ones == size,
    "OR": lambda ones, size: ones >= 1,
    "NAND": lambda ones, size: ones != size,
    "NOR": lambda ones, size: ones == 0,
    "XOR": lambda ones, size: ones == 1,
    "XNOR": lambda ones, size: ones != 1,
}


def stroke_tiles(stroke: list[int]) -> set[Tile]:
    x0, y0, x1, y1 = stroke
    assert x0 == x1 or y0 == y1, stroke
    columns, rows = range(min(x0, x1), max(x0, x1) + 1), range(min(y0, y1), max(y0, y1) + 1)
    return {(x, y) for x in columns for y in rows}


@dataclass
class Site:
    """`state` is a toggle's bit, whether a pixel is lit, a ticker runs, a switch is on; `memory` a gate's output."""

    devices: dict[Tile, dict[str, Any]] = field(default_factory=dict)
    wires: dict[str, set[Tile]] = field(default_factory=dict)
    state: dict[Tile, int] = field(default_factory=dict)
    memory: dict[Tile, int] = field(default_factory=dict)
    backdrop: list[list[int]] = field(default_factory=list)
    lost: list[Tile] = field(default_factory=list)

    def kind(self, tile: Tile) -> str:
        return self.devices[tile]["kind"] if tile in self.devices else ""

    def act(self, action: dict[str, Any]) -> None:
        do = action["do"]
        if do == "place":
            self.place({k: v for k, v in action.items() if k != "do"})
        elif do == "remove":
            tile = action["x"], action["y"]
            del self.devices[tile]
            self.state.pop(tile, None)
            self.memory.pop(tile, None)
        elif do == "backdrop":
            self.backdrop.append(action["area"])
        elif do in ("wire", "unwire"):
            lying = self.wires.setdefault(action["colour"], set())
            tiles = stroke_tiles(action["stroke"])
            if do == "wire":
                lying |= tiles
            else:
                assert tiles & lying, f"no wire to take up: {action}"
                lying -= tiles
        elif do in ("press", "tick"):
            for _ in range(action.get("times", 1)):
                self.press((action["x"], action["y"]), do)
        else:
            raise AssertionError(f"unknown action {action}")

    def place(self, device: dict[str, Any]) -> None:
        tile, kind = (device["x"], device["y"]), device["kind"]
        ends = {tuple(d["to"]) for d in self.devices.values() if "to" in d}
        swapped = kind == "toggle" == self.kind(tile)
        assert swapped or (tile not in self.devices and tile not in ends), f"{tile} is taken"
        if kind in ("toggle", "strobe"):
            assert self.kind((tile[0], tile[1] + 1)) in ("gate", "toggle"), f"nothing to stand on at {tile}"
        self.devices[tile] = device
        if kind == "gate":
            self.memory[tile] = 0
        elif kind in ("toggle", "pixel", "ticker", "switch"):
            fresh = {"toggle": device.get("bit"), "pixel": 1, "ticker": 0, "switch": int(device.get("on", False))}
            self.state[tile] = int(fresh[kind])
        if kind == "toggle":
            gate = self.gate_of(tile)
            if self.examine(gate, False):
                self.run(gate)

    def press(self, tile: Tile, do: str) -> None:
        kind = self.kind(tile)
        if do == "tick":
            assert kind == "ticker", f"no ticker at {tile}"
            self.run(tile)
        elif kind == "ticker":
            self.state[tile] ^= 1
        else:
            assert kind in ("button", "switch"), f"nothing to press at {tile}"
            if kind == "switch":
                self.state[tile] ^= 1
            self.run(tile)

    def gate_of(self, tile: Tile) -> Tile:
        while self.kind(tile) in ("toggle", "strobe"):
            tile = tile[0], tile[1] + 1
        assert self.kind(tile) == "gate", tile
        return tile

    def has_strobe(self, gate: Tile) -> bool:
        x, y = gate
        while self.kind((x, y - 1)) == "toggle":
            y -= 1
        return self.kind((x, y - 1)) == "strobe"

    def examine(self, gate: Tile, marked: bool) -> bool:
        """Whether a stack's gate is due."""
        bits, (x, y) = [], gate
        while self.kind((x, y - 1)) == "toggle":
            y -= 1
            bits.append(self.state[x, y])
        if self.kind((x, y - 1)) == "strobe":
            return marked and bits == [1]
        says = int(SAYS[self.devices[gate]["function"]](sum(bits), len(bits)))
        due = says != self.memory[gate]
        self.memory[gate] = says
        return due

    def reached(self, tile: Tile) -> Iterator[Tile]:
        """The devices on each net on a tile."""
        for tiles in self.wires.values():
            if tile not in tiles:
                continue
            seen: set[Node] = {(*tile, "")}
            todo = [(*tile, "")]
            while todo:
                x, y, half = todo.pop()
                if not half and (x, y) != tile and (x, y) in self.devices:
                    yield x, y
                for dx, dy in ((1, 0), (0, 1), (-1, 0), (0, -1)):
                    axis = "we" if dx else "ns"
                    to = x + dx, y + dy
                    if to in tiles and half in ("", axis):
                        node = (*to, axis if self.kind(to) == "crossover" else "")
                        if node not in seen:
                            seen.add(node)
                            todo.append(node)

    def run(self, source: Tile) -> None:
        """One wave after the other until no delay is left."""
        waiting: list[tuple[float, int, Tile]] = [(0.0, 0, source)]
        count = 0
        while waiting:
            waiting.sort()
            now, _, tile = waiting.pop(0)
            for delay in self.wave(tile):
                count += 1
                assert count < 10_000, "delays go on for ever"
                device = self.devices[delay]
                waiting.append((now + device["seconds"], count, tuple(device["to"])))

    def wave(self, source: Tile) -> list[Tile]:
        due, emitted, delays = [source], {source}, []
        while due:
            touched: dict[Tile, bool] = {}
            for tile in due:
                for hit in self.reached(tile):
                    kind = self.kind(hit)
                    if kind in ("toggle", "pixel") or (kind == "ticker" and hit != source):
                        self.state[hit] ^= 1
                    if kind in ("toggle", "strobe"):
                        gate = self.gate_of(hit)
                        touched[gate] = touched.get(gate, False) or kind == "strobe"
                    if kind == "delay":
                        delays.append(hit)
            ready = [gate for gate in sorted(touched) if self.examine(gate, touched[gate])]
            self.lost += [gate for gate in ready if gate in emitted]
            due = [gate for gate in ready if gate not in emitted]
            emitted |= set(due)
        return delays


def follow(guide: dict[str, Any], plan: dict[str, Any]) -> list[str]:
    """Everything that is wrong with a guide."""
    site, wrong = Site(), []
    for section in guide["sections"]:
        for step in section["steps"]:
            for action in step["actions"]:
                site.act(action)
            for e in step["expect"]:
                if e["see"] == "digits":
                    continue
                tile, wanted = (e["x"], e["y"]), e["lit"] if e["see"] == "pixel" else e["bit"]
                if site.kind(tile) != e["see"] or site.state[tile] != int(wanted):
                    wrong.append(f"not seen: {e} after '{step['text']}'")
            if site.lost:
                wrong.append(f"pulses lost at {site.lost} in '{step['text']}'")
                site.lost = []
    return wrong + left_over(site, plan)


def left_over(site: Site, plan: dict[str, Any]) -> list[str]:
    """How the site differs from plan.json in its first state."""
    wrong = []
    devices = {(d["x"], d["y"]): d for d in plan["devices"]}
    wrong += [f"{tile}: {site.devices.get(tile)} instead of {devices.get(tile)}"
              for tile in sorted(devices.keys() | site.devices.keys())
              if bare(site.devices.get(tile)) != bare(devices.get(tile))]  # fmt: skip
    for colour, strokes in plan["wires"].items():
        wanted = set().union(*map(stroke_tiles, strokes))
        wrong += [f"{colour} wire at {tile}" for tile in sorted(wanted ^ site.wires.get(colour, set()))]
    first = {"toggle": "bit", "pixel": "lit", "ticker": "running", "switch": "on"}
    for tile, device in devices.items():
        key = first.get(device["kind"])
        if key is not None and site.state.get(tile) != int(device[key]):
            wrong.append(f"{device['kind']} {tile} is {site.state.get(tile)}")
    wrong += [f"the gate {tile} says 1" for tile, says in site.memory.items() if says and not site.has_strobe(tile)]
    if sorted(site.backdrop) != sorted(plan.get("backdrop", [])):
        wrong.append("the backdrop is another")
    return wrong


def bare(device: dict[str, Any] | None) -> dict[str, Any] | None:
    """Without what only people read, and what changes."""
    hidden = ("name", "signal", "lit", "bit", "on", "running")
    return None if device is None else {k: v for k, v in device.items() if k not in hidden}


def sizes(guide: dict[str, Any]) -> tuple[int, float, int]:
    """Most and median number of strokes and devices of the steps that have any, most kinds of them."""
    things, kinds = [], []
    for section in guide["sections"]:
        for step in section["steps"]:
            laid = [a for a in step["actions"] if a["do"] not in ("press", "tick")]
            if laid:
                things.append(len(laid))
                kinds.append(len({(a["do"] if a["do"] == "remove" else a.get("kind", a.get("colour"))) for a in laid}))
    return max(things), median(things), max(kinds)


def main(folders: list[str]) -> int:
    bad = 0
    for folder in folders:
        guide, plan = (json.loads((Path(folder) / name).read_text()) for name in ("guide.json", "plan.json"))
        wrong = follow(guide, plan)
        steps = sum(len(section["steps"]) for section in guide["sections"])
        most, middle, kinds = sizes(guide)
        told = "good" if not wrong else f"{len(wrong)} things wrong, first {wrong[0]}"
        print(f"{folder}: {steps} steps, at most {most} things (median {middle:g}), {kinds} kinds: {told}")
        bad += bool(wrong)
    return int(bad > 0)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
