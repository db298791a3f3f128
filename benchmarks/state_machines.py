"""State machines through this project's synthesiser and through general tools, as AND-type cells.

    python benchmarks/state_machines.py [--data FOLDER] [--within] [MACHINE ...]

FOLDER (default: the environment's HDL2GRID_CHECK_DATA) holds `logic/kiss2`. Which machines count: all that answer every
input in every state that they can reach from their reset. Inputs are switches, codes are free, the first state is the
reset's. Peers get the next-state functions and outputs in natural binary code, the codes that no state has being
don't-cares for espresso; of Yosys with ABC, espresso, EXORCISM-4 and the table `and_counts_peers.csv` the best counts.
Ours are all stacks but registers and resets: products, exactly-ones, gates, buffers and collectors; a machine that
takes none counts as one. Without the limit of four colours, as peers have none; with `--within` the count within it is
shown beside.
Every circuit is played against its machine for 2,000 events, and shown to lose no pulse. One JSON file a version is
written to `benchmarks/results/`.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from pathlib import Path
from statistics import geometric_mean
from typing import Any

import with_support  # noqa: F401
from peers import espresso_terms, exorcism_cubes, yosys_ands
from record import save
from support.circuit_files import is_complete, read_kiss
from support.dice import Dice
from support.lockstep import compare, events_of, sources_of
from synthesis import table

from hdl2grid.logic.model import Logic
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards

_FREE = 999
_EVENTS = 2000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", default=os.environ.get("HDL2GRID_CHECK_DATA", ""))
    parser.add_argument("--within", action="store_true", help="map within four colours a tile too")
    parser.add_argument("machines", nargs="*")
    options = parser.parse_args()
    if not options.data:
        sys.exit("Give --data or set HDL2GRID_CHECK_DATA.")
    root = Path(options.data)
    published = {row["circuit"]: int(row["best"]) for row in table(root) if row["kind"] == "fsm"}
    rows = []
    for path in sorted((root / "logic/kiss2").glob("*.kiss2")):
        if (options.machines and path.stem not in options.machines) or not is_complete(path):
            continue
        rows.append(measure(path, published.get(path.stem), options.within))
        print(line(rows[-1]), flush=True)
    print(f"{len(rows)} machines, geometric mean of ours / best peer: {mean(rows):.3f}")
    if not options.machines:
        save("state-machines", {"geometric_mean": round(mean(rows), 3), "machines": rows})


def measure(path: Path, published: int | None, within: bool) -> dict[str, Any]:
    logic = read_kiss(path, path.stem)
    start = time.process_time()
    params = SynthParams(toggle_terms=_FREE, register_terms=_FREE, pixel_terms=_FREE)
    made = synthesise(logic, sources_of(logic), params)
    seconds = time.process_time() - start
    compare(logic, made.circuit, _walk(logic))
    if not find_hazards(made.circuit).is_safe_by_structure:
        assert all(v.is_safe for v in prove_hazards(made.circuit)), path.stem
    report = made.report
    wired = synthesise(logic, sources_of(logic)).report if within else None
    with tempfile.TemporaryDirectory() as folder:
        peers = {"yosys_abc": yosys_ands(logic, Path(folder)), "exorcism": exorcism_cubes(logic, Path(folder))}
    peers |= {"espresso": espresso_terms(logic), "table": published}
    best = min((count for count in peers.values() if count), default=None)
    return {
        "machine": path.stem,
        "stacks": report.stacks - report.registers - report.resets,
        "exactly_ones": report.exactly_ones,
        "buffers": report.buffers,
        "registers": report.registers,
        "stacks_within_four_colours": wired.stacks - wired.registers - wired.resets if wired else None,
        "registers_within_four_colours": wired.registers if wired else None,
        "codes": [[code.states, code.registers, code.stacks, code.bound, code.verdict] for code in report.codes],
        **peers,
        "best_peer": best,
        "cpu_seconds": round(seconds, 1),
    }


def _walk(logic: Logic) -> list[str]:
    rng = Dice(1)
    events = [event for event in events_of(logic) if event != "reset"]
    return [("reset" if rng.random() < 0.01 else rng.choice(["tick", *events])) for _ in range(_EVENTS)]


def ratio(row: dict[str, Any]) -> float | None:
    return max(row["stacks"], 1) / row["best_peer"] if row["best_peer"] else None


def line(row: dict[str, Any]) -> str:
    found = ratio(row)
    shown = "-" if found is None else f"{found:.2f}"
    return (
        f"{row['machine']:9} ours {row['stacks']:4} with {row['registers']} registers  best peer {row['best_peer']}  "
        f"ratio {shown}  (yosys {row['yosys_abc']}, espresso {row['espresso']}, exorcism {row['exorcism']}, "
        f"table {row['table']})  within four colours {row['stacks_within_four_colours'] or '-'}  "
        f"{row['cpu_seconds']:.1f} s"
    )


def mean(rows: list[dict[str, Any]]) -> float:
    """Geometric mean of the ratios."""
    ratios = [found for row in rows if (found := ratio(row))]
    return geometric_mean(ratios) if ratios else float("nan")


if __name__ == "__main__":
    main()
