"""Functions of 4 to 10 inputs that no table lists, through this project's synthesiser and general tools, as ratios.

    python benchmarks/functions.py [--json FILE] [NAME ...]

Adders, comparators, counts of ones, products, squares, decoders, encoders, conversions; random sums of cubes, random
symmetric functions and random tables. Inputs come from registers that a tick loads, which are not counted. Ours are all
stacks, collectors and buffers among them, within four colours; peers are the tools that give one level, which is safe:
EXORCISM-4's distinct cubes, espresso's terms and ORs (see `peers.py`). Each circuit is played against its source for
400 events, and shown to lose no pulse.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from math import isqrt
from pathlib import Path
from statistics import geometric_mean

import with_support  # noqa: F401
from peers import espresso_terms, exorcism_cubes
from record import tell
from support.circuit_files import Cover, logic_of_cover
from support.dice import Dice
from support.lockstep import compare, sources_of, walk

from hdl2grid.logic.model import Logic
from hdl2grid.parts import SEGMENTS
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards

_EVENTS = 400
Function = Callable[[int], int]


def _cubes(inputs: int, outputs: int, count: int) -> Function:
    rng = Dice(f"cubes {inputs} {outputs} {count}")
    chosen = []
    for _ in range(count):
        care = sum(1 << i for i in rng.sample(range(inputs), rng.randint(2, inputs - 2)))
        chosen.append((care, rng.getrandbits(inputs) & care, rng.randrange(1, 1 << outputs)))

    def value(x: int) -> int:
        total = 0
        for care, level, mask in chosen:
            total ^= mask if x & care == level else 0
        return total

    return value


def _symmetric(inputs: int, outputs: int) -> Function:
    rng = Dice(f"symmetric {inputs} {outputs}")
    values = [rng.getrandbits(outputs) for _ in range(inputs + 1)]
    return lambda x: values[x.bit_count()]


def _table(inputs: int, outputs: int) -> Function:
    rng = Dice(f"table {inputs} {outputs}")
    values = [rng.getrandbits(outputs) for _ in range(1 << inputs)]
    return lambda x: values[x]


def _compared(x: int, bits: int) -> int:
    a, b = x & ((1 << bits) - 1), x >> bits
    return (a > b) << 1 | (a == b)


def _segments(digit: int) -> int:
    return SEGMENTS[digit] if digit < len(SEGMENTS) else 0


def _is_prime(x: int) -> int:
    return int(x > 1 and all(x % d for d in range(2, isqrt(x) + 1)))


FUNCTIONS: dict[str, tuple[int, int, Function]] = {
    **{f"add{n}": (2 * n, n + 1, lambda x, n=n: (x & ((1 << n) - 1)) + (x >> n)) for n in (3, 4, 5)},  # type: ignore[misc]
    **{f"compare{n}": (2 * n, 2, lambda x, n=n: _compared(x, n)) for n in (3, 4, 5)},  # type: ignore[misc]
    **{f"ones{n}": (n, n.bit_length(), int.bit_count) for n in (5, 7, 10)},
    **{f"times{n}": (2 * n, 2 * n, lambda x, n=n: (x & ((1 << n) - 1)) * (x >> n)) for n in (3, 4)},  # type: ignore[misc]
    **{f"square{n}": (n, 2 * n, lambda x: x * x) for n in (4, 5, 6)},
    **{f"first{n}": (n, n.bit_length(), int.bit_length) for n in (6, 8)},
    "segments": (4, 7, _segments),
    "two_digits": (6, 14, lambda x: _segments(x // 10) << 7 | _segments(x % 10)),
    "decimal": (7, 8, lambda x: x % 100 // 10 << 4 | x % 10),
    "modulo3": (8, 2, lambda x: x % 3),
    "modulo5": (7, 3, lambda x: x % 5),
    "prime": (8, 1, _is_prime),
    "root": (8, 4, isqrt),
    "absolute": (6, 5, lambda x: (64 - x) % 32 if x & 32 else x),
    "larger": (8, 4, lambda x: max(x & 15, x >> 4)),
    "less": (8, 5, lambda x: ((x & 15) - (x >> 4)) & 31),
    "shifted": (8, 5, lambda x: (x & 31) << (x >> 5) & 31),
    "chosen": (6, 1, lambda x: x >> 2 >> (x & 3) & 1),
    "one_of": (4, 8, lambda x: (x >> 3) << (x & 7)),
    **{f"cubes{n}": (n, 1 + n % 3, _cubes(n, 1 + n % 3, 2 * n)) for n in (5, 6, 7, 8, 9)},
    **{f"symmetric{n}": (n, n - 6, _symmetric(n, n - 6)) for n in (7, 8, 9)},
    **{f"table{n}": (n, 2 * n - 8, _table(n, 2 * n - 8)) for n in (5, 6, 7)},
}


def logic_of(name: str) -> Logic:
    inputs, outputs, function = FUNCTIONS[name]
    rows = []
    for x in range(1 << inputs):
        y = function(x)
        rows.append(("".join(str(x >> i & 1) for i in range(inputs)), "".join(str(y >> i & 1) for i in range(outputs))))
    names = tuple(f"x{i}" for i in range(inputs)), tuple(f"y{i}" for i in range(outputs))
    return logic_of_cover(name, Cover(*names, tuple(rows)))


def measure(name: str) -> dict[str, object]:
    logic = logic_of(name)
    start = time.process_time()
    made = synthesise(logic, sources_of(logic))
    seconds = time.process_time() - start
    compare(logic, made.circuit, walk(logic, _EVENTS, 1))
    safe = find_hazards(made.circuit).is_safe_by_structure or all(v.is_safe for v in prove_hazards(made.circuit))
    with tempfile.TemporaryDirectory() as folder:
        peers = {"exorcism": exorcism_cubes(logic, Path(folder)), "espresso": espresso_terms(logic)}
    report = made.report
    stacks = report.stacks - report.registers - report.resets
    best = min((count for count in peers.values() if count), default=None)
    found = {"stacks": stacks, "collectors": report.collectors, "buffers": report.buffers, **peers}
    ratio = round(max(stacks, 1) / best, 3) if best else None
    return {**found, "ratio": ratio, "safe": safe, "seconds": round(seconds, 2)}


def rows(names: Sequence[str]) -> Iterator[dict[str, object]]:
    ratios = []
    for name in names or FUNCTIONS:
        row = {"function": name, **measure(name)}
        ratios += [row["ratio"]] if row["ratio"] else []
        yield row
    if ratios:
        yield {"function": "geometric mean", "ratio": round(geometric_mean(ratios), 3)}  # type: ignore[type-var]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json")
    parser.add_argument("names", nargs="*")
    options = parser.parse_args()
    tell(rows(options.names), options.json)


if __name__ == "__main__":
    main()
