"""The report of a run, as Markdown: what was proved and how far, how large the machine is, what it takes.

It holds no times and no dates: the same design, options and seed give the same bytes.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from typing import Any

import jinja2

from hdl2grid.base.errors import Finding
from hdl2grid.base.target import Target
from hdl2grid.circuit.model import Circuit, Stack
from hdl2grid.plan.measure import measure
from hdl2grid.plan.model import Plan
from hdl2grid.show.parts_list import parts_rows, wire_tile_counts
from hdl2grid.sim.waves import gate_output
from hdl2grid.verify.evidence import Evidence


@dataclass(frozen=True)
class Block:
    """One block of synthesis, in words: its name, method, reachable states, stacks, bound, verdict and the kind of
    proof."""

    name: str
    method: str
    states: str
    stacks: int
    bound: str
    verdict: str
    proof: str


@dataclass(frozen=True)
class ReportFacts:
    """What a report tells. `plan` is None where no plan was made; `reason` says why it was rejected or is not
    there; `options` are those that decide the result; `search` is what layout has spent, and `failed_sizes` why there
    is no plan on the sizes that it tried before; `repeaters` are stacks that layout has put in."""

    name: str
    verdict: str
    reason: str
    evidence: tuple[Evidence, ...]
    findings: tuple[Finding, ...]
    warnings: tuple[str, ...]
    options: tuple[tuple[str, str], ...]
    blocks: tuple[Block, ...]
    longest_wave_rounds: int
    reachable_states: int | None
    target: Target
    circuit: Circuit
    plan: Plan | None
    repeaters: int = 0
    search: tuple[tuple[str, str], ...] = ()
    failed_sizes: tuple[str, ...] = ()


MAX_FINDINGS = 50
"""Most findings that are listed; the rest is counted. Guessed."""


def report_markdown(facts: ReportFacts) -> str:
    """The report's text; ends with a newline."""
    environment = jinja2.Environment(
        undefined=jinja2.StrictUndefined, trim_blocks=True, lstrip_blocks=True, keep_trailing_newline=True
    )
    environment.filters["cell"] = cell
    text = (resources.files("hdl2grid.show") / "templates" / "report.md.j2").read_text(encoding="utf-8")
    return environment.from_string(text).render(facts=facts, **_figures(facts))


def cell(value: object) -> str:
    """A value as it can stand in a cell of a Markdown table, or in a line: nothing in it is markup."""
    text = str(value).replace("\\", "\\\\").replace("\n", " ")
    for mark in "|*_`<>[]#":
        text = text.replace(mark, "\\" + mark)
    return text


def stack_counts(circuit: Circuit) -> dict[str, int]:
    """How many stacks there are of each kind: strobed ones, and plain ones by function and height."""
    counts = Counter(_stack_kind(stack) for stack in circuit.stacks)
    return dict(sorted(counts.items()))


def _stack_kind(stack: Stack) -> str:
    toggles = len(stack.toggles)
    if stack.strobe is not None:
        return "strobed"
    return f"{stack.function} of {toggles}"


def saying_one(circuit: Circuit) -> tuple[str, ...]:
    """The plain stacks whose function is 1 in the first state."""
    found = []
    for stack in circuit.stacks:
        ones = sum(toggle.bit for toggle in stack.toggles)
        if stack.strobe is None and gate_output(stack.function, ones, len(stack.toggles)):
            found.append(stack.name)
    return tuple(found)


def size_rows(plan: Plan) -> list[tuple[str, int]]:
    """The plan's size in figures, each with what it counts."""
    wires = wire_tile_counts(plan)
    devices = len(plan.devices) + sum(device.to is not None for device in plan.devices)
    rows = [
        ("tiles of the grid", plan.width * plan.height),
        ("columns", plan.width),
        ("rows", plan.height),
        ("device tiles", devices),
        ("crossovers", sum(device.kind == "crossover" for device in plan.devices)),
        ("wire tiles", sum(wires.values())),
    ]
    rows += [(f"wire tiles, {colour}", number) for colour, number in wires.items()]
    return [*rows, ("strokes", sum(len(strokes) for strokes in plan.wires))]


def layout_rows(plan: Plan, repeaters: int = 0) -> list[tuple[str, str]]:
    """How well the plan is laid out, in figures."""
    sizes = measure(plan)
    return [
        ("nets", f"{sizes.nets:,}"),
        ("wire of all nets, in tiles", f"{sizes.wire:,}"),
        ("its lower bound: spanning tree and 1 of each net", f"{sizes.wire_bound:,}"),
        ("wire over its lower bound", f"{sizes.wire_ratio:.3f}"),
        ("bends", f"{sizes.bends:,}"),
        ("repeaters", f"{repeaters:,}"),
    ]


def _figures(facts: ReportFacts) -> dict[str, Any]:
    plan, circuit = facts.plan, facts.circuit
    dark: Sequence[str] = ()
    if plan is not None:
        odd = [d for d in plan.devices if d.kind == "pixel" and d.lit != facts.target.laying.fresh_pixel_lit]
        dark = [f"({d.x},{d.y})" for d in odd]
    return {
        "stacks": stack_counts(circuit),
        "num_stacks": len(circuit.stacks),
        "saying_one": saying_one(circuit),
        "size": [] if plan is None else size_rows(plan),
        "layout": [] if plan is None else layout_rows(plan, facts.repeaters),
        "parts": [] if plan is None else parts_rows(plan),
        "commissioned": dark,
        "fresh_pixel": "lit" if facts.target.laying.fresh_pixel_lit else "dark",
        "other_pixel": "dark" if facts.target.laying.fresh_pixel_lit else "lit",
        "stack_rows": [
            (s.name, s.function, len(s.toggles), "yes" if s.strobe is not None else "", o.signal, o.source or "")
            for s, o in zip(circuit.stacks, circuit.origin, strict=True)
        ],
        "shown_findings": facts.findings[:MAX_FINDINGS],
        "num_hidden": max(0, len(facts.findings) - MAX_FINDINGS),
    }
