"""Synthesis near an old circuit: its stacks are taken over, and only what they cannot say is mapped anew.

The old stacks become cells of the network, over registers and switches of the same names. A sink keeps its old sum
where that is still what it wants in every reachable state. What is left is expressed by old cells and, modulo those,
by the fewest new ones (`near_sums.py`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from hdl2grid.circuit.match import plain_name
from hdl2grid.circuit.model import Circuit, Stack
from hdl2grid.logic.model import Logic
from hdl2grid.synth.codes.old_codes import registers_of
from hdl2grid.synth.exact.blocks import (
    Block,
    MappedBlock,
    StatesOf,
    Truth,
    Truths,
    cluster,
    columns_of,
    map_blocks,
    place_cells,
    task_of,
    truth_of,
)
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.near_sums import NearSums, near_sums
from hdl2grid.synth.network import PRODUCT, Cell, Form, Network
from hdl2grid.synth.sinks import OUTPUT, Problem, Sink

_MOST_WIDTH = 62
"""Signals that an old and a new form may depend on to be compared: a state is one word."""


def strobes_of(circuit: Circuit) -> dict[str, str]:
    """For the plain name of each strobed stack the plain name of what strobes it."""
    return {
        plain_name(s.name): plain_name(s.strobe[0])
        for s in circuit.stacks
        if s.strobe is not None and len(s.strobe) == 1
    }


def stay_near(
    problem: Problem, logic: Logic, old: Circuit, states_of: StatesOf, params: SynthParams
) -> list[tuple[Problem, tuple[MappedBlock, ...]]]:
    """The problem with every sink's form as in the old circuit, as far as it still says what it should; in several
    ways, the cheapest first: which of them moves the fewest tiles, only their layout tells."""
    known = _Old(problem.network, logic, old)
    forms: dict[int, Form] = {}
    for i, sink in enumerate(problem.sinks):
        form = known.form_of(sink)
        kept = None if form is None else _still_right(problem.network, sink.form, form, states_of)
        if kept is not None:
            forms[i] = kept
    rest = [i for i in range(len(problem.sinks)) if i not in forms]
    blocks = [_block("kept from the old plan", problem, sorted(forms))]
    left = replace(problem, sinks=tuple(problem.sinks[i] for i in rest))
    solved = _solve_blocks(left, known, states_of, params)
    new = sorted(rest[i] for part in solved for i in part.block.sinks)
    blocks.append(_block("new beside the old plan", problem, new))
    others = [i for i in rest if i not in new]
    if others:
        left = replace(problem, sinks=tuple(problem.sinks[i] for i in others))
        mapped = map_blocks(left, states_of, params, {}, {})
        assert mapped is not None
        forms |= {i: sink.form for i, sink in zip(others, mapped[0].sinks, strict=True)}
        blocks += [replace(block, sinks=tuple(others[i] for i in block.sinks)) for block in mapped[1]]
    found = []
    for ranks in _choices([len(part.found) for part in solved]):
        own = replace(problem, network=problem.network.copy())
        placed = dict(forms)
        for part, rank in zip(solved, ranks, strict=True):
            placed |= {rest[i]: form for i, form in part.placed(own.network, rank).items()}
        sinks = tuple(replace(sink, form=placed[i]) for i, sink in enumerate(problem.sinks))
        found.append((replace(own, sinks=sinks), tuple(blocks)))
    return found


def _choices(counts: Sequence[int]) -> Iterator[tuple[int, ...]]:
    """Which solution each block takes: of all the first, and then of one of them another."""
    yield (0,) * len(counts)
    for rank in range(1, max(counts, default=0)):
        for i, count in enumerate(counts):
            if rank < count:
                yield tuple(rank if j == i else 0 for j in range(len(counts)))


def _block(name: str, problem: Problem, sinks: Sequence[int]) -> MappedBlock:
    """Sinks of which nothing is known to be the least."""
    used = problem.network.support([problem.sinks[i].form for i in sinks]).bit_count()
    return MappedBlock(
        name=name, sinks=tuple(sinks), variables=used, states=None, task=None, size=None, bound=None, is_least=False
    )


class _Old:
    """The old circuit's stacks as cells of a network, and its sums as forms."""

    def __init__(self, network: Network, logic: Logic, old: Circuit) -> None:
        self.network, self.old = network, old
        self.stacks = {stack.name: stack for stack in old.stacks}
        self.signal: dict[str, int] = {}
        self.partner: dict[str, str] = {}
        self.value = {0: 1}
        self._take_variables(logic)
        self.cells: list[int] = []
        self._take_cells()
        self.sums = {plain_name(s.name): s.toggles[0].drivers for s in old.stacks if s.strobe is not None}
        self.shown = {plain_name(p.signal): p.drivers for p in old.pixels}

    def _take_variables(self, logic: Logic) -> None:
        registers: dict[str, list[tuple[str, ...]]] = {}
        for name, drivers in registers_of(self.old).items():
            registers.setdefault(plain_name(name), []).append(drivers)
        switches = {s.name for s in self.old.sources if s.kind == "switch"}
        for i, register in enumerate(logic.registers):
            waiting = registers.get(plain_name(register.name)) or registers.get(f"{plain_name(register.name)}.register")
            self.value[1 + i] = register.init
            if waiting:
                drivers = waiting.pop(0)
                self.signal[drivers[0]] = 1 + i
                self.partner.update(zip(drivers[1:], drivers, strict=False))
        for i, bit in enumerate(logic.inputs):
            signal = 1 + len(logic.registers) + i
            self.value[signal] = bit.initial
            if bit.name in switches:
                self.signal[bit.name] = signal

    def form(self, drivers: Iterable[str]) -> Form | None:
        """The sum of drivers without its constant; None where one of them is not known, or stands without its reset."""
        listed = set(drivers)
        form = 0
        for name in sorted(listed):
            if name in self.partner:
                if self.partner[name] not in listed:
                    return None
            elif name not in self.signal:
                return None
            else:
                form ^= 1 << self.signal[name]
        resets = {name for name, register in self.partner.items() if register in listed}
        return form if resets <= listed else None

    def _take_cells(self) -> None:
        """Makes the cells, fan-ins first."""
        waiting = [s for s in self.old.stacks if s.strobe is None]
        while True:
            late = [s for s in waiting if not self._take(s)]
            if len(late) == len(waiting):
                return
            waiting = late

    def _take(self, stack: Stack) -> bool:
        factors = []
        for toggle in stack.toggles:
            form = self.form(toggle.drivers)
            if form is None:
                return False
            if not form:
                continue
            level = sum(self.value[s] for s in bits(form)) & 1
            factors.append(form ^ (level ^ toggle.bit))
        if stack.function in ("OR", "NOR"):
            factors = [f ^ 1 for f in factors]
        made = self._made(stack.function, factors)
        if not self.network.is_cell(made):
            return True
        self.signal[stack.name] = made
        self.value[made] = self.network.evaluate([1 << made], self.value, 1)[0]
        self.cells.append(made)
        return True

    def _made(self, function: str, factors: Sequence[Form]) -> int:
        """The signal of a cell with just these factors, or 0."""
        if len(factors) == 1:
            return self.network.collector(factors[0]).bit_length() - 1
        if function in ("XOR", "XNOR"):
            return self.network.exactly_one(factors).bit_length() - 1 if len(factors) > 2 else 0
        if not factors or len(factors) > self.network.max_toggles:
            return 0
        form = self.network.product(factors)
        signal = form.bit_length() - 1
        if form & (form - 1) or not self.network.is_cell(signal):
            return 0
        if len(self.network.cells[signal].factors) == len(factors):
            self.network.cells[signal] = Cell(PRODUCT, tuple(factors))
        return signal

    def form_of(self, sink: Sink) -> Form | None:
        """The old sum at a sink of that name."""
        if sink.kind == OUTPUT:
            return self.form(self.shown[plain_name(sink.name)]) if plain_name(sink.name) in self.shown else None
        drivers = self.sums.get(plain_name(sink.name))
        return None if drivers is None else self.form(drivers)


def _still_right(network: Network, wanted: Form, form: Form, states_of: StatesOf) -> Form | None:
    """The old form with the constant that it needs; None where it is not `wanted` in every reachable state."""
    if not (wanted ^ form) & ~1:
        return wanted
    signals = tuple(bits(network.support([wanted, form])))
    if len(signals) > _MOST_WIDTH:
        return None
    states = states_of(signals, SynthParams.joint_states)
    if states is None:
        return None
    ones = (1 << len(states)) - 1
    a, b = network.evaluate([wanted, form], columns_of(signals, states), ones)
    return form if a == b else form ^ 1 if a == b ^ ones else None


def _solve_blocks(problem: Problem, known: _Old, states_of: StatesOf, params: SynthParams) -> list[_Solved]:
    """Blocks of the small ones among the sinks, over old cells and few new ones."""
    functions: Truths = {}
    truths: list[Truth | None] = [truth_of(problem.network, sink.form, states_of, functions) for sink in problem.sinks]
    blocks, _ = cluster(truths, states_of, params)
    solved = []
    for block in blocks:
        signals = tuple(sorted(block.variables))
        states = states_of(signals, params.block_states)
        if states is None:
            continue
        _, columns, targets = task_of(problem, block, truths, states_of, params)
        mask = sum(1 << s for s in signals)
        given = [c for c in known.cells if not problem.network.support([1 << c]) & ~mask]
        ones = (1 << len(states)) - 1
        table = columns_of(signals, states)
        vectors = problem.network.evaluate([1 << c for c in given], table, ones)
        old = [_kept(known.form_of(problem.sinks[i]), given) for i in block.sinks]
        found = near_sums(len(states), columns, targets, vectors, old)
        if found:
            solved.append(_Solved(block, tuple(given), found))
    return solved


def _kept(form: Form | None, given: Sequence[int]) -> frozenset[int]:
    """The numbers of the given cells that an old form has."""
    return frozenset() if form is None else frozenset(i for i, cell in enumerate(given) if form >> cell & 1)


@dataclass(frozen=True)
class _Solved:
    """A block and its solutions over the old cells `given`, the cheapest first."""

    block: Block
    given: tuple[int, ...]
    found: tuple[NearSums, ...]

    def placed(self, network: Network, rank: int) -> dict[int, Form]:
        """The forms of the block's sinks in one of the solutions, whose new cells are put into the network."""
        found = self.found[rank]
        forms = place_cells(network, self.block, found.new)
        return {
            i: form ^ sum(1 << self.given[g] for g in chosen)
            for i, form, chosen in zip(self.block.sinks, forms, found.given, strict=True)
        }
