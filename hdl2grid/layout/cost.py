"""What a legal layout costs: one sum for both styles, with the weights of the target file."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from hdl2grid.base.target import Weights
from hdl2grid.layout.arrays import COLOURS, Board, Shape


def cost_of(shape: Shape, board: Board, weights: Weights) -> float:
    """Strokes, bends, tiles of wire, crossovers, tiles of the grid, and strokes of repeated blocks that are not laid
    as in the first copy, each times its weight. Strokes are straight runs of a net's wire."""
    return float(
        weights.stroke * board.strokes.sum()
        + weights.bend * board.bends.sum()
        + weights.wire * board.length.sum()
        + weights.crossover * (board.crossings > 0).sum()
        + weights.area * board.size[0] * board.size[1]
        + weights.repeat * stray_strokes(shape, board)
    )


def repeated(shape: Shape) -> npt.NDArray[np.bool_]:
    """For each signal whether it is in a block."""
    has_twins: npt.NDArray[np.bool_] = np.diff(shape.sig_twin_start)[shape.lead_sig] > 0
    return has_twins


def stray_strokes(shape: Shape, board: Board) -> int:
    """Strokes of nets of repeated signals that are not laid alike."""
    nets = np.repeat(repeated(shape), COLOURS)
    return int(board.strokes[nets & (board.joint == 0)].sum())


def are_alike(shape: Shape, board: Board) -> bool:
    """Whether the cells of every copy stand as those of the first, and their toggles and pins, too."""
    for a in range(len(shape.w)):
        followers = shape.unit_cells[shape.unit_start[a] : shape.unit_start[a + 1]]
        for copy, b in enumerate(followers):
            step = int(board.x[b] - board.x[a]), int(board.y[b] - board.y[a])
            first = int(np.flatnonzero(shape.group == shape.group[a])[0])
            first = int(shape.lead_cell[first])
            other = shape.unit_cells[shape.unit_start[first] + copy]
            if step != (int(board.x[other] - board.x[first]), int(board.y[other] - board.y[first])):
                return False
    leads = np.repeat(np.arange(len(shape.cell_of)), np.diff(shape.twin_start))
    twins = shape.twin_tiles
    return bool((board.dx[leads] == board.dx[twins]).all() and (board.dy[leads] == board.dy[twins]).all())
