"""How many single mistakes of the hands a guide's checks show.

    python benchmarks/mistakes.py PLAN.json ...

Every stroke is left out, one tile short or long, one off and in the wrong colour; every device left out, misplaced
or of another kind; the guide is followed with each of them by a program that knows only the grid's rules. Of
those that make another machine, how many does a check show, and where? What no check shows is then played against
the right machine: for the machine's whole course or 20,000 ticks, and 2,000 mixed events.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from itertools import groupby
from pathlib import Path

import numpy as np

from hdl2grid.guide.build import make_guide
from hdl2grid.guide.mistakes import Slip, describe, fingerprint, judge, machine_of, shown_by_any_press
from hdl2grid.guide.model import Guide
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.rules import check_devices
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.pulse_network import network_from_plan

TICKS = 20_000
MIXED = 2_000
MOST_TICKS = 2_000
"""Of a longer course a part of the mistakes stands for all."""


def main(paths: list[str]) -> None:
    for path in paths:
        measure(make_guide(load_plan(Path(path))))


def measure(guide: Guide) -> None:
    start = time.monotonic()
    verdicts = judge(guide)
    right = fingerprint(machine_of(guide, None))
    effective = [v for v in verdicts if fingerprint(machine_of(guide, v.slip)) != right]
    missed = [v.slip for v in effective if v.shown_at is None]
    felt = [slip for slip in missed if behaves_differently(guide, slip)]
    shown = len(effective) - len(missed)
    wires = [v for v in effective if v.slip.instead is None or v.slip.instead.do == "wire"]
    wires = [v for v in wires if list(guide.steps())[v.slip.step].net is not None]
    print(f"{guide.plan_name}: {len(verdicts)} mistakes, {len(effective)} make another machine")
    print(f"  shown: {shown} = {100 * shown / max(1, len(effective)):.2f} %")
    all_felt = shown + len(felt)
    print(f"  of those that were felt in play: {100 * shown / max(1, all_felt):.2f} %")
    print(f"  how: {dict(Counter(v.how for v in effective))}")
    print(f"  wire mistakes by how: {dict(Counter(v.how for v in wires))}")
    late = [v.slip for v in wires if v.how not in ("own", "seen", "impossible")]
    able = shown_by_any_press(guide, late)
    print(f"  wire mistakes after their net's own test: {len(late)}, of which it could have shown {len(able)}")
    kinds = Counter((slip.kind, slip in able) for slip in late)
    print(f"  by kind (and whether it could): {dict(kinds)}")
    look_measure(guide, [v.slip for v in effective])
    for slip in missed:
        print(f"    missed{' and felt' if slip in felt else ''}: {describe(guide, slip)}")
    print(f"  {time.monotonic() - start:.0f} s")


def look_measure(guide: Guide, slips: list[Slip]) -> None:
    """Of the mistakes that the panel ever shows in its courses up to the last looks, how many the looks show."""
    if not guide.looks:
        print("  no looks: the ticker cannot be counted, or changes nothing on the panel")
        return
    at = {source: [look.ticks - 1 for look in looks] for source, looks in groupby(guide.looks, lambda k: k.source)}
    longest = 1 + max(max(ticks) for ticks in at.values())
    if longest > MOST_TICKS:
        slips = slips[:: -(-longest // MOST_TICKS)]
    right = {source: ticks_of(machine_of(guide, None), source, 1 + max(ticks)) for source, ticks in at.items()}
    visible = shown = 0
    for slip in slips:
        plan = machine_of(guide, slip)
        if check_devices(plan):
            continue
        is_visible = is_shown = False
        for source, ticks in at.items():
            course = ticks_of(plan, source, 1 + max(ticks))
            if course is not None and course.shape == right[source].shape:
                differs = (course != right[source]).any(axis=1)
                is_visible |= bool(differs.any())
                is_shown |= bool(differs[ticks].any())
        visible += is_visible
        shown += is_shown
    print(f"  looks: {len(guide.looks)}; of {visible} mistakes that the panel shows, they show {shown}", end="")
    print(f" = {100 * shown / max(1, visible):.2f} %")


def ticks_of(plan, source: str, length: int):
    """ticks x pixels, pixels by their tiles; None where the ticker is not there."""
    network = network_from_plan(plan)
    if source not in network.events:
        return None
    watch = list(range(network.first_pixel, network.first_probe))
    return CompiledEngine(network).play(np.full(length, network.event(source), dtype=np.int64), watch).watched


def behaves_differently(guide: Guide, slip: Slip) -> bool:
    """Whether any pixel ever shows something else in play."""
    plans = [machine_of(guide, None), machine_of(guide, slip)]
    if check_devices(plans[1]):
        return True
    seen = [course(plan) for plan in plans]
    return any(a.shape != b.shape or bool((a != b).any()) for a, b in zip(*seen, strict=True))


def course(plan) -> list[np.ndarray]:
    network = network_from_plan(plan)
    if not network.sources:
        return []
    watch = list(range(network.first_pixel, network.first_probe))
    names = sorted(range(len(network.sources)), key=lambda i: (network.sources[i].kind != "ticker", i))
    ticks = CompiledEngine(network).play(np.full(TICKS, names[0], dtype=np.int64), watch).watched
    state, events = 1, []
    for _ in range(MIXED):
        state = state * 48271 % 2147483647
        events.append(names[state % len(names)])
    return [ticks, CompiledEngine(network).play(np.array(events, dtype=np.int64), watch).watched]


if __name__ == "__main__":
    main(sys.argv[1:])
