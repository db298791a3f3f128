"""What each rewrite of synthesis is worth: every set of machines with all rewrites, and with each left out in turn.

    python benchmarks/ablation.py [--data FOLDER] [--set NAME ...] [--only REWRITE ...]
    python benchmarks/ablation.py --layout ...     # the mechanisms of layout instead: see ablation_layout.py

The rewrites are those of `hdl2grid.synth.rewrite.driver.NAMES`. FOLDER (default: the environment's
HDL2GRID_CHECK_DATA) holds published circuits; without it, their sets are left out.

Sets: `designs`, the shipped ones as the program maps them; `unlisted`, some machines of unlisted.py; `arithmetic`,
arithmetic.py with words of 4 and 8 bits; `machines`, published state machines; `tables`, published functions; `chains`,
priorities, ranges and comparisons of many bits. All but the shipped designs are mapped with short searches (_QUICK),
published circuits and chains also in the codes that they are given in: then the whole run takes about 14 minutes of one
core (measured). Everything runs in one process, and only CPU seconds vary from run to run.

A row is mapped again only without a rewrite that it took up somewhere on the way: any other cannot change it, and its
own seconds are subtracted.

Stacks are without registers and resets, within the limit of four colours. A run of everything writes
`benchmarks/results/ablation-VERSION.json` and `ablation.md`: per set the sums and the geometric mean of stacks without
a rewrite by stacks with it (a row of no stacks counts as one), then row by row.
"""

from __future__ import annotations

import argparse
import logging
import os
import sys
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import geometric_mean
from typing import Any

import ablation_layout
import unlisted
import with_support  # noqa: F401
from record import save
from support import word_machines
from support.circuit_files import is_complete, load, read_kiss
from support.loaded import loaded
from support.lockstep import sources_of

from hdl2grid.circuit.model import Source
from hdl2grid.design.load import load_machine, shipped_designs
from hdl2grid.flow import sources_of as machine_sources
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.logic.model import Logic
from hdl2grid.logic.xag import XagBuilder
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.rewrite.driver import LOG, NAMES
from hdl2grid.synth.synthesise import synthesise

_QUICK = SynthParams(search_steps=2000, espp_steps=200_000)
"""As tests map."""
_KEPT = replace(_QUICK, keep_codes=True)
_LARGE = ("planet", "s1", "s1a", "s510")
"""Left out for the time they take."""
_UNLISTED = {
    "modulo": (5, 7, 9, 11, 12, 13, 24, 31, 60, 100, 365),
    "gray": (4, 6, 8),
    "lfsr": (4, 8, 16),
    "bcd": (1, 2, 3),
    "gated": (2, 4),
    "clocks": (5, 9, 12),
    "machine": (4, 6, 8),
    "ones": (5, 7, 9),
    "exactly": (5, 7, 9),
}
_TABLES = (
    *("rd53", "rd84", "9sym", "5xp1", "clip", "con1", "misex1", "squar5", "f51m", "alu2", "bw", "inc", "sao2"),
    *("ctrl", "int2float", "dec", "z4ml", "b12", "router"),
)


@dataclass(frozen=True)
class Row:
    name: str
    logic: Logic
    sources: tuple[Source, ...]
    params: SynthParams


def designs(_: Path) -> Iterator[Row]:
    for name in shipped_designs():
        machine = load_machine(name)
        yield Row(name, elaborate(machine).logic, machine_sources(machine), SynthParams())


def machines_unlisted(_: Path) -> Iterator[Row]:
    for kind in unlisted.KINDS:
        for size in _UNLISTED[kind.__name__]:
            yield _row(f"{kind.__name__} {size}", kind(size), _QUICK)


def words(_: Path) -> Iterator[Row]:
    for kind in word_machines.ARITHMETIC:
        for width in (4, 8) if kind is not word_machines.multiplier else (4,):
            yield _row(f"{kind.__name__} {width}", kind(width), _KEPT)


def state_machines(data: Path) -> Iterator[Row]:
    for path in sorted((data / "logic/kiss2").glob("*.kiss2")):
        if path.stem not in _LARGE and is_complete(path):
            yield _row(path.stem, read_kiss(path, path.stem), _KEPT)


def tables(data: Path) -> Iterator[Row]:
    for name in _TABLES:
        folders = {kind: data / "logic" / kind / f"{name}.blif" for kind in ("epfl", "mcnc_blif")}
        kind = next((kind for kind, path in folders.items() if path.exists() and name != "alu2"), "pla")
        yield _row(name, load(kind, name, data), _KEPT)


def chains(_: Path) -> Iterator[Row]:
    """Logic that is written as a chain of many bits, each with one input more."""
    for count in (16, 40):
        yield _row(f"priority {count}", _priority(count), _KEPT)
        yield _row(f"carries {count}", _carries(count), _KEPT)
    yield _row("range 24", _range(24, 0x1A2B3C, 0x1F0055), _KEPT)
    yield _row("range 16", _range(16, 0x1234, 0x9A00), _KEPT)
    for kind in (
        word_machines.less,
        word_machines.equal,
        word_machines.maximum,
        word_machines.incrementer,
        word_machines.loaded_counter,
    ):
        for width in (16, 24) if kind is not word_machines.maximum else (16,):
            yield _row(f"{kind.__name__} {width}", kind(width), _KEPT)
    yield _row("read port", _read_port(), _KEPT)
    yield _row("ring 17", _ring(17), _KEPT)


def _row(name: str, logic: Logic, params: SynthParams) -> Row:
    return Row(name, logic, sources_of(logic), params)


def _priority(count: int) -> Logic:
    """The number of the highest input that is 1."""

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        number = [0] * 6
        for i in range(count):
            number = [b.mux(v[f"a{i}"], i >> k & 1, n) for k, n in enumerate(number)]
        return number

    return loaded("priority", [f"a{i}" for i in range(count)], build)


def _carries(count: int) -> Logic:
    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        names = list(v)
        carries = [b.and_all([v[n] for n in names[:k]]) for k in range(2, count)]
        return [b.xor(v[names[-1]], carry) for carry in carries]

    return loaded("carries", [f"x{i}" for i in range(count)], build)


def _range(count: int, low: int, high: int) -> Logic:
    """Whether a number is at least one constant and at most another."""

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        at_least, at_most = 1, 1
        for i in range(count):
            x = v[f"x{i}"]
            at_least = b.and_(x, at_least) if low >> i & 1 else b.or_(x, at_least)
            at_most = b.or_(x ^ 1, at_most) if high >> i & 1 else b.and_(x ^ 1, at_most)
        return [b.and_(at_least, at_most)]

    return loaded("range", [f"x{i}" for i in range(count)], build)


def _ring(count: int) -> Logic:
    """States one-hot, decoded in full."""

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        found = []
        for k in range(count):
            before = b.and_all([v[f"s{i}"] ^ (i != (k - 1) % count) for i in range(count)])
            found.append(b.and_(v["on"], b.mux(v["go"], before, v[f"s{k}"])))
        return found

    return loaded("ring", [f"s{i}" for i in range(count)] + ["go", "on"], build)


def _read_port() -> Logic:
    """Eight words of eight bits and an address."""

    def build(b: XagBuilder, v: dict[str, int]) -> list[int]:
        def choice(address: tuple[str, ...], words: list[int]) -> int:
            if not address:
                return words[0]
            halves = [choice(address[1:], words[side::2]) for side in (0, 1)]
            return b.mux(v[address[0]], halves[1], halves[0])

        return [choice(("a", "b", "c"), [v[f"w{k}{i}"] for k in range(8)]) for i in range(8)]

    return loaded("port", [f"w{k}{i}" for k in range(8) for i in range(8)] + ["a", "b", "c"], build)


SETS = {
    "designs": designs,
    "unlisted": machines_unlisted,
    "arithmetic": words,
    "machines": state_machines,
    "tables": tables,
    "chains": chains,
}
_PUBLISHED = ("machines", "tables")


class _Taken(logging.Handler):
    """Which rewrites a run took up, and the CPU seconds of each."""

    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.seconds: Counter[str] = Counter()

    def emit(self, record: logging.LogRecord) -> None:
        told = vars(record)
        self.seconds[record.getMessage()] += told["seconds"]
        if told["is_taken"]:
            self.names.add(record.getMessage())


def measure(row: Row, names: Sequence[str]) -> dict[str, Any]:
    """The row with all rewrites, and without each of `names`: stacks and CPU seconds."""
    taken = _Taken()
    LOG.addHandler(taken)
    stacks, seconds = _mapped(row, ())
    LOG.removeHandler(taken)
    without = {}
    for name in names:
        left = round(seconds - taken.seconds[name], 2)
        without[name] = _mapped(row, (name,)) if name in taken.names else (stacks, left)
    return {"row": row.name, "stacks": stacks, "seconds": seconds, "taken": sorted(taken.names), "without": without}


def _mapped(row: Row, without: tuple[str, ...]) -> tuple[int, float]:
    start = time.process_time()
    report = synthesise(row.logic, row.sources, replace(row.params, without=without)).report
    return report.stacks - report.registers - report.resets, round(time.process_time() - start, 2)


def summary(rows: Sequence[dict[str, Any]], name: str) -> dict[str, Any]:
    """What a rewrite is worth in some rows."""
    pairs = [(row["stacks"], row["without"][name][0]) for row in rows]
    return {
        "stacks": sum(one for one, _ in pairs),
        "stacks_without": sum(other for _, other in pairs),
        "ratio": round(geometric_mean([max(other, 1) / max(one, 1) for one, other in pairs]), 4),
        "seconds": round(sum(row["seconds"] for row in rows), 1),
        "seconds_without": round(sum(row["without"][name][1] for row in rows), 1),
        "changed": {row["row"]: row["without"][name][0] - row["stacks"] for row in rows if _changed(row, name)},
    }


def _changed(row: dict[str, Any], name: str) -> bool:
    return bool(row["without"][name][0] != row["stacks"])


def markdown(found: dict[str, list[dict[str, Any]]], names: Sequence[str]) -> str:
    """Two tables: a line a set and rewrite, and a line a row."""
    lines = ["# What each rewrite is worth", "", "Made by `benchmarks/ablation.py`.", "", "## By set", ""]
    lines += ["| Set | Without | Stacks | Without it | Geometric mean | CPU s | Without it | Rows that change |"]
    lines += ["|---|---|---:|---:|---:|---:|---:|---|"]
    for title, rows in (*found.items(), ("all", [row for part in found.values() for row in part])):
        for name in names:
            told = summary(rows, name)
            changed = ", ".join(f"{row} {by:+}" for row, by in told["changed"].items())
            figures = [str(told[key]) for key in ("stacks", "stacks_without", "ratio", "seconds", "seconds_without")]
            lines.append(f"| {title} | {name} | {' | '.join(figures)} | {changed if title != 'all' else ''} |")
    lines += ["", "## By row", "", "Stacks and CPU seconds with all rewrites, and without each.", ""]
    lines += [f"| Set | Row | All | {' | '.join(names)} |", "|---|---|---:|" + "---:|" * len(names)]
    for title, rows in found.items():
        for row in rows:
            cells = [f"{stacks}, {seconds} s" for stacks, seconds in (row["without"][name] for name in names)]
            lines.append(f"| {title} | {row['row']} | {row['stacks']}, {row['seconds']} s | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def main() -> None:
    if "--layout" in sys.argv[1:]:
        sys.exit(ablation_layout.main([one for one in sys.argv[1:] if one != "--layout"]))
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", default=os.environ.get("HDL2GRID_CHECK_DATA", ""))
    parser.add_argument("--set", action="append", choices=SETS)
    parser.add_argument("--only", action="append", choices=NAMES)
    options = parser.parse_args()
    names = options.only or NAMES
    sets = options.set or [name for name in SETS if options.data or name not in _PUBLISHED]
    for row in designs(Path()):
        synthesise(row.logic, row.sources, row.params)  # compiles kernels before anything is timed
    LOG.setLevel(logging.DEBUG)
    found: dict[str, list[dict[str, Any]]] = {}
    for title in sets:
        found[title] = []
        for row in SETS[title](Path(options.data)):
            found[title].append(measure(row, names))
            print(title, found[title][-1], flush=True)
    print(markdown(found, names))
    if not options.set and not options.only:
        sums = {title: {name: summary(rows, name) for name in names} for title, rows in found.items()}
        save("ablation", {"sets": sums, "rows": found})
        (Path(__file__).parent / "results/ablation.md").write_text(markdown(found, names), encoding="utf-8")


if __name__ == "__main__":
    main()
