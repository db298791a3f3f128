"""Which sinks are mapped together, and how: small groups exactly in one level, the rest over the graph as it is."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hdl2grid.logic.reachability import States
from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.one_level import OneLevel, lower_bound, one_level
from hdl2grid.synth.exact.wide_sinks import cut, join, mixed_cells
from hdl2grid.synth.gating import word_of
from hdl2grid.synth.gf2 import Basis, bits
from hdl2grid.synth.model import SynthParams
from hdl2grid.synth.network import Form, Network
from hdl2grid.synth.sinks import OUTPUT, PART, REGISTER, Problem, Sink

StatesOf = Callable[[tuple[int, ...], int], States | None]
Task = tuple[int, tuple[int, ...], tuple[Target, ...]]
Solved = dict[tuple[Task, int, int], OneLevel | None]

_SMALL_SUPPORT = 14
"""Variables of a sink whose function is tabulated. Guessed."""
_SMALL_TABLE = 1 << 12
"""States of a table. Guessed."""
_MOST_JOINT = 24
"""Variables of all sinks together, for the bound of what is left beside the blocks. Guessed."""


@dataclass(frozen=True)
class MappedBlock:
    """Sinks (positions in the problem) that were mapped together. `size`: the cells that their solution needs, None
    where they stay as they were. `has_parts`: parts of other sinks are mapped with them. `bound`: dim W - dim A of the
    block; for what is left over, `whole_bound` is that of all sinks together. `is_least`: no fewer cells will do."""

    name: str
    sinks: tuple[int, ...]
    variables: int
    states: int | None
    task: Task | None
    size: int | None
    bound: int | None
    is_least: bool
    has_parts: bool = False
    whole_bound: int | None = None


@dataclass
class Block:
    sinks: list[int]
    variables: frozenset[int]


def map_blocks(
    whole: Problem,
    states_of: StatesOf,
    params: SynthParams,
    solved: Solved,
    known: Truths,
    budget: int | None = None,
    cut_wide: bool = False,
) -> tuple[Problem, tuple[MappedBlock, ...]] | None:
    """The problem with every small block replaced by its one-level solution where that takes fewer stacks.

    `states_of(signals, limit)` gives the states of variables; `solved` and `known` keep solutions and functions
    between calls. None when the blocks' bounds and the large sinks' cells already add up to `budget` stacks.
    `cut_wide`: sinks that read several machines are cut into parts (see `wide_sinks.py`).
    """
    pieces = cut(whole) if cut_wide else None
    problem = whole if pieces is None else pieces.problem
    network = problem.network
    forms = [sink.form for sink in problem.sinks]
    truths = [truth_of(network, sink.form, states_of, known) for sink in problem.sinks]
    for i in () if pieces is None else pieces.wide:
        truths[i] = None
    blocks, large = cluster(truths, states_of, params)
    tasks = [task_of(problem, block, truths, states_of, params) for block in blocks]
    cells = network.cone([forms[i] for i in large])
    if pieces is not None:
        cells = mixed_cells(network, [forms[i] for i in large], pieces.components)
    rest = len(cells)
    if budget is not None and rest + sum(lower_bound(*task) for task in tasks) >= budget:
        return None
    made: list[MappedBlock] = []
    for block, task in zip(blocks, tasks, strict=True):
        plain = len(network.cone([forms[i] for i in block.sinks]))
        key = task, plain, params.search_steps
        if key not in solved:
            solved[key] = one_level(*task, plain, params.search_steps, params.seed)
        solution = solved[key]
        if solution is not None:
            for i, form in zip(block.sinks, place_cells(network, block, solution), strict=True):
                forms[i] = form
        sinks = [problem.sinks[i] for i in block.sinks]
        size = plain if solution is None else solution.size
        inside = tuple(i for i in block.sinks if i < len(whole.sinks))
        bound = lower_bound(*task)
        made.append(
            MappedBlock(
                name=block_name(sinks),
                sinks=inside,
                variables=len(block.variables),
                states=task[0],
                task=task,
                size=size,
                bound=bound,
                is_least=size == bound,
                has_parts=len(inside) < len(sinks),
            )
        )
    if large:
        used = network.support([forms[i] for i in large]).bit_count()
        made.append(_rest(whole, states_of, large, used, rest + sum(block.size or 0 for block in made)))
    if pieces is not None:
        forms = join(pieces, forms)
    mapped = tuple(replace(s, form=f) for s, f in zip(whole.sinks, forms, strict=True))
    return replace(whole, sinks=mapped), tuple(made)


Truths = dict[tuple[int, ...], tuple[dict[int, int], dict[int, "Truth"]]]
"""By variables: their columns, and the functions by vector."""


@dataclass(frozen=True)
class Truth:
    """A function over the reachable states of the variables that it depends on: `values[i]` at `codes[i]`."""

    variables: tuple[int, ...]
    codes: States
    values: States

    def over(self, variables: tuple[int, ...], states: States) -> int:
        """The function as a vector over states of more variables: bit i is state i."""
        codes = np.zeros(len(states), dtype=np.uint64)
        for i, v in enumerate(self.variables):
            codes |= (states >> np.uint64(variables.index(v)) & np.uint64(1)) << np.uint64(i)
        return vector_of(self.values[np.searchsorted(self.codes, codes)])


def vector_of(column: States) -> int:
    packed = np.packbits(column.astype(np.uint8), bitorder="little")
    return int.from_bytes(packed.tobytes(), "little")


def columns_of(signals: Sequence[int], states: States) -> dict[int, int]:
    """The values of each signal over states, of which it is the bit of its place: bit i is state i."""
    return {s: vector_of(states >> np.uint64(i) & np.uint64(1)) for i, s in enumerate(signals)}


def truth_of(network: Network, form: Form, states_of: StatesOf, known: Truths) -> Truth | None:
    """The function of `form`; None where its variables have too many states. Unneeded variables are dropped. `known`
    keeps functions between calls."""
    signals = tuple(bits(network.support([form])))
    if len(signals) > _SMALL_SUPPORT:
        return None
    states = states_of(signals, _SMALL_TABLE)
    if states is None:
        return None
    if signals not in known:
        known[signals] = columns_of(signals, states), {}
    columns, functions = known[signals]
    value = network.evaluate([form], columns, (1 << len(states)) - 1)[0]
    if value not in functions:
        functions[value] = _function(signals, states, value)
    return functions[value]


def _function(signals: tuple[int, ...], states: States, value: int) -> Truth:
    """The function whose vector over the signals' states is `value`."""
    wanted = np.array([value >> i & 1 for i in range(len(states))], dtype=np.uint64)
    kept = list(range(len(signals)))
    for position in reversed(range(len(signals))):
        others = [p for p in kept if p != position]
        if _is_function_of(_project(states, others), len(others), wanted):
            kept = others
    codes, first = np.unique(_project(states, kept), return_index=True)
    return Truth(tuple(signals[p] for p in kept), codes, wanted[first])


def _is_function_of(codes: States, width: int, values: States) -> bool:
    """Whether equal codes (of `width` bits) have equal values."""
    met = np.zeros((2, 1 << width), dtype=bool)
    met[values.astype(np.intp), codes.astype(np.intp)] = True
    return not bool(np.any(met[0] & met[1]))


def _project(states: States, positions: list[int]) -> States:
    codes = np.zeros(len(states), dtype=np.uint64)
    for i, position in enumerate(positions):
        codes |= (states >> np.uint64(position) & np.uint64(1)) << np.uint64(i)
    return codes


def cluster(truths: list[Truth | None], states_of: StatesOf, params: SynthParams) -> tuple[list[Block], list[int]]:
    """Small functions in groups whose joint states still fit, larger supports first; and the large ones."""

    def fits(variables: frozenset[int]) -> bool:
        if len(variables) > params.block_variables:
            return False
        return states_of(tuple(sorted(variables)), params.block_states) is not None

    supports = [None if t is None else frozenset(t.variables) for t in truths]
    blocks: list[Block] = []
    large = []
    for i in sorted(range(len(truths)), key=lambda i: (-len(supports[i] or ()), i)):
        support = supports[i]
        if support is None or not fits(support):
            large.append(i)
            continue
        home = next((b for b in blocks if support <= b.variables), None)
        if home is None:
            near = [b for b in blocks if 2 * len(support & b.variables) >= len(support)]
            home = next((b for b in near if fits(support | b.variables)), None)
        if home is None:
            blocks.append(Block([i], support))
        else:
            home.sinks.append(i)
            home.variables |= support
    for block in blocks:
        block.sinks.sort()
    return blocks, sorted(large)


def _limit(sink: Sink, params: SynthParams) -> int:
    if sink.kind == PART:
        return params.part_terms
    return params.pixel_terms if sink.kind == OUTPUT else params.register_terms


def task_of(
    problem: Problem, block: Block, truths: list[Truth | None], states_of: StatesOf, params: SynthParams
) -> Task:
    """The block as vectors: number of states, variables, targets."""
    signals = tuple(sorted(block.variables))
    states = states_of(signals, params.block_states)
    assert states is not None
    sinks = [problem.sinks[i] for i in block.sinks]
    functions = [t for i in block.sinks if (t := truths[i]) is not None]
    vectors = [t.over(signals, states) for t in functions]
    columns = columns_of(signals, states).values()
    place = {signal: i for i, signal in enumerate(signals)}
    targets = tuple(
        Target(
            vector,
            place.get(sink.own.bit_length() - 1) if sink.kind == REGISTER else None,
            _limit(sink, params),
        )
        for sink, vector in zip(sinks, vectors, strict=True)
    )
    return len(states), tuple(columns), targets


def place_cells(network: Network, block: Block, solution: OneLevel) -> list[Form]:
    """The solution's cells put into the network; its forms over the network's signals."""
    signals = {0: 1} | {i + 1: 1 << s for i, s in enumerate(sorted(block.variables))}

    def translate(mask: int) -> Form:
        form = 0
        for i in bits(mask):
            form ^= signals[i]
        return form

    for number, cell in enumerate(solution.cells):
        factors = [translate(f) for f in cell.factors]
        made = network.make(cell.kind, factors)
        signals[1 + len(block.variables) + number] = made
    return [translate(form) for form in solution.forms]


def _rest(whole: Problem, states_of: StatesOf, large: Sequence[int], used: int, total: int) -> MappedBlock:
    """What is left beside the other blocks: its bound is that of all sinks together, less the others' stacks.
    `total`: cells in all."""
    forms = [s.form for s in whole.sinks]
    inside = tuple(i for i in large if i < len(forms))
    signals = bits(whole.network.support(forms))
    states = states_of(tuple(signals), _SMALL_TABLE) if len(signals) <= _MOST_JOINT else None
    if states is None:
        return MappedBlock(
            name="rest", sinks=inside, variables=used, states=None, task=None, size=None, bound=None, is_least=False
        )
    columns = columns_of(signals, states)
    ones = (1 << len(states)) - 1
    affine = Basis([ones, *columns.values()])
    wanted = Basis(affine.reduce(v) for v in whole.network.evaluate(forms, columns, ones))
    return MappedBlock(
        name="rest",
        sinks=inside,
        variables=used,
        states=len(states),
        task=None,
        size=None,
        bound=None,
        is_least=total <= len(wanted),
        has_parts=False,
        whole_bound=len(wanted),
    )


def block_name(sinks: list[Sink]) -> str:
    """The words of the block's registers, else of its outputs, joined by '+'."""
    for kind in (REGISTER, OUTPUT):
        words = list(dict.fromkeys(word_of(s.name) for s in sinks if s.kind == kind))
        if words:
            return "+".join(words)
    return sinks[0].name
