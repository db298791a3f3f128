"""A small random generator for compiled kernels: SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014).

The state is an array of one 64-bit word that the functions advance. The same seed gives the same numbers on any
machine.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit


def seeded(seed: int, *stream: int) -> npt.NDArray[np.uint64]:
    """A generator state for `seed` and the child stream numbered by `stream`."""
    state = (seed * 0x9E3779B97F4A7C15 + 0x632BE59BD9B4E019) & 0xFFFFFFFFFFFFFFFF
    for number in stream:
        state = ((state ^ (number + 1)) * 0xD1342543DE82EF95 + 0x2545F4914F6CDD1D) & 0xFFFFFFFFFFFFFFFF
        state ^= state >> 29
    return np.array([state], dtype=np.uint64)


@njit(cache=True, inline="always")
def next_word(state: Any) -> Any:
    state[0] = state[0] + np.uint64(0x9E3779B97F4A7C15)
    z = state[0]
    z = (z ^ (z >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    z = (z ^ (z >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return z ^ (z >> np.uint64(31))


@njit(cache=True, inline="always")
def below(state: Any, limit: int) -> Any:
    """A number in 0 .. limit - 1."""
    return np.int64((next_word(state) >> np.uint64(33)) % np.uint64(limit))


@njit(cache=True, inline="always")
def unit(state: Any) -> float:
    """A number in [0, 1)."""
    return float(next_word(state) >> np.uint64(11)) * (1.0 / 9007199254740992.0)
