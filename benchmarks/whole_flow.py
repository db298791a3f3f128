"""Random designs through the whole flow, judged by a reader that shares no code with hdl2grid.

    python benchmarks/whole_flow.py [COUNT] [FIRST] [EFFORT]

COUNT designs (200) with the seeds FIRST (0), FIRST + 1 .. of tests/strategies.py - at most 12 register bits, all of
Amaranth's operators - are planned with `--effort quick`, proved, written to JSON and read back by
tests/independent.py: layout rules, the nets of the tiles against circuit.json, and 500 random events side by side
with Amaranth's own simulator. One line a design, and at the end how many came through and the seconds they took.
"""

from __future__ import annotations

import random
import sys
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))

import independent
import strategies

from hdl2grid.circuit.json_io import dump_circuit
from hdl2grid.flow import FlowOptions, run_flow
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.target import load_target

EVENTS = 500


def main(count: int, first: int, effort: str) -> int:
    seconds, failures, undecided = [], [], 0
    for seed in range(first, first + count):
        start = time.monotonic()
        try:
            told, verdict = one(seed, effort)
            undecided += verdict == "undecided"
        except Exception as error:
            told = f"FAILED: {type(error).__name__}: {str(error)[:300]}"
            failures.append(seed)
        seconds.append(time.monotonic() - start)
        print(f"{seed}: {seconds[-1]:.1f} s, {told}", flush=True)
    seconds.sort()
    middle = ", ".join(f"{100 * q:.0f} %: {seconds[min(count - 1, int(q * count))]:.1f}" for q in (0.5, 0.9, 0.99, 1))
    print(f"{count - len(failures)} of {count} planned and in lock-step for {EVENTS} events ({undecided} undecided)")
    print(f"failed: {failures}")
    print(f"seconds a design: {middle}; together {sum(seconds):.0f}")
    return 1 if failures else 0


def one(seed: int, effort: str) -> tuple[str, str]:
    """One design through the flow and the reader; raises what is wrong with it."""
    machine = strategies.random_machine(seed)
    outcome = run_flow(machine, Path("tests"), FlowOptions(load_target("default"), effort=effort))
    assert outcome.placed is not None and outcome.proof is not None
    if not outcome.is_good:
        raise AssertionError(f"rejected: {outcome.reason}: {[str(f) for f in outcome.findings[:3]]}")
    plan = independent.read_plan(dump_plan(outcome.placed.plan))
    circuit = independent.read_circuit(dump_circuit(outcome.circuit))
    differences = independent.differences(plan, circuit)
    assert not differences, differences[:3]
    run = independent.lockstep(machine, plan, independent.events_of(plan, random.Random(seed), EVENTS))
    width, height = plan.top["size"]
    told = f"{outcome.verdict}, {len(plan.stacks)} stacks, {width} x {height}, {run}"
    return told, outcome.verdict


if __name__ == "__main__":
    numbers = [int(argument) for argument in sys.argv[1:3]]
    sys.exit(main(*[*numbers, *[200, 0][len(numbers) :]], *(sys.argv[3:4] or ["quick"])))
