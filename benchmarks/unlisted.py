"""Machines that no table lists, swept by size: each synthesised, played against its source, shown to lose no pulse.

    python benchmarks/unlisted.py [--json FILE] [KIND ...]

modulo: counters of up to 1,000 states, their last shown. gray, lfsr: such codes, shown. bcd: chains of decimal digits.
gated: chains of dividers with a switch that holds them. clocks: two clocks, one counter each, that light a lamp
together. any_machine: random state machines with two switches. ones: how many of n loaded bits are 1. exactly: whether
half of them are.
Stacks are without registers and resets, within the limit of four colours. `gap` adds up what the reports leave open.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator, Sequence

import with_support  # noqa: F401
from record import tell
from support.lockstep import compare, sources_of, walk
from support.word_machines import Build, any_machine, is_number

from hdl2grid.logic import arithmetic as words
from hdl2grid.logic.model import Logic, RegisterBit
from hdl2grid.logic.xag import FALSE
from hdl2grid.parts import MAXIMAL_TAPS
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards

_EVENTS = 600


def _counter(b: Build, name: str, modulus: int, enable: int = 1) -> int:
    """A binary counter; whether it is in its last state and enabled."""
    width = (modulus - 1).bit_length()
    q = b.register(name, width)
    last = is_number(b, q, modulus - 1)
    up = words.add(b.g, q, [FALSE] * width, 1)
    b.next(name, words.mux(b.g, enable, [b.g.and_(x, last ^ 1) for x in up], q))
    return b.g.and_(enable, last)


def modulo(n: int) -> Logic:
    b = Build()
    return b.logic("modulo", {"last": [_counter(b, "q", n)]})


def gray(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    binary: list[int] = []
    for x in reversed(q):
        binary.insert(0, b.g.xor(x, binary[0]) if binary else x)
    up = words.add(b.g, binary, [FALSE] * n, 1)
    b.next("q", [b.g.xor(x, y) for x, y in zip(up, [*up[1:], FALSE], strict=True)])
    return b.logic("gray", {"q": q})


def lfsr(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    b.next("q", [b.g.xor_all([q[t - 1] for t in MAXIMAL_TAPS[n]]) ^ 1, *q[:-1]])
    return b.logic("lfsr", {"q": q})


def bcd(digits: int) -> Logic:
    b = Build()
    carry = 1
    for i in range(digits):
        carry = _counter(b, f"d{i}", 10, carry)
    return b.logic("bcd", {"carry": [carry], "digits": [q for _, q in b.names]})


def gated(stages: int) -> Logic:
    b = Build()
    carry = b.switches("go", 1)[0]
    for i in range(stages):
        carry = _counter(b, f"d{i}", (6, 10, 7, 12, 5)[i % 5], carry)
    return b.logic("gated", {"carry": [carry]})


def clocks(n: int) -> Logic:
    b = Build()
    both = b.g.and_(_counter(b, "a", n), _counter(b, "b", n + 1))
    made = b.logic("clocks", {"both": [both]})
    moved = tuple(
        RegisterBit(r.name, r.literal, r.data, r.init, "slow" if r.name.startswith("b") else r.domain, True)
        for r in made.registers
    )
    return Logic(made.name, made.xag, ("sync", "slow"), True, made.inputs, moved, made.outputs)


def _table(b: Build, q: Sequence[int], wanted: Callable[[int], int]) -> int:
    return b.g.xor_all([is_number(b, q, k) for k in range(1 << len(q)) if wanted(k)])


def ones(n: int) -> Logic:
    b = Build()
    q = b.loaded("q", n)
    return b.logic("ones", {"y": [_table(b, q, lambda k, j=j: k.bit_count() >> j & 1) for j in range(n.bit_length())]})  # type: ignore[misc]


def exactly(n: int) -> Logic:
    b = Build()
    q = b.loaded("q", n)
    return b.logic("exactly", {"y": [_table(b, q, lambda k: k.bit_count() == n // 2)]})


KINDS: dict[Callable[[int], Logic], Sequence[int]] = {
    modulo: (*range(2, 33), 36, 40, 48, 60, 64, 65, 80, 99, 100, 128, 256, 365, 1000),
    gray: range(2, 9),
    lfsr: range(3, 17),
    bcd: (1, 2, 3, 4, 6, 8),
    gated: (2, 3, 4, 6),
    clocks: (5, 9, 12),
    any_machine: (3, 4, 5, 6, 8, 11, 16),
    ones: range(3, 10),
    exactly: range(3, 10),
}


def measure(logic: Logic) -> dict[str, object]:
    start = time.process_time()
    made = synthesise(logic, sources_of(logic))
    seconds = time.process_time() - start
    compare(logic, made.circuit, walk(logic, _EVENTS, 1))
    report = made.report
    reports = [*report.blocks, *report.codes]
    safe = find_hazards(made.circuit).is_safe_by_structure or all(v.is_safe for v in prove_hazards(made.circuit))
    return {
        "registers": report.registers,
        "stacks": report.stacks - report.registers - report.resets,
        "collectors": report.collectors,
        "buffers": report.buffers,
        "proved": all(r.verdict == "proved minimal" for r in reports),
        "gap": sum(r.gap or 0 for r in report.codes),
        "safe": safe,
        "seconds": round(seconds, 2),
    }


def rows(kinds: Sequence[str]) -> Iterator[dict[str, object]]:
    for kind, sizes in KINDS.items():
        if not kinds or kind.__name__ in kinds:
            for size in sizes:
                yield {"kind": kind.__name__, "size": size, **measure(kind(size))}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--json")
    parser.add_argument("kinds", nargs="*")
    options = parser.parse_args()
    tell(rows(options.kinds), options.json)


if __name__ == "__main__":
    main()
