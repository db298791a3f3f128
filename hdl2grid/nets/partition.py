"""Which drivers share a net, so that four colours suffice on every tile of a circuit.

A sink bears the exclusive or of its nets, and a net that of its drivers. So a sink's drivers may be cut into nets in
any way, as long as no tile, nor two that touch, bears more nets than there are colours. Drivers that all sinks list
together are one *atom*, and normally one net; only where that is too many nets for some tile, atoms are joined, and an
atom is then on several nets (see `hdl2grid.nets.partition_search`).

What touches what: a plain stack's toggles can be kept apart by idle ones, so each has four colours of its own, and so
has its gate. Of a strobed stack the toggle touches the strobe and the gate. It bears three nets at most, and no more
together with the gate: with four the colours of all its nets hang together, and layouts stay a conflict short. (Only
where very long rows are cut by a rule of their own, four are taken.)
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from hdl2grid.base.rng import next_word, seeded
from hdl2grid.circuit.model import Circuit
from hdl2grid.nets.partition_search import State, Table, anneal

MAX_NETS = 4
"""A tile bears at most one net of each of the four colours."""

Drivers = tuple[str, ...]
Blocks = list[tuple[int, ...]]
_STEPS = (200_000, 1_000_000, 4_000_000)
"""Steps of the annealings, one after the other as long as something is crowded. Guessed."""
_STEPS_A_PLACE = 5000
"""More steps for each of the places in rows that may be cut are of no use. Guessed."""
_VERY_LONG = 32
"""Atoms in a row above which rows are also cut by threes. Guessed."""
_HOT, _WARM, _COLD = 3.0, 0.1, 0.08
"""Temperatures, in the prices of `partition_search.py`: first from nothing, first from kept nets, last. Guessed."""
_SEED = 1
"""The same for every circuit, so that the same circuit gets the same nets."""


@dataclass(frozen=True)
class Partition:
    """`nets` are sets of drivers, each ascending. `of` has, for the drivers of each sink, the nets that bear them, as
    numbers. `is_joined` tells whether an atom is on several nets. `crowded` are drivers of sinks that have, or whose
    drivers have, more nets than colours allow; there are none in a circuit that can be laid."""

    nets: tuple[Drivers, ...]
    of: Mapping[Drivers, tuple[int, ...]]
    is_joined: bool
    crowded: tuple[Drivers, ...]


@dataclass(frozen=True)
class CircuitWithNets:
    """A circuit, and the partition of its drivers into nets, where it is known."""

    circuit: Circuit
    shared: Partition | None = None


@dataclass
class _Rows:
    """`most[drivers]` bounds a sink's nets; `joints` are (driver, drivers of a sink that touches it, most of both)."""

    most: dict[Drivers, int] = field(default_factory=dict)
    joints: list[tuple[str, Drivers, int]] = field(default_factory=list)

    def add(self, drivers: Drivers, most: int) -> None:
        if drivers:
            self.most[drivers] = min(most, self.most.get(drivers, most))


def share_nets(
    circuit: Circuit,
    pixel_nets: int = MAX_NETS,
    kept: Sequence[Drivers] = (),
    only_kept: bool = False,
    quick: bool = False,
) -> Partition:
    """A partition of all sinks' drivers; pixels bear at most `pixel_nets` nets. Deterministic.

    Where drivers have to be joined, it is begun with the nets `kept` (of an earlier plan), as far as they fit; and
    with `only_kept` that is all that is tried. `quick` gives up early; what it finds, the full search finds too.
    """
    rows = _rows_of(circuit, pixel_nets)
    tickers = {source.name for source in circuit.sources if source.kind == "ticker"}
    atoms, atom_of = _atoms(rows, tickers)
    problem = _Problem(rows, atoms, atom_of, tickers)
    return problem.partition(kept, only_kept, _STEPS[:1] if quick else _STEPS)


def in_order_of(circuit: Circuit, shared: Partition) -> Partition:
    """The same partition with its nets numbered in the order in which the sinks of `circuit` list them.

    The circuit may be another order of the toggles of that for which the partition was made.
    """
    number: dict[Drivers, int] = {}
    of = {}
    for drivers in _rows_of(circuit, MAX_NETS).most:
        nets = sorted(shared.nets[n] for n in shared.of[drivers])
        of[drivers] = tuple(number.setdefault(net, len(number)) for net in nets)
    return Partition(tuple(number), of, shared.is_joined, shared.crowded)


def _rows_of(circuit: Circuit, pixel_nets: int) -> _Rows:
    rows = _Rows()
    for stack in circuit.stacks:
        for toggle in stack.toggles:
            rows.add(toggle.drivers, MAX_NETS if stack.strobe is None else MAX_NETS - 1)
        if stack.strobe is not None:
            rows.add(stack.strobe, MAX_NETS)
            drivers = stack.toggles[0].drivers
            if drivers:
                rows.joints.append((stack.name, drivers, MAX_NETS - 1 + (stack.name in drivers)))
    for pixel in circuit.pixels:
        rows.add(pixel.drivers, pixel_nets)
    return rows


def _atoms(rows: _Rows, tickers: set[str]) -> tuple[list[Drivers], dict[str, int]]:
    """Drivers that the same sinks list, and the atom of each; a ticker is one alone."""
    readers: dict[str, list[int]] = defaultdict(list)
    for number, drivers in enumerate(rows.most):
        for driver in drivers:
            readers[driver].append(number)
    classes: dict[tuple[str, tuple[int, ...]], list[str]] = defaultdict(list)
    for driver, row in readers.items():
        classes[driver if driver in tickers else "", tuple(row)].append(driver)
    atoms = [tuple(sorted(drivers)) for drivers in classes.values()]
    return atoms, {driver: a for a, drivers in enumerate(atoms) for driver in drivers}


class _Problem:
    """Rows of atoms. Tickers share no net: they are left out, and take a colour each."""

    def __init__(self, rows: _Rows, atoms: list[Drivers], atom_of: dict[str, int], tickers: set[str]) -> None:
        self.atoms = atoms
        self.keys = list(rows.most)
        number = {drivers: r for r, drivers in enumerate(self.keys)}
        lone = {atom_of[t] for t in tickers if t in atom_of}
        members = [sorted({atom_of[d] for d in drivers}) for drivers in self.keys]
        self.lone = [[a for a in row if a in lone] for row in members]
        self.rows = [[a for a in row if a not in lone] for row in members]
        self.most = [rows.most[drivers] - len(self.lone[r]) for r, drivers in enumerate(self.keys)]
        sampled = {number[drivers] for _, drivers, _ in rows.joints}
        self.free = [
            r for r, row in enumerate(self.rows) if len(row) > (self.most[r] if r in sampled else 1)
        ]  # what a register samples stays as it is, so that the register can be read off a net
        self.joints = sorted(
            {
                (atom_of[driver], number[drivers], most - len(self.lone[number[drivers]]))
                for driver, drivers, most in rows.joints
                if driver in atom_of
            }
        )

    def partition(self, kept: Sequence[Drivers], only_kept: bool, efforts: Sequence[int]) -> Partition:
        alone: list[Blocks] = [[(a,) for a in row] for row in self.rows]
        blocks, crowded = alone, self._crowded(alone)
        if crowded and kept:
            start = [self._with_kept(row, kept) for row in self.rows]
            for steps in (0, efforts[0]):
                blocks = self._searched(start, steps, _WARM) if steps else start
                crowded = self._crowded(blocks)
                if not crowded or only_kept:
                    return self._named(blocks, crowded)
        if crowded:
            threes = self._by_threes(alone)
            if threes != alone and not self._crowded(threes, 1):
                return self._named(threes, ())
        useful = _STEPS_A_PLACE * sum(len(self.rows[r]) for r in self.free)
        for steps in [steps for steps in efforts if crowded and (steps == efforts[0] or steps <= useful)]:
            blocks = self._searched(alone, steps, _HOT)
            crowded = self._crowded(blocks)
            if not crowded:
                break
        return self._named(blocks, crowded)

    def _with_kept(self, row: Sequence[int], kept: Sequence[Drivers]) -> Blocks:
        """A row cut into those of the kept nets that lie in it, the largest first, and atoms."""
        names = {d: a for a in row for d in self.atoms[a]}
        left = set(row)
        blocks: Blocks = []
        for net in sorted(kept, key=lambda net: (-len(net), net)):
            block = {names.get(d, -1) for d in net}
            if len(block) > 1 and block <= left and sum(len(self.atoms[a]) for a in block) == len(net):
                blocks.append(tuple(sorted(block)))
                left -= block
        return blocks + [(a,) for a in row if a in left]

    def _by_threes(self, alone: Sequence[Blocks]) -> list[Blocks]:
        """Very long rows in threes, each cut into what it has alone, with either, and with both of the others: four
        nets at most, and no atom is on two of the three rows' nets."""
        blocks = list(alone)
        long = [r for r in self.free if len(self.rows[r]) > _VERY_LONG]
        for first in range(0, len(long), 3):
            three = long[first : first + 3]
            inside = [set(self.rows[r]) for r in three]
            for r in three:
                parts: dict[tuple[bool, ...], list[int]] = defaultdict(list)
                for a in self.rows[r]:
                    parts[tuple(a in row for row in inside)].append(a)
                blocks[r] = [tuple(part) for part in parts.values()]
        return blocks

    def _crowded(self, blocks: Sequence[Blocks], more: int = 0) -> list[int]:
        """The rows with too many blocks, and those of atoms with too many nets; joints may bear `more` than usual."""
        nets: list[set[tuple[int, ...]]] = [set() for _ in self.atoms]
        for row in blocks:
            for block in row:
                for a in block:
                    nets[a].add(block)
        heavy = {a for a, row in enumerate(nets) if len(row) > MAX_NETS}
        heavy |= {a for a, r, most in self.joints if len(nets[a]) + len(blocks[r]) > most + more}
        return [r for r, row in enumerate(blocks) if len(row) > self.most[r] or not heavy.isdisjoint(self.rows[r])]

    def _named(self, blocks: Sequence[Blocks], crowded: Sequence[int]) -> Partition:
        number: dict[Drivers, int] = {}
        of = {}
        for r, drivers in enumerate(self.keys):
            own = [tuple(sorted(d for a in block for d in self.atoms[a])) for block in blocks[r]]
            own += [self.atoms[a] for a in self.lone[r]]
            of[drivers] = tuple(number.setdefault(net, len(number)) for net in sorted(own))
        is_joined = any(len(block) > 1 for row in blocks for block in row)
        return Partition(tuple(number), of, is_joined, tuple(self.keys[r] for r in crowded))

    def _searched(self, start: Sequence[Blocks], steps: int, hot: float) -> list[Blocks]:
        table = self._table()
        longest = max(map(len, self.rows), default=0)
        place = [{a: k for k, block in enumerate(row) for a in block} for row in start]
        label = np.array([place[r][a] for r, row in enumerate(self.rows) for a in row], np.int64)
        state = State(
            label=label,
            words=np.zeros((len(self.rows), longest), np.uint64),
            sizes=np.zeros((len(self.rows), longest), np.int64),
            blocks=np.zeros(len(self.rows), np.int64),
            load=np.zeros(len(self.atoms), np.int64),
        )
        anneal(table, state, seeded(_SEED, steps), steps, hot, _COLD)
        blocks: list[Blocks] = []
        for r, row in enumerate(self.rows):
            found: dict[int, list[int]] = defaultdict(list)
            for a, k in zip(row, label[table.row_start[r] : table.row_start[r + 1]].tolist(), strict=True):
                found[k].append(a)
            blocks.append([tuple(block) for block in found.values()])
        return blocks

    def _table(self) -> Table:
        places_of: list[list[int]] = [[] for _ in self.atoms]
        for p, a in enumerate(a for row in self.rows for a in row):
            places_of[a].append(p)
        joints: list[list[tuple[int, int]]] = [[] for _ in self.atoms]
        near: list[list[int]] = [[] for _ in self.rows]
        for a, r, most in self.joints:
            joints[a].append((r, most))
            near[r].append(a)
        rng = seeded(_SEED)
        row_start, atom_of = _ragged(self.rows)
        joint_start, joint_row = _ragged([[r for r, _ in row] for row in joints])
        place_start, places = _ragged(places_of)
        near_start, near_atom = _ragged(near)
        return Table(
            row_start=row_start,
            atom_of=atom_of,
            row_of=np.repeat(np.arange(len(self.rows)), np.diff(row_start)),
            place_start=place_start,
            places=places,
            row_most=np.array(self.most, np.int64),
            atom_most=np.full(len(self.atoms), MAX_NETS, np.int64),
            joint_start=joint_start,
            joint_row=joint_row,
            joint_most=_ragged([[most for _, most in row] for row in joints])[1],
            near_start=near_start,
            near_atom=near_atom,
            word=np.array([int(next_word(rng)) for _ in self.atoms], np.uint64),
            free=np.array(self.free, np.int64),
        )


def _ragged(rows: Sequence[Sequence[int]]) -> tuple[np.typing.NDArray[np.int64], np.typing.NDArray[np.int64]]:
    start = np.zeros(len(rows) + 1, np.int64)
    start[1:] = np.cumsum([len(row) for row in rows])
    return start, np.array([v for row in rows for v in row], np.int64)
