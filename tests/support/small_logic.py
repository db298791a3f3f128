"""Logic without a design behind it: machines at random, and a clock put together word by word."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import XagBuilder
from support.dice import Dice


def random_logic(seed: int, most_registers: int = 12, most_nodes: int = 60) -> Logic:
    """A machine of any shape: several domains, switches, registers that reset or do not, deep functions."""
    rng = Dice(seed)
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
