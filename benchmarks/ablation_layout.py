"""What each mechanism of layout is worth: machines laid out with all of them, and with each left out in turn.

    python benchmarks/ablation.py --layout [--seeds N] [--only MECHANISM ...] [--design NAME ...]

A mechanism is left out by the fields of the regime (`hdl2grid.layout.regime`) that switch it. A machine is laid out
again only without a mechanism that its regime and effort have: any other cannot change it. Effort is quick. Some small
machines are laid out at normal effort in compact style as well, which alone looks for lines by the sieve, and some on
limited grids, where alone dense placement is used. Circuits are those of the first mapping: no roomy one is tried.

A row tells how many runs are legal with the mechanism and without it; over those that are legal both ways the sums of
area and wire, in tiles, of crossovers and of strokes; and the CPU seconds of all, which depend on the computer.
A run of everything takes about 12 minutes of one core. It writes `benchmarks/results/ablation-layout-VERSION.json` and
`ablation-layout.md`.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from layout import machine_of
from record import save

from hdl2grid.base.target import STYLES, load_target
from hdl2grid.design.load import shipped_designs
from hdl2grid.design.machine import Machine
from hdl2grid.flow import FlowOptions, layout_job, map_machine
from hdl2grid.layout.matched_blocks import find_matched_blocks
from hdl2grid.layout.not_placed import NotPlaced
from hdl2grid.layout.regime import Regime, regime_of
from hdl2grid.layout.retries import place_circuits
from hdl2grid.nets.form import form_nets
from hdl2grid.nets.model import Netlist
from hdl2grid.nets.partition import CircuitWithNets
from hdl2grid.plan.extract import extract
from hdl2grid.plan.measure import measure
from hdl2grid.plan.rules import check_plan
from hdl2grid.verify.lvs import compare

ROOT = Path(__file__).resolve().parents[1]
Drop = Callable[[Regime], Regime]
MECHANISMS: dict[str, Drop] = {
    "matched blocks": lambda regime: replace(regime, matched_blocks=False),
    "matched routing": lambda regime: replace(regime, matched_routing=False),
    "panel exits": lambda regime: replace(regime, panel_exits=False),
    "windows": lambda regime: replace(regime, windows=False),
    "clash-free colours": lambda regime: replace(regime, colours=replace(regime.colours, solve=False)),
    "dense placement": lambda regime: replace(regime, dense_placement=False),
    "line sieve": lambda regime: replace(regime, line_sieve=False),
}
"""Matched blocks are equal blocks whose cells move as units and whose nets are laid alike; without matched routing
only the units are left, so that the difference between the two is what units are worth."""
GENERATED = ("clocks_50_1", "ring_50_1", "clocks_100_1", "apart_100_1")
"""Machines of benchmarks/machines.py by about as many stacks; from 100 on they are large."""
LIMITED = (("dice", 15, 14), ("traffic_light", 19, 17), ("traffic_light", 20, 16), ("stopwatch", 24, 22))
"""Designs on grids that have hardly room for them, in columns and rows."""
SIEVED = ("dice", "traffic_light", "stopwatch")
"""Designs in compact style at normal effort."""
FIGURES = ("area", "wire", "crossovers", "strokes", "cpu")


@dataclass(frozen=True)
class Case:
    name: str
    style: str
    effort: str = "quick"
    width: int | None = None
    height: int | None = None

    def options(self, seed: int) -> FlowOptions:
        return FlowOptions(load_target(), seed, self.effort, self.width, self.height, style=self.style)

    def told(self) -> str:
        limits = f", {self.width} x {self.height}" if self.width else ""
        return f"{self.name}, {self.style}{limits}{', normal' if self.effort == 'normal' else ''}"


def cases(names: Sequence[str]) -> list[Case]:
    found = [Case(name, style) for name in (*shipped_designs(), *GENERATED) for style in STYLES]
    found += [Case(name, "compact", "quick", width, height) for name, width, height in LIMITED]
    found += [Case(name, "compact", "normal") for name in SIEVED]
    return [case for case in found if not names or case.name in names]


def has(mechanism: str, case: Case, netlist: Netlist, params_limited: bool) -> bool:
    """Whether the mechanism can change the case's layout."""
    regime = regime_of(netlist, case.style)
    if mechanism == "dense placement":
        return params_limited
    if mechanism == "line sieve":
        return bool(regime.efforts[case.effort].sieve)
    if mechanism.startswith("matched"):
        return regime.matched_blocks and bool(find_matched_blocks(netlist))
    return MECHANISMS[mechanism](regime) != regime


def lay(case: Case, seed: int, machine: Machine, circuit: CircuitWithNets, drop: Drop) -> dict[str, Any]:
    """One layout, judged; without figures where none is legal."""
    job = layout_job(machine, case.options(seed))
    job = replace(job, regime_of=lambda netlist, style: drop(regime_of(netlist, style)))
    start = time.process_time()
    try:
        laid = place_circuits([circuit], job)
    except NotPlaced:
        return {"legal": False, "cpu": round(time.process_time() - start, 1)}
    cpu = round(time.process_time() - start, 1)
    extraction = extract(laid.plan)
    wrong = [*check_plan(laid.plan, extraction), *compare(laid.plan, laid.circuit, extraction)]
    sizes = measure(laid.plan, extraction)
    return {
        "legal": not wrong,
        "area": sizes.area,
        "wire": sizes.wire,
        "crossovers": sizes.crossovers,
        "strokes": sizes.strokes,
        "cpu": cpu,
    }


def run(chosen: Sequence[Case], only: Sequence[str], seeds: int) -> list[dict[str, Any]]:
    """All layouts: of each case with everything, and without each mechanism that it has."""
    lay(chosen[0], 1, *_mapped(chosen[0].name), drop=lambda regime: regime)  # kernels are loaded
    rows = []
    for case in chosen:
        machine, circuit = _mapped(case.name)
        netlist = form_nets(circuit.circuit, machine.panel_layout(), machine.floorplan)
        limited = layout_job(machine, case.options(1)).params.is_limited
        without = [one for one in MECHANISMS if (not only or one in only) and has(one, case, netlist, limited)]
        if not without:
            continue
        for seed in range(1, 1 + seeds):
            for name, drop in (("", lambda regime: regime), *((one, MECHANISMS[one]) for one in without)):
                row = {"case": case.told(), "cells": len(netlist.cells), "seed": seed, "without": name}
                rows.append(row | lay(case, seed, machine, circuit, drop))
                told = "  ".join(f"{figure} {rows[-1][figure]}" for figure in FIGURES if figure in rows[-1])
                print(f"{case.told()}, seed {seed}, without {name or 'nothing'}: {told}", flush=True)
    return rows


_KNOWN: dict[str, tuple[Machine, CircuitWithNets]] = {}


def _mapped(name: str) -> tuple[Machine, CircuitWithNets]:
    if name not in _KNOWN:
        machine = machine_of(name)
        _KNOWN[name] = machine, map_machine(machine, ROOT, FlowOptions(load_target())).synthesis.with_nets
    return _KNOWN[name]


def table(rows: Sequence[dict[str, Any]]) -> str:
    """The sums of each mechanism's cases, with it and without it, and then layout by layout."""
    full = {(row["case"], row["seed"]): row for row in rows if not row["without"]}
    lines = ["| without | runs | legal with, without | area | wire | crossovers | strokes | CPU s |"]
    lines.append("|---|---|---|---|---|---|---|---|")
    for name in dict.fromkeys(row["without"] for row in rows if row["without"]):
        pairs = [(full[row["case"], row["seed"]], row) for row in rows if row["without"] == name]
        good = [(a, b) for a, b in pairs if a["legal"] and b["legal"]]
        legal = f"{sum(a['legal'] for a, _ in pairs)}, {sum(b['legal'] for _, b in pairs)}"
        sums = [f"{sum(a[f] for a, _ in good):,.0f} -> {sum(b[f] for _, b in good):,.0f}" for f in FIGURES[:-1]]
        cpu = f"{sum(a['cpu'] for a, _ in pairs):,.0f} -> {sum(b['cpu'] for _, b in pairs):,.0f}"
        lines.append("| " + " | ".join([name, str(len(pairs)), legal, *sums, cpu]) + " |")
    lines += ["", "| machine | cells | seed | without | legal | area | wire | crossovers | strokes | CPU s |"]
    lines.append("|---|---|---|---|---|---|---|---|---|---|")
    for row in rows:
        head = [row["case"], row["cells"], row["seed"], row["without"] or "nothing", "yes" if row["legal"] else "no"]
        lines.append("| " + " | ".join(str(one) for one in [*head, *(row.get(f, "") for f in FIGURES)]) + " |")
    return "\n".join(lines) + "\n"


def main(argv: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seeds", type=int, default=1, help="seeds 1 to N (default: 1)")
    parser.add_argument("--only", action="append", choices=tuple(MECHANISMS), default=[])
    parser.add_argument("--design", action="append", default=[])
    chosen = parser.parse_args(argv)
    rows = run(cases(chosen.design), chosen.only, chosen.seeds)
    print(table(rows))
    if not (chosen.only or chosen.design):
        save("ablation-layout", {"runs": rows})
        (ROOT / "benchmarks" / "results" / "ablation-layout.md").write_text(table(rows), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
