"""How the time of synthesis grows: machines of 25 to 400 registers, of several kinds.

    python benchmarks/growth.py [--json FILE] [--sizes 25,50,100] [KIND ...]

ring: every register reads four others near it through random gates. decades: decimal digits, each stepped by the
one before, with an output that is 1 at nine. counters: independent ones of 25 steps. binary: one long counter.
shift: a shift register. lfsr: its feedback from four taps. accumulators: 8-bit words that each add their
neighbour. Prints registers, stacks, CPU seconds, and the exponent between neighbouring sizes (2 is quadratic).
"""

from __future__ import annotations

import argparse
import json
import math
import time
from collections.abc import Callable
from pathlib import Path

import with_support  # noqa: F401
from support.dice import Dice
from support.lockstep import sources_of

from hdl2grid.logic import arithmetic as words
from hdl2grid.logic.model import Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import FALSE, XagBuilder
from hdl2grid.synth.synthesise import synthesise

SIZES = (25, 50, 100, 200, 400)


def ring(count: int, seed: int = 1) -> Logic:
    rng = Dice(seed)
    b = XagBuilder()
    q = [b.variable(f"q{i}") for i in range(count)]
    bits = []
    for i in range(count):
        x, y, z, w = (q[(i + rng.randint(-5, 5)) % count] ^ rng.randint(0, 1) for _ in range(4))
        data = b.xor(b.and_(x, y), b.or_(z, b.and_(w, x)))
        bits.append(RegisterBit(f"q{i}", q[i], data, rng.randint(0, 1), "tick", True))
    outputs = tuple(OutputBit(f"y{i}", b.and_(q[i], q[(i + 1) % count])) for i in range(0, count, 5))
    return Logic(f"ring{count}", b.freeze(), ("tick",), True, (), tuple(bits), outputs)


def _counter(g: XagBuilder, q: list[int], last: int, enable: int) -> tuple[list[int], int]:
    """The next word of a counter to `last`, and its carry."""
    top = g.and_all([x ^ 1 ^ (last >> i & 1) for i, x in enumerate(q)])
    up = words.add(g, q, [FALSE] * len(q), 1)
    stepped = words.mux(g, top, [FALSE] * len(q), up)
    return words.mux(g, enable, stepped, q), g.and_(enable, top)


def _words(g: XagBuilder, name: str, count: int, width: int) -> list[list[int]]:
    return [[g.variable(f"{name}{w}[{i}]") for i in range(width)] for w in range(-(-count // width))]


def _logic(g: XagBuilder, kind: str, q: list[list[int]], data: list[list[int]], shown: dict[str, int]) -> Logic:
    pairs = [(x, d) for word, nexts in zip(q, data, strict=True) for x, d in zip(word, nexts, strict=True)]
    bits = tuple(RegisterBit(g.names[x >> 1], x, d, 0, "tick", True) for x, d in pairs)
    outputs = tuple(OutputBit(name, x) for name, x in shown.items())
    return Logic(f"{kind}{len(bits)}", g.freeze(), ("tick",), True, (), bits, outputs)


def decades(count: int) -> Logic:
    g = XagBuilder()
    q = _words(g, "digit", count, 4)
    data, shown, carry = [], {}, 1
    for w, word in enumerate(q):
        nexts, carry = _counter(g, word, 9, carry)
        data.append(nexts)
        shown[f"nine{w}"] = g.and_(word[0], word[3])
    return _logic(g, "decades", q, data, shown)


def counters(count: int) -> Logic:
    g = XagBuilder()
    q = _words(g, "count", count, 5)
    data = [_counter(g, word, 24, 1)[0] for word in q]
    shown = {f"end{w}": g.and_(word[4], word[3]) for w, word in enumerate(q)}
    return _logic(g, "counters", q, data, shown)


def binary(count: int) -> Logic:
    g = XagBuilder()
    q = _words(g, "q", count, count)
    return _logic(g, "binary", q, [words.add(g, q[0], [FALSE] * count, 1)], {"top": q[0][-1]})


def shift(count: int) -> Logic:
    g = XagBuilder()
    q = _words(g, "q", count, count)
    return _logic(g, "shift", q, [[q[0][-1] ^ 1, *q[0][:-1]]], {"top": q[0][-1]})


def lfsr(count: int) -> Logic:
    g = XagBuilder()
    q = _words(g, "q", count, count)
    feedback = g.xor_all([q[0][i] for i in (count - 1, count - 2, count // 2, 0)]) ^ 1
    return _logic(g, "lfsr", q, [[feedback, *q[0][:-1]]], {"top": q[0][-1]})


def accumulators(count: int) -> Logic:
    g = XagBuilder()
    q = _words(g, "word", count, 8)
    before = [[1, *[FALSE] * 7], *q[:-1]]
    data = [words.add(g, word, other) for word, other in zip(q, before, strict=True)]
    return _logic(g, "accumulators", q, data, {f"top{w}": word[-1] for w, word in enumerate(q)})


KINDS: tuple[Callable[[int], Logic], ...] = (ring, decades, counters, binary, shift, lfsr, accumulators)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json")
    parser.add_argument("--sizes", default=",".join(map(str, SIZES)))
    parser.add_argument("kinds", nargs="*")
    options = parser.parse_args()
    for kind in KINDS:
        small = kind(25)
        synthesise(small, sources_of(small))  # compiles the kernels
    rows = []
    for kind in KINDS:
        if options.kinds and kind.__name__ not in options.kinds:
            continue
        before: tuple[int, float] | None = None
        for count in map(int, options.sizes.split(",")):
            logic = kind(count)
            start = time.process_time()
            stacks = synthesise(logic, sources_of(logic)).report.stacks
            seconds = time.process_time() - start
            size = len(logic.registers)
            slope = None if before is None else math.log(seconds / before[1], size / before[0])
            told = "" if slope is None else f"  exponent {slope:.2f}"
            print(f"{kind.__name__:12} {size:4} registers  {stacks:5} stacks  {seconds:7.2f} s{told}", flush=True)
            rows.append({"kind": kind.__name__, "registers": size, "stacks": stacks, "seconds": round(seconds, 2)})
            before = size, seconds
    if options.json:
        Path(options.json).write_text(json.dumps(rows, indent=1) + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
