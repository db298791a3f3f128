"""Our own small random generator: SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014), plain and compiled.

The same seed gives the same numbers on any machine. `SplitMix64` is for plain code. Compiled kernels hold the state as
an array of one 64-bit word, made by `seeded`, that the compiled functions advance; both step from state to state alike.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt
from numba import njit

_MASK = (1 << 64) - 1
"""The bits of a word. The multipliers, shifts and the step below are SplitMix64's own, as published."""


class SplitMix64:
    """The generator for plain code. `state` is all that it remembers."""

    def __init__(self, seed: int) -> None:
        self.state = seed & _MASK

    def word(self) -> int:
        """The next 64 bits."""
        self.state = (self.state + 0x9E3779B97F4A7C15) & _MASK
        z = self.state
        z = ((z ^ (z >> 30)) * 0xBF58476D1CE4E5B9) & _MASK
        z = ((z ^ (z >> 27)) * 0x94D049BB133111EB) & _MASK
        return z ^ (z >> 31)

    def below(self, limit: int) -> int:
        """A number in 0 .. limit - 1, for limits up to 2^32."""
        return ((self.word() >> 32) * limit) >> 32

    def bits(self, count: int) -> int:
        """A number of so many random bits."""
        number = 0
        for place in range(0, count, 64):
            number |= self.word() << place
        return number & ((1 << count) - 1)


def seeded(seed: int, *stream: int) -> npt.NDArray[np.uint64]:
    """A generator state for `seed` and the child stream numbered by `stream`."""
    state = (seed * 0x9E3779B97F4A7C15 + 0x632BE59BD9B4E019) & _MASK
    for number in stream:
        state = ((state ^ (number + 1)) * 0xD1342543DE82EF95 + 0x2545F4914F6CDD1D) & _MASK
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
