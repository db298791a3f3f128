"""For the tests of synthesis: machines by hand and at random, a plain wave player, and lock-step with the logic."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence

import numpy as np

from hdl2grid.circuit.check import check_circuit
from hdl2grid.circuit.model import Circuit, Source
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import XagBuilder


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
    rng = random.Random(seed)
    names = events_of(logic)
    weights = [8 if n in logic.domains else 1 if n == "reset" else 3 for n in names]
    return rng.choices(names, weights, k=count) if names else []


def random_logic(seed: int, most_registers: int = 12, most_nodes: int = 60) -> Logic:
    """A machine of any shape: several domains, switches, registers that reset or do not, deep functions."""
    rng = random.Random(seed)
    b = XagBuilder()
    domains = [f"clk{i}" for i in range(rng.choice((1, 1, 1, 2, 3)))]
    num_registers = rng.randint(1, most_registers)
    registers = [b.variable(f"r{i}") for i in range(num_registers)]
    inputs = [b.variable(f"in{i}") for i in range(rng.randint(0, 4))]
    pool = registers + inputs
    for _ in range(rng.randint(0, most_nodes)):
        x, y = (rng.choice(pool[-rng.randint(2, 30) :]) ^ rng.randint(0, 1) for _ in range(2))
        make = rng.choice((b.and_, b.and_, b.xor, b.or_))
        pool.append(make(x, y) if rng.random() < 0.9 else b.mux(rng.choice(pool), x, y))
    enables = [rng.choice(pool) for _ in range(2)]
    bits = []
    for i, q in enumerate(registers):
        data = rng.choice(pool) ^ rng.randint(0, 1)
        if rng.random() < 0.5:
            data = b.mux(enables[i % 2], data, q)
        name = f"word{i // 4}[{i % 4}]"
        bits.append(RegisterBit(name, q, data, rng.randint(0, 1), rng.choice(domains), rng.random() < 0.8))
    outputs = [OutputBit(f"out[{i}]", rng.choice(pool) ^ rng.randint(0, 1)) for i in range(rng.randint(1, 8))]
    switches = tuple(InputBit(f"in{i}", x, rng.randint(0, 1)) for i, x in enumerate(inputs))
    return Logic(f"random{seed}", b.freeze(), tuple(domains), rng.random() < 0.8, switches, tuple(bits), tuple(outputs))


# ---- machines by hand

SEGMENTS = (
    0b1111110,
    0b0110000,
    0b1101101,
    0b1111001,
    0b0110011,
    0b1011011,
    0b1011111,
    0b1110000,
    0b1111111,
    0b1111011,
)
"""Segments a (highest bit) .. g of 0..9: the common form with tails on 6 and 9 (see seven_segment.csv)."""


class Words:
    """Words of literals over one graph, enough to write a clock with."""

    def __init__(self) -> None:
        self.b = XagBuilder()
        self.registers: list[tuple[str, int, int]] = []

    def register(self, name: str, width: int, init: int) -> list[int]:
        word = [self.b.variable(f"{name}[{i}]") for i in range(width)]
        self.registers += [(f"{name}[{i}]", q, init >> i & 1) for i, q in enumerate(word)]
        return word

    def equals(self, word: Sequence[int], value: int) -> int:
        return self.b.and_all([q ^ 1 ^ (value >> i & 1) for i, q in enumerate(word)])

    def plus_one(self, word: Sequence[int]) -> list[int]:
        carry, out = 1, []
        for q in word:
            out.append(self.b.xor(q, carry))
            carry = self.b.and_(q, carry)
        return out

    def mux(self, select: int, one: Sequence[int], zero: Sequence[int]) -> list[int]:
        return [self.b.mux(select, a, c) for a, c in zip(one, zero, strict=True)]

    def constant(self, value: int, width: int) -> list[int]:
        return [value >> i & 1 for i in range(width)]

    def lookup(self, word: Sequence[int], table: dict[int, int], width: int) -> list[int]:
        out = self.constant(0, width)
        for key, value in table.items():
            out = self.mux(self.equals(word, key), self.constant(value, width), out)
        return out

    def logic(self, name: str, data: dict[str, int], outputs: dict[str, Sequence[int]]) -> Logic:
        bits = tuple(RegisterBit(n, q, data[n], init, "sync", True) for n, q, init in self.registers)
        shown = tuple(
            OutputBit(f"{port}[{i}]" if len(word) > 1 else port, bit)
            for port, word in outputs.items()
            for i, bit in enumerate(word)
        )
        return Logic(name, self.b.freeze(), ("sync",), True, (), bits, shown)


def clock_12h() -> Logic:
    """Hours 12, 1 .. 11, minutes 00 .. 59, a tick a minute, seven-segment digits, a leading 1, colon dots."""
    w = Words()
    ones, tens, hours = w.register("minutes.ones", 4, 0), w.register("minutes.tens", 3, 0), w.register("hours", 4, 12)
    nine, five, twelve = w.equals(ones, 9), w.equals(tens, 5), w.equals(hours, 12)
    next_ones = w.mux(nine, w.constant(0, 4), w.plus_one(ones))
    next_tens = w.mux(nine, w.mux(five, w.constant(0, 3), w.plus_one(tens)), tens)
    counted = w.mux(twelve, w.constant(1, 4), w.plus_one(hours))
    next_hours = w.mux(w.b.and_(nine, five), counted, hours)
    data = {f"minutes.ones[{i}]": x for i, x in enumerate(next_ones)}
    data |= {f"minutes.tens[{i}]": x for i, x in enumerate(next_tens)}
    data |= {f"hours[{i}]": x for i, x in enumerate(next_hours)}
    digits = dict(enumerate(SEGMENTS))
    outputs = {
        "ones": w.lookup(ones, digits, 7),
        "tens": w.lookup(tens, {k: v for k, v in digits.items() if k < 6}, 7),
        "hour_ones": w.lookup(hours, {h: SEGMENTS[h % 10] for h in range(1, 13)}, 7),
        "hour_tens": [w.b.or_(w.equals(hours, 10), w.b.or_(w.equals(hours, 11), twelve))],
        "colon": [1],
    }
    return w.logic("clock_12h", data, outputs)
