"""Stacks of arithmetic by width: adders, accumulators, counters, comparators and their like.

    python benchmarks/arithmetic.py [--json FILE] [--widths 4,8,16] [KIND ...]

Operands are registers that a tick loads from switches, unless the kind says otherwise; everything can be reset.
Counted are all stacks but registers and resets, within the limit of four colours. Each result is played in
lock-step with its source, and every plain stack is proved to lose no pulse.
"""

from __future__ import annotations

import argparse
import random
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path

from hdl2grid.circuit.model import Source
from hdl2grid.logic import arithmetic as words
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import FALSE, XagBuilder
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards

sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
from record import tell
from synth_support import compare, sources_of, walk

WIDTHS = (4, 8, 12, 16, 24, 32)


class Build:
    """A machine under construction, word by word."""

    def __init__(self) -> None:
        self.g = XagBuilder()
        self.inputs: list[InputBit] = []
        self.names: list[tuple[str, int]] = []
        self.data: dict[str, int] = {}

    def switches(self, name: str, width: int) -> list[int]:
        word = [self.g.variable(f"{name}[{i}]") for i in range(width)]
        self.inputs += [InputBit(f"{name}[{i}]", x, 0) for i, x in enumerate(word)]
        return word

    def register(self, name: str, width: int) -> list[int]:
        word = [self.g.variable(f"{name}[{i}]") for i in range(width)]
        self.names += [(f"{name}[{i}]", q) for i, q in enumerate(word)]
        return word

    def next(self, name: str, word: Sequence[int]) -> None:
        self.data |= {f"{name}[{i}]": x for i, x in enumerate(word)}

    def loaded(self, name: str, width: int) -> list[int]:
        word = self.register(name, width)
        self.next(name, self.switches(f"{name}_in", width))
        return word

    def logic(self, name: str, outputs: dict[str, Sequence[int]]) -> Logic:
        bits = tuple(RegisterBit(n, q, self.data[n], 0, "sync", True) for n, q in self.names)
        shown = tuple(OutputBit(f"{port}[{i}]", x) for port, word in outputs.items() for i, x in enumerate(word))
        return Logic(name, self.g.freeze(), ("sync",), True, tuple(self.inputs), bits, shown)


def _grown(a: Sequence[int]) -> list[int]:
    return [*a, FALSE]


def accumulator(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    b.next("q", words.add(b.g, q, b.switches("s", n)))
    return b.logic("accumulator", {"q": q})


def accumulate_register(n: int) -> Logic:
    b = Build()
    q, a = b.register("q", n), b.loaded("a", n)
    b.next("q", words.add(b.g, q, a))
    return b.logic("accumulate_register", {"q": q})


def subtract_from(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    b.next("q", words.subtract(b.g, q, b.switches("s", n)))
    return b.logic("subtract_from", {"q": q})


def adder(n: int) -> Logic:
    b = Build()
    x, y = b.loaded("a", n), b.loaded("b", n)
    return b.logic("adder", {"sum": words.add(b.g, _grown(x), _grown(y))})


def adder_of_switches(n: int) -> Logic:
    b = Build()
    x, y = b.switches("a", n), b.switches("b", n)
    return b.logic("adder_of_switches", {"sum": words.add(b.g, _grown(x), _grown(y))})


def incrementer(n: int) -> Logic:
    b = Build()
    x = b.loaded("a", n)
    return b.logic("incrementer", {"sum": words.add(b.g, x, [FALSE] * n, 1)})


def counter(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    b.next("q", words.add(b.g, q, [FALSE] * n, 1))
    return b.logic("counter", {"q": q})


def loaded_counter(n: int) -> Logic:
    b = Build()
    q, load = b.register("q", n), b.switches("load", 1)[0]
    up = words.add(b.g, q, [FALSE] * n, 1)
    b.next("q", words.mux(b.g, load, b.switches("s", n), up))
    return b.logic("loaded_counter", {"q": q})


def up_down(n: int) -> Logic:
    b = Build()
    q, down = b.register("q", n), b.switches("down", 1)[0]
    b.next("q", words.add(b.g, q, [down] * n, down ^ 1))
    return b.logic("up_down", {"q": q})


def less(n: int) -> Logic:
    b = Build()
    return b.logic("less", {"y": [words.less(b.g, b.loaded("a", n), b.loaded("b", n))]})


def equal(n: int) -> Logic:
    b = Build()
    return b.logic("equal", {"y": [words.equal(b.g, b.loaded("a", n), b.loaded("b", n))]})


def maximum(n: int) -> Logic:
    b = Build()
    x, y = b.loaded("a", n), b.loaded("b", n)
    return b.logic("maximum", {"max": words.mux(b.g, words.less(b.g, x, y), y, x)})


def magnitude(n: int) -> Logic:
    b = Build()
    x = b.loaded("a", n)
    return b.logic("magnitude", {"abs": words.negate_if(b.g, x[-1], x)})


def times_ten(n: int) -> Logic:
    b = Build()
    x = b.loaded("a", n)
    wide = [*x, *[FALSE] * 4]
    ten = [10 >> i & 1 for i in range(n + 4)]
    return b.logic("times_ten", {"y": words.multiply(b.g, wide, ten)})


def multiplier(n: int) -> Logic:
    b = Build()
    x, y = b.loaded("a", n), b.loaded("b", n)
    return b.logic("multiplier", {"y": words.multiply(b.g, [*x, *[FALSE] * n], [*y, *[FALSE] * n])})


KINDS: tuple[Callable[[int], Logic], ...] = (
    accumulator,
    accumulate_register,
    subtract_from,
    adder,
    adder_of_switches,
    incrementer,
    counter,
    loaded_counter,
    up_down,
    less,
    equal,
    maximum,
    magnitude,
    times_ten,
    multiplier,
)
_MOST_WIDTH = {"multiplier": 8}


def measure(logic: Logic) -> dict[str, object]:
    start = time.process_time()
    sources: tuple[Source, ...] = sources_of(logic)
    made = synthesise(logic, sources, SynthParams())
    seconds = time.process_time() - start
    report = made.report
    hazards = find_hazards(made.circuit)
    safe = hazards.is_safe_by_structure or all(v.is_safe for v in prove_hazards(made.circuit))
    compare(logic, made.circuit, walk(logic, 300, random.Random(1).randint(0, 99)))
    return {
        "stacks": report.stacks - report.registers - report.resets,
        "buffers": report.buffers,
        "collectors": report.collectors,
        "rounds": report.longest_wave_rounds,
        "safe": safe,
        "seconds": round(seconds, 2),
    }


def rows(kinds: Sequence[str], widths: Sequence[int]) -> Iterator[dict[str, object]]:
    for kind in KINDS:
        if kinds and kind.__name__ not in kinds:
            continue
        for width in widths:
            if width <= _MOST_WIDTH.get(kind.__name__, 99):
                yield {"kind": kind.__name__, "width": width, **measure(kind(width))}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json")
    parser.add_argument("--widths", default=",".join(map(str, WIDTHS)))
    parser.add_argument("kinds", nargs="*")
    options = parser.parse_args()
    tell(rows(options.kinds, [int(width) for width in options.widths.split(",")]), options.json)


if __name__ == "__main__":
    main()
