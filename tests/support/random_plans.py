"""Shared vectors: machines and events that every engine is to play alike, and what one made of them, as text.

The boards are drawn at random: legal stacks and devices under wire that breaks any layout rule it likes
(merged drivers, doubled nets, crossovers, tickers that are hit, strobes over several toggles), so that waves
are seen that no good plan has.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from hdl2grid.base.rng import SplitMix64
from hdl2grid.circuit.model import FUNCTIONS
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Device, Plan, SignalTap, Stroke
from hdl2grid.sim.engine import Engine
from hdl2grid.sim.pulse_network import Network

_COLOURS = ("black", "orange", "blue", "violet")
_WIDTH, _HEIGHT = 18, 14


@dataclass(frozen=True)
class Vector:
    """A plan, the seed of its random stacks, and the drivers that are fired one after the other."""

    plan: Plan
    seed: int
    drivers: tuple[int, ...]

    def to_json(self) -> dict[str, Any]:
        """The vector as another engine reads it; the plan is a plan.json object."""
        return {"plan": json.loads(dump_plan(self.plan)), "seed": self.seed, "drivers": list(self.drivers)}


def random_vector(seed: int, num_waves: int) -> Vector:
    """The vector of that number: a board of 18 x 14 tiles and `num_waves` events of its sources and delays."""
    dice = SplitMix64(seed)
    devices = _devices(dice)
    wires = tuple(tuple(_strokes(dice)) for _ in _COLOURS)
    signals = tuple(
        SignalTap(f"s[{i}]", _COLOURS[dice.below(4)], dice.below(_WIDTH), dice.below(_HEIGHT), dice.below(2))
        for i in range(4)
    )
    plan = Plan(f"vector {seed}", "default", _COLOURS, _WIDTH, _HEIGHT, tuple(devices), wires, (), signals)
    num_sources = sum(d.kind in ("ticker", "button", "switch") for d in devices)
    num_stacks = sum(d.kind == "gate" for d in devices)
    num_delays = sum(d.kind == "delay" for d in devices)
    able = [*range(num_sources), *range(num_sources + num_stacks, num_sources + num_stacks + num_delays)]
    return Vector(plan, seed, tuple(able[dice.below(len(able))] for _ in range(num_waves)))


def _devices(dice: SplitMix64) -> list[Device]:
    free = {(x, y) for x in range(_WIDTH) for y in range(_HEIGHT)}
    devices: list[Device] = []

    def place() -> tuple[int, int]:
        while (tile := (dice.below(_WIDTH), dice.below(_HEIGHT))) not in free:
            pass
        free.remove(tile)
        return tile

    for number in range(5 + dice.below(8)):
        devices += _stack(dice, free, number)
    for i in range(2):
        devices.append(Device("ticker", *place(), name=f"tick{i}", period_s=1 + i, running=dice.below(4) > 0))
        devices.append(Device("button", *place(), name=f"press{i}"))
        devices.append(Device("switch", *place(), name=f"flip{i}", on=dice.below(2) == 1))
    for i in range(5):
        devices.append(Device("pixel", *place(), lit=dice.below(2) == 1, signal=f"p[{i}]"))
    for _ in range(4):
        devices.append(Device("crossover", *place(), form="straight"))
    if dice.below(2):
        devices.append(Device("delay", *place(), to=place(), seconds=2))
    return devices


def _stack(dice: SplitMix64, free: set[tuple[int, int]], number: int) -> list[Device]:
    """A stack of one to three toggles, or none where it does not fit."""
    size, strobed = 1 + dice.below(3), dice.below(2)
    height = 1 + size + strobed
    x, y = dice.below(_WIDTH), height + dice.below(_HEIGHT - height)
    tiles = [(x, y - i) for i in range(height + 1)]
    if not free.issuperset(tiles):
        return []
    free.difference_update(tiles)
    gate = Device("gate", x, y, function=FUNCTIONS[dice.below(6)], name=f"g{number}")
    stack = [gate, *(Device("toggle", x, y - 1 - i, bit=dice.below(2)) for i in range(size))]
    return [*stack, Device("strobe", x, y - height + 1)] if strobed else stack


def _strokes(dice: SplitMix64) -> Iterator[Stroke]:
    for _ in range(9 + dice.below(6)):
        x, y, length = dice.below(_WIDTH), dice.below(_HEIGHT), 1 + dice.below(7)
        if dice.below(2):
            yield x, y, min(x + length, _WIDTH - 1), y
        else:
            yield x, y, x, min(y + length, _HEIGHT - 1)


def network_text(network: Network) -> str:
    """A network in one line a driver: its number and the elements that it hits."""
    head = f"{network.first_pixel} {network.first_probe} {network.first_source} {network.first_strobe}"
    rows = [f"{driver}: {' '.join(map(str, elements))}" for driver, elements in enumerate(network.hits)]
    return "\n".join([head, *rows]) + "\n"


def waves_text(engine: Engine, drivers: tuple[int, ...]) -> Iterator[str]:
    """One line a wave: rounds, pulses, lost, delays started, and the state after it (`Engine.state`, hex)."""
    for driver in drivers:
        wave = engine.fire(driver)
        lost, delays = ",".join(map(str, wave.lost)), ",".join(map(str, wave.delays))
        yield f"{driver} {wave.rounds} {wave.pulses} [{lost}] [{delays}] {engine.state().hex()}"
