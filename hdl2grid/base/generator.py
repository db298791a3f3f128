"""Our own small random generator: SplitMix64 (G. L. Steele, D. Lea, C. H. Flood, OOPSLA 2014)."""

from __future__ import annotations

_MASK = (1 << 64) - 1


class SplitMix64:
    """The same seed gives the same numbers on any machine. `state` is all that it remembers."""

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
