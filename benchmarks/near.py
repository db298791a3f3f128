"""How many tiles a small change of a design moves with `--near`.

    python benchmarks/near.py [--change clock_12h --change digit-segment ...] [--style compact] [--seeds 3]
                              [--effort quick] [--json FILE]

For each change, style and seed: the old design is planned, then the changed one near it; the share of tiles in use
that differ, the verdict of its proof, and CPU seconds of both runs. A change is a line of a design's file that says
something else.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from dataclasses import replace
from pathlib import Path
from typing import Any

import record
from machines import digits

from hdl2grid import Machine
from hdl2grid.base.target import STYLES, load_target
from hdl2grid.compare.change_list import compare
from hdl2grid.design.load import load_machine, shipped_folder
from hdl2grid.flow import FlowOptions, run_flow

CHANGES = {
    "clock_12h": ("clock_12h", "(ones_digit.segments)", "(ones_digit.segments - (ones == 6))"),
    "clock_12h-hours": ("clock_12h", "(hours.segments)", "(hours.segments - (hour == 6))"),
    "clock_24h": ("clock_24h", "(decoder.segments)", "(decoder.segments - ((value == 6) & (value is second_ones)))"),
    "stopwatch": ("stopwatch", "(decoder.segments)", "(decoder.segments - ((counter.value == 6) & (counter is ones)))"),
    "dial_12h": ("dial_12h", "self.outer.eq(1 << minute)", "self.outer.eq((1 << minute) & 0xFF7)"),
    "dial_12h-more": ("dial_12h", "self.outer.eq(1 << minute)", "self.outer.eq((1 << minute) | ((minute == 0) << 6))"),
    "dice": ("dice", "self.middle.eq(face == 6)", "self.middle.eq(face >= 5)"),
    "traffic_light": ("traffic_light", "self.side_red.eq(1), self.side_amber.eq(1)]", "self.side_red.eq(1)]"),
}
"""Name -> shipped design, what its file says, what it says instead."""

DIGITS = {"digit": (1, False), "two-digits": (2, False), "two-tickers": (2, True)}
"""Name -> `machines.digits`; the change is the tail of a 6."""


def main(args: argparse.Namespace) -> None:
    names = args.change or [*CHANGES, *DIGITS]
    record.tell(
        (
            measured(name, style, args.effort, seed)
            for name in names
            for style in args.style or STYLES
            for seed in range(1, args.seeds + 1)
        ),
        args.json,
    )


def measured(name: str, style: str, effort: str, seed: int) -> dict[str, Any]:
    before, after = pair(name)
    options = FlowOptions(load_target("default"), seed, effort, style=style)
    begun = time.process_time()
    old = run_flow(before, Path("."), options)
    between = time.process_time()
    new = run_flow(after, Path("."), replace(options, near=old.plan))
    done = time.process_time()
    assert old.plan is not None and new.plan is not None
    return {
        "change": name,
        "style": style,
        "seed": seed,
        "share": round(compare(old.plan, new.plan).share_touched, 4),
        "verdict": f"{new.verdict}{', new plan' if new.mapped.warnings else ''}",
        "size": f"{old.plan.width}x{old.plan.height} -> {new.plan.width}x{new.plan.height}",
        "stacks": f"{len(old.circuit.stacks)} -> {len(new.circuit.stacks)}",
        "cpu_s": f"{between - begun:.1f} + {done - between:.1f}",
    }


def pair(name: str) -> tuple[Machine, Machine]:
    """The machine before and after a change; the checks of the old one do not hold for the new one."""
    if name in DIGITS:
        count, own = DIGITS[name]
        return digits(count, own), digits(count, own, tail=False)
    design, said, says = CHANGES[name]
    text = (shipped_folder() / f"{design}.py").read_text(encoding="utf-8")
    assert said in text
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"{design}.py"
        path.write_text(text.replace(said, says), encoding="utf-8")
        changed = load_machine(path)
    return load_machine(design), replace(changed, check=())


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description="What a small change moves with --near.")
    parser.add_argument("--change", action="append", choices=[*CHANGES, *DIGITS])
    parser.add_argument("--style", action="append", choices=STYLES)
    parser.add_argument("--seeds", type=int, default=3)
    parser.add_argument("--effort", default="quick")
    parser.add_argument("--json")
    main(parser.parse_args())
