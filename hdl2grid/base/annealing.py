"""What all simulated annealing shares: how it cools, and which changes for the worse it accepts.

Annealing is that of S. Kirkpatrick, C. D. Gelatt and M. P. Vecchi (Science 220, 1983), the rule of acceptance that of
N. Metropolis et al. (J. Chemical Physics 21, 1953).
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.base.rng import unit


@njit(cache=True)
def cooling(hot: float, cold: float, moves: int) -> float:
    """Geometric cooling: the factor for each move by which a temperature falls from `hot` to `cold` in so many."""
    return float((cold / hot) ** (1.0 / max(1, moves)))


class Linear(NamedTuple):
    """Linear cooling: the temperature, in units of the cost, falls from `hot + cold` to `cold`."""

    hot: float
    cold: float


@njit(cache=True, inline="always")
def heat_at(linear: Linear, step: int, steps: int) -> float:
    """The temperature at one of `steps` steps of linear cooling."""
    return linear.hot * (1.0 - step / steps) + linear.cold


@njit(cache=True)
def accepts(rng: Any, delta: float, heat: float) -> bool:
    """Whether a change that costs `delta` more stays at temperature `heat`. A number is drawn where the cost rises."""
    return bool(delta <= 0.0 or unit(rng) < np.exp(-delta / heat))


@njit(cache=True, inline="always")
def most_accepted(old: Any, heat: float, rng: Any) -> float:
    """The highest cost that stays, drawn before the new cost is known: the same rule as `accepts`."""
    return float(old - heat * np.log(unit(rng) + 1e-12))
