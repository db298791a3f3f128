"""Readers of the benchmark files: PLA tables, BLIF networks and KISS2 state machines, as the project's `Logic`.

A function's inputs come from registers that a tick loads from switches; a state machine has its inputs on switches
and its states in natural binary code, in the order in which they first stand in the file.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import FALSE, TRUE, Literal, XagBuilder


@dataclass(frozen=True)
class Cover:
    """Rows of a two-level table: a pattern of 0, 1 and - over the inputs, and one of 0, 1 and - over the outputs."""

    inputs: tuple[str, ...]
    outputs: tuple[str, ...]
    rows: tuple[tuple[str, str], ...]


def _lines(path: Path) -> Iterable[list[str]]:
    text = path.read_text(encoding="ascii", errors="replace").replace("\\\n", " ")
    for line in text.splitlines():
        words = line.partition("#")[0].replace("|", " ").split()
        if words:
            yield words


def read_pla(path: Path) -> Cover:
    """A table of espresso's type fd: an output is on where its column says 1."""
    num_in = num_out = 0
    rows = []
    for words in _lines(path):
        if words[0] == ".i":
            num_in = int(words[1])
        elif words[0] == ".o":
            num_out = int(words[1])
        elif not words[0].startswith("."):
            row = "".join(words)
            rows.append((row[:num_in], row[num_in : num_in + num_out]))
    return Cover(tuple(f"x{i}" for i in range(num_in)), tuple(f"y{i}" for i in range(num_out)), tuple(rows))


def _row(b: XagBuilder, literals: Sequence[Literal], pattern: str) -> Literal:
    return b.and_all([x ^ (c == "0") for x, c in zip(literals, pattern, strict=True) if c in "01"])


def _loaded(name: str, b: XagBuilder, inputs: Sequence[str], build: object) -> Logic:
    """A function behind registers that a tick loads from switches."""
    registers = [b.variable(f"r_{n}") for n in inputs]
    switches = [b.variable(n) for n in inputs]
    outputs = build(registers)  # type: ignore[operator]
    return Logic(
        name,
        b.freeze(),
        ("tick",),
        False,
        tuple(InputBit(n, x, 0) for n, x in zip(inputs, switches, strict=True)),
        tuple(
            RegisterBit(f"r_{n}", q, x, 0, "tick", False) for n, q, x in zip(inputs, registers, switches, strict=True)
        ),
        tuple(OutputBit(n, y) for n, y in outputs),
    )


def logic_of_cover(name: str, cover: Cover) -> Logic:
    b = XagBuilder()

    def build(registers: list[Literal]) -> list[tuple[str, Literal]]:
        found = [FALSE] * len(cover.outputs)
        for pattern, wanted in cover.rows:
            cube = _row(b, registers, pattern)
            found = [b.or_(y, cube) if c == "1" else y for y, c in zip(found, wanted, strict=True)]
        return list(zip(cover.outputs, found, strict=True))

    return _loaded(name, b, cover.inputs, build)


def read_blif(path: Path, name: str) -> Logic:
    """A combinational BLIF network."""
    inputs: list[str] = []
    outputs: list[str] = []
    tables: dict[str, tuple[list[str], list[tuple[str, str]]]] = {}
    current: list[tuple[str, str]] = []
    for words in _lines(path):
        if words[0] == ".inputs":
            inputs += words[1:]
        elif words[0] == ".outputs":
            outputs += words[1:]
        elif words[0] == ".names":
            current = []
            tables[words[-1]] = (words[1:-1], current)
        elif not words[0].startswith("."):
            current.append((words[0], words[1]) if len(words) == 2 else ("", words[0]))
    b = XagBuilder()

    def build(registers: list[Literal]) -> list[tuple[str, Literal]]:
        known = dict(zip(inputs, registers, strict=True))
        todo = list(reversed(outputs))
        while todo:
            net = todo[-1]
            missing = [n for n in tables[net][0] if n not in known] if net not in known else []
            if missing:
                todo += missing
                continue
            todo.pop()
            if net not in known:
                fanins, rows = tables[net]
                value = FALSE
                for pattern, _ in rows:
                    value = b.or_(value, _row(b, [known[n] for n in fanins], pattern))
                known[net] = value ^ (bool(rows) and rows[0][1] == "0")
        return [(n if n not in inputs else f"{n}.out", known[n]) for n in outputs]

    return _loaded(name, b, inputs, build)


def is_complete(path: Path) -> bool:
    """Whether a state machine answers every input in every state that it can reach from its reset."""
    rows, reset = _kiss_rows(path)
    reached, todo = {reset}, [reset]
    while todo:
        state = todo.pop()
        here = [row for row in rows if row[1] in (state, "*")]
        if _covered([row[0] for row in here]) < 1 << len(rows[0][0]) or any(row[2] == "*" for row in here):
            return False
        for row in here:
            if row[2] not in reached:
                reached.add(row[2])
                todo.append(row[2])
    return True


def _covered(patterns: Sequence[str]) -> int:
    """How many inputs fit at least one of the patterns."""
    if not patterns:
        return 0
    if any(not p.strip("-") for p in patterns):
        return 1 << len(patterns[0])
    place = next(i for i in range(len(patterns[0])) if any(p[i] != "-" for p in patterns))
    total = 0
    for value in "01":
        total += _covered([p[:place] + p[place + 1 :] for p in patterns if p[place] in ("-", value)])
    return total


def _kiss_rows(path: Path) -> tuple[list[list[str]], str]:
    """The rows of a table and its reset: as given, else the present state of the first row, else where the first row
    leads from any state."""
    rows = []
    reset = ""
    for words in _lines(path):
        if words[0] == ".r":
            reset = words[1]
        elif not words[0].startswith("."):
            rows.append(words)
    return rows, reset or (rows[0][2] if rows[0][1] == "*" else rows[0][1])


def read_kiss(path: Path, name: str) -> Logic:
    """A state machine with a reset; what the table leaves open is 0 (outputs) or stands still (states)."""
    rows, reset = _kiss_rows(path)
    num_in = len(rows[0][0])
    states = list(dict.fromkeys(word for row in rows for word in row[1:3] if word != "*"))
    width = max(1, (len(states) - 1).bit_length())
    b = XagBuilder()
    q = [b.variable(f"state[{i}]") for i in range(width)]
    x = [b.variable(f"x[{i}]") for i in range(num_in)]
    data, shown = [FALSE] * width, [FALSE] * len(rows[0][3])
    hit = FALSE
    for pattern, now, then, wanted in rows:
        here = TRUE if now == "*" else _is(b, q, states.index(now))
        fires = b.and_(_row(b, x, pattern), here)
        if then != "*":
            code = states.index(then)
            data = [b.or_(d, fires) if code >> i & 1 else d for i, d in enumerate(data)]
            hit = b.or_(hit, fires)
        shown = [b.or_(y, fires) if c == "1" else y for y, c in zip(shown, wanted, strict=True)]
    data = [b.or_(d, b.and_(hit ^ 1, s)) for d, s in zip(data, q, strict=True)]
    first = states.index(reset)
    bits = tuple(
        RegisterBit(f"state[{i}]", s, d, first >> i & 1, "tick", True)
        for i, (s, d) in enumerate(zip(q, data, strict=True))
    )
    switches = tuple(InputBit(f"x[{i}]", s, 0) for i, s in enumerate(x))
    outputs = tuple(OutputBit(f"y[{i}]", y) for i, y in enumerate(shown))
    return Logic(name, b.freeze(), ("tick",), True, switches, bits, outputs)


def _is(b: XagBuilder, word: Sequence[Literal], value: int) -> Literal:
    return b.and_all([q ^ 1 ^ (value >> i & 1) for i, q in enumerate(word)])


def load(kind: str, circuit: str, root: Path) -> Logic:
    """The circuit of a row of `and_counts_peers.csv`."""
    if kind == "fsm":
        return read_kiss(root / "logic/kiss2" / f"{circuit}.kiss2", circuit)
    if kind == "pla":
        folders = (root / "logic/mcnc_pla", root / "logic/espresso_math")
        path = next(p for f in folders if (p := f / f"{circuit}.pla").exists())
        return logic_of_cover(circuit, read_pla(path))
    return read_blif(root / "logic" / kind / f"{circuit}.blif", circuit)
