"""A circuit beside its logic, event by event: a plain wave player, and what must be equal after each event."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from hdl2grid.circuit.check import check_circuit
from hdl2grid.circuit.model import Circuit, Source
from hdl2grid.logic.model import Logic
from support.dice import Dice


def sources_of(logic: Logic) -> tuple[Source, ...]:
    """A ticker a domain, a reset button where wanted, a switch an input."""
    tickers = [Source("ticker", d, period_s=1, running=True) for d in logic.domains]
    buttons = [Source("button", "reset")] if logic.has_reset else []
    switches = [Source("switch", i.name, on=bool(i.initial)) for i in logic.inputs]
    return (*tickers, *buttons, *switches)


class Player:
    """Plays a circuit by the rules of the grid: rounds, remembered outputs, one emission a wave."""

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.hits: dict[str, list[tuple[int, int]]] = {}
        self.marks: dict[str, list[int]] = {}
        for s, stack in enumerate(circuit.stacks):
            for t, toggle in enumerate(stack.toggles):
                for driver in toggle.drivers:
                    self.hits.setdefault(driver, []).append((s, t))
            for driver in stack.strobe or ():
                self.marks.setdefault(driver, []).append(s)
        self.bits = [[t.bit for t in stack.toggles] for stack in circuit.stacks]
        self.said = [self._function(s) for s in range(len(circuit.stacks))]
        self.level = {p.signal: int(p.lit) for p in circuit.pixels}
        self.watch: dict[str, list[str]] = {}
        for pixel in circuit.pixels:
            for driver in pixel.drivers:
                self.watch.setdefault(driver, []).append(pixel.signal)
        self.read = {level.signal: level.initial for level in circuit.levels}
        self.readers: dict[str, list[str]] = {}
        for level in circuit.levels:
            for driver in level.drivers:
                self.readers.setdefault(driver, []).append(level.signal)
        self.lost: list[str] = []
        self.longest = 0

    def _function(self, s: int) -> int:
        ones, all_ = sum(self.bits[s]), len(self.bits[s])
        name = self.circuit.stacks[s].function
        value = {
            "AND": ones == all_,
            "NAND": ones != all_,
            "OR": ones > 0,
            "NOR": ones == 0,
            "XOR": ones == 1,
            "XNOR": ones != 1,
        }[name]
        return int(value)

    def wave(self, source: str) -> None:
        due, emitted, rounds = [source], set(), 0
        while due:
            touched: set[int] = set()
            marked: set[int] = set()
            for driver in due:
                for s, t in self.hits.get(driver, ()):
                    self.bits[s][t] ^= 1
                    touched.add(s)
                for s in self.marks.get(driver, ()):
                    marked.add(s)
                for signal in self.watch.get(driver, ()):
                    self.level[signal] ^= 1
                for signal in self.readers.get(driver, ()):
                    self.read[signal] ^= 1
            due = []
            for s in sorted(touched | marked):
                stack = self.circuit.stacks[s]
                if stack.strobe is None:
                    said = self._function(s)
                    fires = said != self.said[s]
                    self.said[s] = said
                else:
                    fires = s in marked and self.bits[s][0] == 1
                if fires and s in emitted:
                    self.lost.append(f"{stack.name} at {source}")
                elif fires:
                    emitted.add(s)
                    due.append(stack.name)
            rounds += bool(due)
        self.longest = max(self.longest, rounds)


class Reference:
    """The logic itself, event by event."""

    def __init__(self, logic: Logic) -> None:
        self.logic = logic
        self.state = [r.init for r in logic.registers]
        self.inputs = [i.initial for i in logic.inputs]

    def _values(self, literals: Sequence[int]) -> list[int]:
        one, zero = np.array([2**64 - 1], dtype=np.uint64), np.zeros(1, dtype=np.uint64)
        values = {r.literal >> 1: one if b else zero for r, b in zip(self.logic.registers, self.state, strict=True)}
        values |= {i.literal >> 1: one if b else zero for i, b in zip(self.logic.inputs, self.inputs, strict=True)}
        values[-1] = zero
        return [int(v[0]) & 1 for v in self.logic.xag.evaluate(values, literals)]

    def event(self, name: str) -> None:
        registers = self.logic.registers
        if name in self.logic.domains:
            data = self._values([r.data for r in registers])
            self.state = [d if r.domain == name else b for r, b, d in zip(registers, self.state, data, strict=True)]
        elif name == "reset" and self.logic.has_reset:
            self.state = [r.init if r.resettable else b for r, b in zip(registers, self.state, strict=True)]
        else:
            place = [i.name for i in self.logic.inputs].index(name)
            self.inputs[place] ^= 1

    def levels(self) -> dict[str, int]:
        outputs = self._values([o.literal for o in self.logic.outputs])
        found = {o.name: v for o, v in zip(self.logic.outputs, outputs, strict=True)}
        return found | {r.name: b for r, b in zip(self.logic.registers, self.state, strict=True)}


def events_of(logic: Logic) -> list[str]:
    return [*logic.domains, *(["reset"] if logic.has_reset else []), *(i.name for i in logic.inputs)]


def compare(logic: Logic, circuit: Circuit, events: Iterable[str]) -> None:
    """Lock-step: after each event every output and register bit is equal, and no pulse was lost."""
    assert check_circuit(circuit) == ()
    player, reference = Player(circuit), Reference(logic)
    plain = [s for s, stack in enumerate(circuit.stacks) if stack.strobe is None]
    assert not any(player.said[s] for s in plain), "a plain stack says 1 in the first state"
    outputs = [o.name for o in logic.outputs]
    for number, event in enumerate(events):
        player.wave(event)
        reference.event(event)
        wanted = reference.levels()
        assert not player.lost, player.lost
        for name in outputs:
            assert player.level[name] == wanted[name], (number, event, name)
        for name, value in player.read.items():
            assert value == wanted[name], (number, event, name)


def walk(logic: Logic, count: int, seed: int) -> list[str]:
    """Events at random, ticks more often than the rest."""
    rng = Dice(seed)
    names = events_of(logic)
    weights = [8 if n in logic.domains else 1 if n == "reset" else 3 for n in names]
    return rng.choices(names, weights, k=count) if names else []
