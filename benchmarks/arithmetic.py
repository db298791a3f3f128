"""Stacks of arithmetic by width: adders, accumulators, counters, comparators and their like.

    python benchmarks/arithmetic.py [--json FILE] [--widths 4,8,16] [KIND ...]

Operands are registers that a tick loads from switches, unless the kind says otherwise; everything can be reset.
Counted are all stacks but registers and resets, within the limit of four colours. Each result is played in
lock-step with its source, and every plain stack is proved to lose no pulse.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator, Sequence

import with_support  # noqa: F401
from record import tell
from support.dice import Dice
from support.lockstep import compare, sources_of, walk
from support.word_machines import ARITHMETIC

from hdl2grid.circuit.model import Source
from hdl2grid.logic.model import Logic
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards

WIDTHS = (4, 8, 12, 16, 24, 32)
_MOST_WIDTH = {"multiplier": 8}


def measure(logic: Logic) -> dict[str, object]:
    start = time.process_time()
    sources: tuple[Source, ...] = sources_of(logic)
    made = synthesise(logic, sources, SynthParams())
    seconds = time.process_time() - start
    report = made.report
    hazards = find_hazards(made.circuit)
    safe = hazards.is_safe_by_structure or all(v.is_safe for v in prove_hazards(made.circuit))
    compare(logic, made.circuit, walk(logic, 300, Dice(1).randint(0, 99)))
    return {
        "stacks": report.stacks - report.registers - report.resets,
        "buffers": report.buffers,
        "collectors": report.collectors,
        "rounds": report.longest_wave_rounds,
        "safe": safe,
        "seconds": round(seconds, 2),
    }


def rows(kinds: Sequence[str], widths: Sequence[int]) -> Iterator[dict[str, object]]:
    for kind in ARITHMETIC:
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
