"""Colours without clashes on devices: where annealing and routing find no way, SAT does, near the colours there are.

On touching device tiles no two signals may have a net of one colour. That hangs together along a stack and over all
sinks of a signal, so that single changes often lead nowhere; as clauses it is decided at once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType

import numpy as np
from pysat.solvers import Glucose4

from hdl2grid.layout.arrays import COLOURS, Board, Ints, Shape
from hdl2grid.layout.occupancy import grid_tile, neighbour

EMPTY: Mapping[int, int] = MappingProxyType({})
CONFLICTS = 100_000
"""So many conflicts of the solver are tried at most."""


class ClashFree:
    """The clash-free colours of a placed board's variables, what is laid alike keeping one colour: as clauses."""

    def __init__(self, shape: Shape, board: Board) -> None:
        self._solver = Glucose4(bootstrap_with=_clauses(shape, board))

    def __enter__(self) -> ClashFree:
        return self

    def __exit__(self, *_: object) -> None:
        self._solver.delete()

    def nearest(self, board: Board, wanted: Mapping[int, int] = EMPTY, fixed: Iterable[int] = ()) -> Ints | None:
        """Colours of all variables, as on the board where that may be, those of `fixed` at any rate, and those that are
        `wanted` of some. None where there are none, or none were found."""
        chosen = np.concatenate([np.eye(COLOURS, dtype=bool)[board.colour], board.usage > 0]).ravel()
        self._solver.set_phases([bit if is_so else -bit for bit, is_so in enumerate(chosen.tolist(), 1)])
        self._solver.conf_budget(CONFLICTS)
        assumed = [_bit(v, int(board.colour[v])) for v in fixed if v not in wanted]
        if not self._solver.solve_limited([*assumed, *(_bit(v, c) for v, c in wanted.items())]):
            return None
        model = np.array(self._solver.get_model()[: COLOURS * len(board.colour)]) > 0
        return np.array(model.reshape(-1, COLOURS).argmax(axis=1), np.int64)


def _bit(thing: int, colour: int) -> int:
    """A variable, or after all of them a signal, bears this colour."""
    return 1 + COLOURS * thing + colour


def _clauses(shape: Shape, board: Board) -> Iterator[list[int]]:
    count = len(board.colour)
    for v in range(count):
        yield [_bit(v, c) for c in range(COLOURS)]
        lead = int(shape.lead_var[v])
        bound = lead >= 0 and lead != v and not board.loose[shape.lead_sig[shape.signal_of[v]]]
        for c in range(COLOURS):
            yield [-_bit(v, c), _bit(count + int(shape.signal_of[v]), c)]
            yield from ([-_bit(v, c), -_bit(v, other)] for other in range(c))
            if bound:
                yield [-_bit(v, c), _bit(lead, c)]
    for one, other in sorted(_apart(shape, board)):
        yield from ([-_bit(one, c), -_bit(other, c)] for c in range(COLOURS))


def _apart(shape: Shape, board: Board) -> Iterator[tuple[int, int]]:
    """Pairs of variables, and of signals where a tile drives, that may not bear the same colour."""
    count, width, height = len(board.colour), int(board.size[0]), int(board.size[1])

    def borne(tile: int) -> list[tuple[int, int]]:
        """The signals on a tile, and what bears their colours."""
        on = slice(shape.on_start[tile], shape.on_start[tile + 1])
        pairs = zip(shape.on_signal[on].tolist(), shape.on_var[on].tolist(), strict=True)
        return [(signal, var if var >= 0 else count + signal) for signal, var in pairs]

    for tile in range(len(shape.cell_of)):
        here = borne(tile)
        at = grid_tile(tile, shape, board)
        near = [neighbour(at, d, width, height) for d in range(4)]
        others = [int(board.tile_at[to]) for to in near if to >= 0 and board.tile_at[to] > tile]
        for group in (here, *map(borne, others)):
            yield from ((a, b) for s, a in here for o, b in group if s != o and (group is not here or a < b))
