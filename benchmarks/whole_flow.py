"""Random designs through the whole flow, judged by a reader that shares no code with hdl2grid.

    python benchmarks/whole_flow.py [COUNT] [FIRST] [EFFORT]
    python benchmarks/whole_flow.py shipped [EFFORT]

COUNT designs (200) with the seeds FIRST (0), FIRST + 1 .. of support/random_machines.py - at most 12 register bits, all
of Amaranth's operators - are planned with `--effort quick`, proved, written to JSON and read back by
support/independent.py: layout rules, the nets of the tiles against circuit.json, and 500 random events side by side
with Amaranth's own simulator. `shipped` does the same with the designs of designs/. One line a design, and at the
end how many came through and the seconds they took.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

import with_support  # noqa: F401
from support import independent, random_machines
from support.dice import Dice

from hdl2grid.base.target import load_target
from hdl2grid.circuit.json_io import dump_circuit
from hdl2grid.design.load import load_machine, shipped_designs
from hdl2grid.design.machine import Machine
from hdl2grid.flow import FlowOptions, run_flow
from hdl2grid.plan.json_io import dump_plan

EVENTS = 500


def main(machines: dict[str, Callable[[], Machine]], effort: str) -> int:
    seconds, failures, undecided, count = [], [], 0, len(machines)
    for name, make in machines.items():
        start = time.monotonic()
        try:
            told, verdict = one(make(), effort)
            undecided += verdict == "undecided"
        except Exception as error:
            told = f"FAILED: {type(error).__name__}: {str(error)[:300]}"
            failures.append(name)
        seconds.append(time.monotonic() - start)
        print(f"{name}: {seconds[-1]:.1f} s, {told}", flush=True)
    seconds.sort()
    middle = ", ".join(f"{100 * q:.0f} %: {seconds[min(count - 1, int(q * count))]:.1f}" for q in (0.5, 0.9, 0.99, 1))
    print(f"{count - len(failures)} of {count} planned and in lock-step for {EVENTS} events ({undecided} undecided)")
    print(f"failed: {failures}")
    print(f"seconds a design: {middle}; together {sum(seconds):.0f}")
    return 1 if failures else 0


def one(machine: Machine, effort: str) -> tuple[str, str]:
    """One design through the flow and the reader; raises what is wrong with it."""
    outcome = run_flow(machine, Path("tests"), FlowOptions(load_target("default"), effort=effort))
    assert outcome.placed is not None and outcome.proof is not None
    if not outcome.is_good:
        raise AssertionError(f"rejected: {outcome.reason}: {[str(f) for f in outcome.findings[:3]]}")
    plan = independent.read_plan(dump_plan(outcome.placed.plan))
    circuit = independent.read_circuit(dump_circuit(outcome.circuit))
    differences = independent.differences(plan, circuit)
    assert not differences, differences[:3]
    run = independent.lockstep(machine, plan, independent.events_of(plan, Dice(1), EVENTS))
    width, height = plan.top["size"]
    told = f"{outcome.verdict}, {len(plan.stacks)} stacks, {width} x {height}, {run}"
    return told, outcome.verdict


def chosen(arguments: list[str]) -> tuple[dict[str, Callable[[], Machine]], str]:
    """The machines to do, by name, and the effort."""
    if arguments[:1] == ["shipped"]:
        return {name: partial(load_machine, name) for name in shipped_designs()}, (arguments[1:] or ["quick"])[0]
    count, first = [int(argument) for argument in (*arguments[:2], *("200", "0")[len(arguments[:2]) :])]
    seeds = range(first, first + count)
    return {str(seed): partial(random_machines.random_machine, seed) for seed in seeds}, (arguments[2:] or ["quick"])[0]


if __name__ == "__main__":
    sys.exit(main(*chosen(sys.argv[1:])))
