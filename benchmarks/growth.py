"""How the time of synthesis grows: machines of 25 to 400 registers, each a ring of small neighbours.

    python benchmarks/growth.py

Every register reads four others near it through random gates. Prints registers, stacks, seconds, and the exponent
between neighbouring sizes (2 is quadratic).
"""

from __future__ import annotations

import math
import random
import time

from hdl2grid.circuit.model import Source
from hdl2grid.logic.model import Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import XagBuilder
from hdl2grid.synth.synthesise import synthesise

SIZES = (25, 50, 100, 200, 400)


def ring(count: int, seed: int = 1) -> Logic:
    rng = random.Random(seed)
    b = XagBuilder()
    q = [b.variable(f"q{i}") for i in range(count)]
    bits = []
    for i in range(count):
        x, y, z, w = (q[(i + rng.randint(-5, 5)) % count] ^ rng.randint(0, 1) for _ in range(4))
        data = b.xor(b.and_(x, y), b.or_(z, b.and_(w, x)))
        bits.append(RegisterBit(f"q{i}", q[i], data, rng.randint(0, 1), "tick", True))
    outputs = tuple(OutputBit(f"y{i}", b.and_(q[i], q[(i + 1) % count])) for i in range(0, count, 5))
    return Logic(f"ring{count}", b.freeze(), ("tick",), True, (), tuple(bits), outputs)


def main() -> None:
    synthesise(ring(25), sources())  # compiles the kernels
    before: tuple[int, float] | None = None
    for count in SIZES:
        logic = ring(count)
        start = time.process_time()
        stacks = synthesise(logic, sources()).report.stacks
        seconds = time.process_time() - start
        slope = "" if before is None else f"  exponent {math.log(seconds / before[1], count / before[0]):.2f}"
        print(f"{count:4} registers  {stacks:5} stacks  {seconds:7.2f} s{slope}", flush=True)
        before = count, seconds


def sources() -> tuple[Source, ...]:
    return Source("ticker", "tick", period_s=1, running=True), Source("button", "reset")


if __name__ == "__main__":
    main()
