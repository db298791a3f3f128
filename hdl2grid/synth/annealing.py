"""The schedule of all annealing in synthesis (S. Kirkpatrick, C. D. Gelatt, M. P. Vecchi, Science 220, 1983)."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numba import njit

from hdl2grid.base.rng import unit


class Cooling(NamedTuple):
    """The heat, in units of the cost, falls linearly from `hot + cold` to `cold`."""

    hot: float
    cold: float


@njit(cache=True, inline="always")
def heat_at(cooling: Cooling, step: int, steps: int) -> float:
    """The heat at one of `steps` steps."""
    return cooling.hot * (1.0 - step / steps) + cooling.cold


@njit(cache=True, inline="always")
def is_accepted(old: Any, new: Any, heat: float, random: Any) -> bool:
    """Whether a change of cost is taken (N. Metropolis et al., J. Chemical Physics 21, 1953). Draws a number only where
    the cost rises."""
    return bool(new <= old or unit(random) < np.exp((old - new) / heat))


@njit(cache=True, inline="always")
def most_accepted(old: Any, heat: float, random: Any) -> float:
    """The highest cost that is taken, drawn before the new cost is known: the same rule as `is_accepted`."""
    return float(old - heat * np.log(unit(random) + 1e-12))
