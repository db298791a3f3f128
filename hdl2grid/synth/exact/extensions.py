"""The spaces that candidates span: the smallest extensions of the wanted space W.

A set of cells that is as small as the bound lies in W altogether; a set of one more lies in W + <f> for one
vector f outside W; and so on. Sorting the candidates by their residues modulo W turns the search for f into a
look at each residue.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from hdl2grid.synth.exact.word_vectors import Words, group_ranks, rank, residues, spanning_pairs, words
from hdl2grid.synth.gf2 import Basis

_MOST = 8
"""Extensions that are handed back. Guessed."""
_PAIR_WORK = 300_000
"""Pairs of residues tried. Guessed."""


@dataclass(frozen=True)
class Extension:
    """`quotient`: the space modulo the affine functions; `members`: the candidates that lie in it and span it."""

    quotient: Basis
    members: Words


def smallest_extensions(affine: Basis, quotient: Basis, candidates: Words) -> list[Extension]:
    """Extensions of `quotient` that candidates span, of least dimension up to two more, then of any; at most
    `_MOST` of them, none if the candidates do not span `quotient`."""
    nonlinear = residues(candidates, affine)
    candidates, nonlinear = candidates[nonlinear != 0], nonlinear[nonlinear != 0]
    outside = residues(nonlinear, quotient)
    inside = candidates[outside == 0]
    core = nonlinear[outside == 0]
    missing = len(quotient) - rank(words([]), core)
    if missing == 0:
        return [Extension(quotient, inside)]
    order = np.argsort(outside, kind="stable")
    order = order[int(np.sum(outside == 0)) :]
    candidates, nonlinear = candidates[order], nonlinear[order]
    values, starts = np.unique(outside[order], return_index=True)
    starts = np.append(starts, len(order))
    ranks = group_ranks(core, nonlinear, starts, missing + 1)
    good = np.flatnonzero(ranks == missing + 1)
    if len(good):
        sizes = starts[good + 1] - starts[good]
        chosen = good[np.lexsort((values[good], -sizes))][:_MOST]
        return [_extended(quotient, inside, candidates, starts, values, [g]) for g in chosen]
    by_size = np.lexsort((values, starts[:-1] - starts[1:]))
    pairs = spanning_pairs(core, nonlinear, values, starts, by_size, missing + 2, _MOST, _PAIR_WORK)
    if len(pairs):
        return [_extended(quotient, inside, candidates, starts, values, list(p)) for p in pairs]
    grown = _grow(affine, quotient, np.concatenate((inside, candidates)))
    return [] if grown is None else [grown]


def _extended(
    quotient: Basis, inside: Words, candidates: Words, starts: Any, values: Words, groups: list[int]
) -> Extension:
    extra = [int(values[g]) for g in groups]
    wanted = [*extra, extra[0] ^ extra[1]] if len(extra) == 2 else extra
    parts = [inside]
    for value in wanted:
        g = int(np.searchsorted(values, np.uint64(value)))
        if g < len(values) and int(values[g]) == value:
            parts.append(candidates[starts[g] : starts[g + 1]])
    return Extension(Basis([*quotient.sorted_rows(), *extra]), np.concatenate(parts))


def _grow(affine: Basis, quotient: Basis, candidates: Words) -> Extension | None:
    """Widen W by one candidate after the other, the one that lets most others in, until candidates span it."""
    grown = Basis(quotient.sorted_rows())
    nonlinear = residues(candidates, affine)
    while True:
        outside = residues(nonlinear, grown)
        inside = outside == 0
        core = nonlinear[inside]
        missing = len(grown) - rank(words([]), core)
        if missing == 0:
            return Extension(grown, candidates[inside])
        order = np.argsort(outside, kind="stable")[int(inside.sum()) :]
        values, starts = np.unique(outside[order], return_index=True)
        if not len(values):
            return None
        ranks = group_ranks(core, nonlinear[order], np.append(starts, len(order)), missing + 1)
        grown.add(int(values[np.argmax(ranks)]))
