"""As many cells, shorter sums: other cells that span the same space.

The cells of a group of sinks, as vectors over the group's states and modulo affine functions, span a space V. Any cells
of V that span it do as well, and there are far more of them than are used: products of affine functions, and stacks
that say 'exactly one'. Annealing (`exact/basis_choice.py`) picks those of which the sinks are short sums.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import networkx as nx
import numpy as np

from hdl2grid.nets.partition import MAX_NETS
from hdl2grid.synth.exact.basis_choice import Pool, Prices, cheapest_basis
from hdl2grid.synth.exact.blocks import StatesOf, vector_of
from hdl2grid.synth.exact.exactly_one import SIZES, exactly_ones_within
from hdl2grid.synth.exact.local_cells import Target
from hdl2grid.synth.exact.one_level import lightest_masks
from hdl2grid.synth.gf2 import Basis, Coordinates, bits
from hdl2grid.synth.network import COLLECTOR, EXACTLY_ONE, PRODUCT, Form, Network
from hdl2grid.synth.rewrite.sink_groups import SinkGroup
from hdl2grid.synth.rewrite.trials import Context, Trial
from hdl2grid.synth.sinks import OUTPUT, REGISTER, Problem

_MOST_VARIABLES = 7
"""Variables of a group (guessed)."""
_MOST_POINTS = 128
"""States of its variables (guessed)."""
_MOST_ONES_POINTS = 64
"""States up to which 'exactly one' is looked for: vectors are words of 64 bits."""
_MOST_RANK = 48
"""Cells of a group (guessed)."""
_MOST_POOL = 6000
"""Candidates that annealing chooses from (guessed)."""
_STEPS_A_PAIR = 4000
"""Steps of annealing for each pair of a cell and a sink (guessed)."""
_PRICES = Prices(excess=3)
"""A term above a sink's limit costs less than usual: drivers may yet be joined for it (guessed)."""


def with_shorter_sums(problem: Problem, group: SinkGroup, context: Context) -> list[Trial]:
    """The problem with other cells, of which the sinks are shorter sums."""
    return [lambda best: shorter_sums(best, context.long, context.states_of, context.params.seed)]


def shorter_sums(problem: Problem, long: Collection[Form], states_of: StatesOf, seed: int) -> Problem:
    """`problem` with other cells, as many or fewer, of which the sinks are shorter sums, wherever cells are shared with
    a sink whose form is one of `long`; every sink stays the same function in all states of its variables."""
    sinks = list(problem.sinks)
    for group, cells in _groups(problem):
        if not any(problem.sinks[i].form in long for i in group):
            continue
        forms = _remade(problem, group, cells, states_of, seed)
        for i, form in zip(group, forms, strict=True):
            sinks[i] = replace(sinks[i], form=form)
    return replace(problem, sinks=tuple(sinks))


def _groups(problem: Problem) -> Iterator[tuple[list[int], list[int]]]:
    """Sinks that share cells of one level which no other cell reads; and those cells."""
    network = problem.network
    read = 0
    for cell in network.cone([s.form for s in problem.sinks]):
        for factor in network.cells[cell].factors:
            read |= factor
    graph: nx.Graph = nx.Graph()
    variables = (1 << network.num_variables + 1) - 1
    for i, sink in enumerate(problem.sinks):
        for signal in bits(sink.form & ~variables & ~read):
            made = network.cells[signal]
            if made.kind != COLLECTOR and not any(f & ~variables for f in made.factors):
                graph.add_edge(-1 - i, signal)
    for part in sorted(map(sorted, nx.connected_components(graph))):
        yield [-1 - node for node in reversed(part) if node < 0], [node for node in part if node > 0]


def _remade(problem: Problem, group: Sequence[int], cells: Sequence[int], states_of: StatesOf, seed: int) -> list[Form]:
    """The forms of the group's sinks over other cells, or as they are where none better were found."""
    network, sinks = problem.network, [problem.sinks[i] for i in group]
    forms = [sink.form for sink in sinks]
    signals = bits(network.support([1 << c for c in cells]))
    states = states_of(tuple(signals), _MOST_POINTS) if len(signals) <= _MOST_VARIABLES else None
    if states is None:
        return forms
    columns = [vector_of(states >> np.uint64(i) & np.uint64(1)) for i in range(len(signals))]
    functions = _Functions(len(states), columns)
    values = dict(zip(signals, columns, strict=True))
    known = network.evaluate([1 << c for c in cells], values, functions.ones)
    space = Basis(map(functions.affine.reduce, known))
    if not 1 < len(space) <= _MOST_RANK:
        return forms
    own = sum(1 << s for s in (0, *signals, *cells))
    place = {signal: i for i, signal in enumerate(signals)}
    targets = []
    for sink in sinks:
        vector = network.evaluate([sink.form & own], values | dict(zip(cells, known, strict=True)), functions.ones)[0]
        limit = MAX_NETS if sink.kind == OUTPUT else MAX_NETS - 1
        by = place.get(sink.own.bit_length() - 1) if sink.kind == REGISTER else None
        targets.append(Target(vector, by, max(1, limit - (sink.form & ~own & ~sink.own).bit_count())))
    pool = _candidates(functions, space, targets)
    if len(pool) < len(space):
        return forms
    vectors = list(pool)
    steps = _STEPS_A_PAIR * len(space) * len(targets)
    priced = Pool(functions.affine, space, vectors, [pool[v].price for v in vectors])
    best = cheapest_basis(priced, targets, functions.lightest, _PRICES, steps, seed)
    if best is None:
        return forms
    chosen = [vectors[i] for i in best[1]]
    made = [pool[v].placed(network, signals) for v in chosen]
    return [
        sink.form & ~own ^ form
        for sink, form in zip(sinks, functions.sums([t.vector for t in targets], chosen, made, signals), strict=True)
    ]


@dataclass(frozen=True)
class _Candidate:
    """A cell; its factors are masks: bit 0 the constant 1, bit i + 1 variable i."""

    kind: str
    factors: tuple[int, ...]

    @property
    def price(self) -> int:
        return len(self.factors) // 4

    def placed(self, network: Network, signals: Sequence[int]) -> Form:
        return network.make(self.kind, [_over(mask, signals) for mask in self.factors])


def _over(mask: int, signals: Sequence[int]) -> Form:
    return (mask & 1) | sum(1 << signals[i] for i in bits(mask >> 1))


class _Functions:
    """Functions of a few variables as vectors over their states: the affine ones, each with its lightest mask."""

    def __init__(self, num_states: int, columns: Sequence[int]) -> None:
        self.num_states, self.ones = num_states, (1 << num_states) - 1
        self.affine = Basis([self.ones, *columns])
        self.lightest = lightest_masks(self.ones, columns)

    def sums(
        self, wanted: Sequence[int], cells: Sequence[int], forms: Sequence[Form], signals: Sequence[int]
    ) -> list[Form]:
        """Each wanted vector as a form over the cells (vectors) and their forms."""
        space = Coordinates(map(self.affine.reduce, cells))
        found = []
        for vector in wanted:
            form = 0
            for i in bits(space.of(self.affine.reduce(vector))[0]):
                vector ^= cells[i]
                form ^= forms[i]
            found.append(form ^ _over(self.lightest[vector], signals))
        return found


def _candidates(functions: _Functions, space: Basis, targets: Sequence[Target]) -> dict[int, _Candidate]:
    """Cells in `space` by vector, those of few toggles; one for each function up to affine ones."""
    classes: dict[int, tuple[int, _Candidate]] = {}
    planes = [(v, m) for v, m in functions.lightest.items() if v not in (0, functions.ones)]
    for vector, factors in _flats(functions, space, planes):
        classes.setdefault(functions.affine.reduce(vector), (vector, _Candidate(PRODUCT, factors)))
    if functions.num_states <= _MOST_ONES_POINTS:
        whole = Basis([*functions.affine.sorted_rows(), *space.sorted_rows()])
        listed = np.array([v for v, _ in planes], dtype=np.uint64)
        for size in SIZES:
            found = exactly_ones_within(functions.num_states, listed, whole, functions.affine, size)
            for vector, chosen in found.items():
                cell = _Candidate(EXACTLY_ONE, tuple(planes[i][1] for i in chosen))
                classes.setdefault(functions.affine.reduce(vector), (vector, cell))
    wanted = {functions.affine.reduce(t.vector) for t in targets}
    ranked = sorted(classes.items(), key=lambda item: (item[0] not in wanted, len(item[1][1].factors)))
    return dict(found for _, found in ranked[:_MOST_POOL])


def _flats(
    functions: _Functions, space: Basis, planes: Sequence[tuple[int, int]]
) -> Iterator[tuple[int, tuple[int, ...]]]:
    """Products of two or more affine functions that lie in `space` modulo those, with their factors, fewest first.

    Sets of linear functions are gone through in reduced echelon form, so that each flat is met once.
    """
    width = (functions.num_states + 63) // 64
    linear = np.array([_split(vector, width) for vector, _ in planes], dtype=np.uint64)
    masks = [mask for _, mask in planes]
    pivots = np.array([(mask >> 1).bit_length() for mask in masks])
    values = np.array([mask >> 1 for mask in masks])
    vectors = np.full((1, width), ~np.uint64(0))
    used = np.zeros(1, dtype=np.int64)
    lowest = np.full(1, 63, dtype=np.int64)
    rows = np.zeros((1, 0), dtype=np.int64)
    while len(vectors):
        grown: list[tuple[Any, ...]] = []
        for p in range(len(planes)):
            fits = np.flatnonzero((lowest > pivots[p]) & (used >> (pivots[p] - 1) & 1 == 0))
            made = vectors[fits] & linear[p]
            fits, made = fits[made.any(axis=1)], made[made.any(axis=1)]
            chosen = np.concatenate((rows[fits], np.full((len(fits), 1), p)), axis=1)
            grown.append((made, used[fits] | values[p], np.full(len(fits), pivots[p]), chosen))
        vectors, used, lowest, rows = (np.concatenate(parts) for parts in zip(*grown, strict=True))
        if rows.shape[1] < 2:
            continue
        for i in np.flatnonzero(_lies_in(vectors, functions.affine, space)):
            vector = sum(int(word) << 64 * k for k, word in enumerate(vectors[i]))
            yield vector, tuple(masks[p] for p in rows[i])


def _split(vector: int, width: int) -> list[int]:
    return [vector >> 64 * k & (1 << 64) - 1 for k in range(width)]


def _lies_in(vectors: Any, affine: Basis, space: Basis) -> Any:
    """Whether each vector (a row of words) is in `space` modulo `affine`, but not affine."""
    left = vectors.copy()
    inside = None
    for basis in (affine, space):
        for pivot, row in basis.rows.items():
            has = left[:, pivot // 64] >> np.uint64(pivot % 64) & np.uint64(1)
            left ^= has[:, None] * np.array(_split(row, left.shape[1]), dtype=np.uint64)
        is_zero = ~left.any(axis=1)
        inside = is_zero if inside is None else is_zero & ~inside
    return inside
