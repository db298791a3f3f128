"""What all annealing in layout shares: how it cools, and which changes for the worse it accepts.

Geometric cooling (S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, Science 220, 1983), and the rule of N. Metropolis et al.
(J. Chem. Phys. 21, 1953).
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numba import njit

from hdl2grid.base.rng import unit


@njit(cache=True)
def cooling(hot: float, cold: float, moves: int) -> float:
    """The factor for each move by which a temperature falls from `hot` to `cold` in so many moves."""
    return float((cold / hot) ** (1.0 / max(1, moves)))


@njit(cache=True)
def accepts(rng: Any, delta: float, heat: float) -> bool:
    """Whether a change that costs `delta` more stays, at temperature `heat`."""
    return bool(delta <= 0.0 or unit(rng) < np.exp(-delta / heat))
