"""Layout measured: shipped designs and generated machines, several seeds each, every plan verified in the same run.

    python benchmarks/layout.py [--design NAME ...] [--set shipped|growth|small|sited ...] [--effort E] [--style S]
                                [--seeds N] [--first SEED] [--jobs N] [--width W] [--height H] [--out FILE] [--fresh]

Sets: `shipped` (designs/), `growth` (clocks, the same with faces further apart, calendars and rings of 25 to 400
stacks), `small` (50 generated machines of 10 to 100 stacks), `sited` (30 of 20 to 60 stacks with floorplans). A design
is a shipped one's name, a path, or KIND_STACKS_SEED (clocks_200_1, apart_400_1, calendar_100_2, ring_50_3, sited_40_2)
or random_SEED. Left out, all of `shipped` and `growth` is done with 10 seeds.

Each run places and routes one machine with one seed, and judges the plan: layout rules, nets against the circuit,
floorplan, and EVENTS random events side by side with Amaranth's simulator. Seconds are those of placing and routing:
`cpu` of the process, `wall` on the clock. Results go to benchmarks/results/layout-VERSION.json, one record a run; runs
that are in it already are not done again unless the code of layout has changed since, or with --fresh. At the end the
distributions are printed and stored: least, quartiles, greatest, and the exponent by which seconds grow with stacks.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import math
import multiprocessing
import os
import platform
import sys
import time
from collections.abc import Iterable
from concurrent.futures import ProcessPoolExecutor, as_completed
from functools import lru_cache
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "tests"))
sys.path.insert(0, str(Path(__file__).resolve().parent))

import machines

from hdl2grid import __version__
from hdl2grid.base.errors import GridError
from hdl2grid.base.outputs import replace_file
from hdl2grid.base.target import STYLES, load_target
from hdl2grid.design.load import load_machine, shipped_designs
from hdl2grid.design.machine import Machine
from hdl2grid.flow import FlowOptions, Mapped, map_machine, place
from hdl2grid.layout.effort import EFFORTS
from hdl2grid.plan.extract import extract
from hdl2grid.plan.measure import measure
from hdl2grid.plan.rules import check_plan
from hdl2grid.verify.floorplan_check import check_floorplan_kept
from hdl2grid.verify.lockstep import lock_step
from hdl2grid.verify.lvs import compare

ROOT = Path(__file__).resolve().parents[1]
EVENTS = 500
SETS = ("shipped", "growth", "small", "sited")
GROWING = ("clocks", "apart", "calendar", "ring")
"""Kinds of generated machines that are made in all sizes (benchmarks/machines.py)."""
FIGURES = ("area", "wire", "wire_ratio", "crossovers", "strokes", "bends", "repeaters", "cpu", "wall", "iterations")
Record = dict[str, Any]
Key = tuple[str, str, str, int, int | None, int | None]


def machine_of(name: str) -> Machine:
    """The machine of a design's or a generated machine's name."""
    kind, *numbers = name.split("_")
    if kind in (*GROWING, "sited") and len(numbers) == 2:
        return getattr(machines, kind)(*map(int, numbers))
    if kind == "random" and len(numbers) == 1:
        import strategies

        return strategies.random_machine(int(numbers[0]))
    return load_machine(name)


def names_of(sets: Iterable[str]) -> list[str]:
    """The machines of the sets, in order."""
    found = []
    for one in sets:
        if one == "shipped":
            found += shipped_designs()
        elif one == "growth":
            found += [f"{kind}_{size}_1" for kind in GROWING for size in machines.SIZES]
        elif one == "sited":
            found += [f"sited_{20 * (1 + i % 3)}_{i}" for i in range(30)]
        else:
            found += [f"clocks_{20 * (1 + i % 5)}_{i}" for i in range(20)]
            found += [f"ring_{40 + 12 * (i % 6)}_{i}" for i in range(15)]
            found += [f"random_{i}" for i in range(1, 16)]
    return list(dict.fromkeys(found))


@lru_cache(maxsize=2)
def mapped_of(name: str) -> Mapped:
    return map_machine(machine_of(name), ROOT, FlowOptions(load_target()))


def run(name: str, style: str, effort: str, seed: int, width: int | None, height: int | None) -> Record:
    """One machine with one seed, placed, routed and judged."""
    mapped = mapped_of(name)
    options = FlowOptions(load_target(), seed, effort, width, height, style=style)
    record: Record = {"design": name, "style": style, "effort": effort, "seed": seed, "width": width, "height": height}
    record |= {"stacks": len(mapped.circuit.stacks), "registers": mapped.synthesis.report.registers, "code": code()}
    wall, cpu = time.monotonic(), time.process_time()
    try:
        placed = place(mapped, ROOT, options)
    except GridError as error:
        placed = None
        record["error"] = str(error)
    record |= {"wall": round(time.monotonic() - wall, 2), "cpu": round(time.process_time() - cpu, 2)}
    if placed is None:
        return record | {"good": False}
    plan, machine = placed.plan, mapped.machine
    extraction = extract(plan)
    sizes = measure(plan, extraction)
    wrong = [str(f) for f in check_plan(plan, extraction)]
    wrong += [str(f) for f in compare(plan, placed.circuit, extraction)]
    wrong += [str(f) for f in check_floorplan_kept(plan, machine.floorplan, machine.panel_layout())]
    played = lock_step(plan, mapped.elaboration, count=EVENTS)
    if played.counterexample is not None:
        wrong.append(f"lock-step: differs after {played.counterexample.events}")
    record |= {key: getattr(sizes, key) for key in ("area", "wire", "crossovers", "strokes", "bends")}
    record |= {
        "size": [plan.width, plan.height],
        "wire_ratio": round(sizes.wire_ratio, 4),
        "repeaters": placed.num_repeaters,
        "iterations": placed.stats.num_iterations,
        "placements": placed.stats.num_placements,
        "sizes_failed": placed.stats.num_failed_sizes,
        "good": not wrong,
    }
    return record | ({"error": "; ".join(wrong[:3])} if wrong else {})


@lru_cache(maxsize=1)
def code() -> str:
    """A digest of all that decides a layout's result."""
    digest = hashlib.sha256()
    files = [*ROOT.glob("hdl2grid/layout/*.py"), *ROOT.glob("hdl2grid/synth/*.py")]
    files += [ROOT / "hdl2grid/nets/form.py", *ROOT.glob("hdl2grid/partition*.py")]
    for file in sorted([*files, ROOT / "hdl2grid/base/targets/default.toml", ROOT / "benchmarks/machines.py"]):
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def key_of(record: Record) -> Key:
    return tuple(record.get(name) for name in ("design", "style", "effort", "seed", "width", "height"))  # type: ignore


def spread(values: list[float]) -> list[float]:
    """Least, quartiles (nearest rank above, so that each is a value that was met) and greatest."""
    ranked = sorted(values)
    return [ranked[max(0, math.ceil(q * len(ranked)) - 1)] for q in (0, 0.25, 0.5, 0.75, 1)]


def summary(records: list[Record]) -> list[Record]:
    """The distributions of each design, style, effort and limits."""
    groups: dict[tuple[Any, ...], list[Record]] = {}
    for record in sorted(records, key=lambda r: (r["stacks"], r["design"], r["seed"])):
        groups.setdefault((*key_of(record)[:3], *key_of(record)[4:]), []).append(record)
    rows = []
    for (design, style, effort, width, height), group in groups.items():
        good = [record for record in group if record["good"]]
        row: Record = {"design": design, "style": style, "effort": effort, "width": width, "height": height}
        row |= {"stacks": group[0]["stacks"], "runs": len(group), "good": len(good)}
        rows.append(row | {name: spread([r[name] for r in good]) for name in FIGURES if good})
    return rows


def exponents(rows: list[Record]) -> list[Record]:
    """By kind of generated machine, style and effort: the slope of log(median CPU seconds) over log(stacks), by least
    squares, for sizes of growth of at least 20 stacks."""
    found = []
    kinds = {(r["design"].split("_")[0], r["style"], r["effort"]) for r in rows if r["design"].startswith(GROWING)}
    sizes = {f"{kind}_{size}_1" for kind in GROWING for size in machines.SIZES}
    for kind, style, effort in sorted(kinds):
        points = [
            (math.log(r["stacks"]), math.log(max(r["cpu"][2], 0.01)))
            for r in rows
            if r["design"] in sizes and r["design"].startswith(kind) and (r["style"], r["effort"]) == (style, effort)
            and r["good"] and r["stacks"] >= 15
        ]  # fmt: skip
        if len(points) < 2 or len({x for x, _ in points}) < 2:
            continue
        mean_x, mean_y = (sum(p[i] for p in points) / len(points) for i in (0, 1))
        slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / sum((x - mean_x) ** 2 for x, _ in points)
        found.append(
            {"kind": kind, "style": style, "effort": effort, "sizes": len(points), "exponent": round(slope, 3)}
        )
    return found


def told(row: Record) -> str:
    limits = "" if row["width"] is None and row["height"] is None else f" within {row['width']} x {row['height']}"
    head = f"{row['design']} ({row['stacks']} stacks), {row['style']} {row['effort']}{limits}"
    head += f": {row['good']} of {row['runs']} good"
    if not row["good"]:
        return head
    shown = [f"{name} " + "/".join(f"{value:g}" for value in row[name]) for name in FIGURES]
    return head + "\n    " + ", ".join(shown)


class Results:
    """The file of results: what is in it, and how a record is added."""

    def __init__(self, path: Path, fresh: bool) -> None:
        self.path = path
        data = json.loads(path.read_text(encoding="utf-8")) if path.exists() and not fresh else {}
        self.records: dict[Key, Record] = {key_of(record): record for record in data.get("runs", [])}

    def has(self, key: Key) -> bool:
        return key in self.records and self.records[key]["code"] == code()

    def add(self, record: Record) -> None:
        self.records[key_of(record)] = record
        self.write()

    def write(self) -> None:
        runs = sorted(self.records.values(), key=lambda r: (r["design"], r["style"], r["effort"], r["seed"]))
        rows = summary(runs)
        data = {
            "version": __version__,
            "made_with": f"Python {platform.python_version()}, {os.cpu_count()} cores",
            "columns": "least, first quartile, median, third quartile, greatest; seconds are of placing and routing",
            "growth": exponents(rows),
            "summary": rows,
            "runs": runs,
        }
        replace_file(self.path, json.dumps(data, indent=1) + "\n")


def options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--design", action="append", default=[])
    parser.add_argument("--set", action="append", choices=SETS, default=[])
    parser.add_argument("--effort", choices=tuple(EFFORTS), default="normal")
    parser.add_argument("--style", choices=STYLES, default=STYLES[0])
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--first", type=int, default=1)
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--width", type=int)
    parser.add_argument("--height", type=int)
    parser.add_argument("--out", type=Path, default=ROOT / "benchmarks" / "results" / f"layout-{__version__}.json")
    parser.add_argument("--fresh", action="store_true")
    return parser.parse_args()


def main() -> int:
    chosen = options()
    sets = chosen.set or ([] if chosen.design else ["shipped", "growth"])
    names = [*chosen.design, *names_of(sets)]
    results = Results(chosen.out, chosen.fresh)
    seeds = range(chosen.first, chosen.first + chosen.seeds)
    keys = [(name, chosen.style, chosen.effort, seed, chosen.width, chosen.height) for name in names for seed in seeds]
    todo = [key for key in keys if not results.has(key)]
    print(f"{len(keys)} runs, {len(keys) - len(todo)} of them known", flush=True)
    with ProcessPoolExecutor(chosen.jobs, multiprocessing.get_context("spawn")) as pool:
        for future in as_completed([pool.submit(run, *key) for key in todo]):
            record = future.result()
            results.add(record)
            area = f"{record['area']:,} tiles, ratio {record['wire_ratio']}" if "area" in record else ""
            state = "good" if record["good"] else f"BAD: {record['error'][:200]}"
            print(f"{record['design']} seed {record['seed']}: {record['cpu']:.1f} s, {area} {state}", flush=True)
    done = [results.records[key] for key in keys]
    rows = summary(done)
    for row in rows:
        print(told(row))
    for one in exponents(rows):
        print(f"{one['kind']}, {one['style']} {one['effort']}: seconds grow with stacks to the power {one['exponent']}")
    bad = sum(not record["good"] for record in done)
    print(f"{len(done) - bad} of {len(done)} plans legal, equal to their circuits and in step with their designs")
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
