"""Random numbers of tests and benchmarks: the same for the same seed, whatever Python runs them.

Python keeps `Random.random` and `getrandbits` as they are from version to version, but not how `choice`, `sample` and
their like use them. Here they are drawn as Python 3.11 draws them, so that machines made at random, and the figures
that docs/ tell of them, stay the same.
"""

from __future__ import annotations

import random
from bisect import bisect
from collections.abc import Sequence
from itertools import accumulate
from math import ceil, log
from typing import TypeVar

T = TypeVar("T")


class Dice:
    """Numbers from a Mersenne Twister (M. Matsumoto, T. Nishimura, ACM TOMACS 8, 1998)."""

    def __init__(self, seed: int | str) -> None:
        source = random.Random(seed)
        self.getrandbits, self.random = source.getrandbits, source.random

    def below(self, limit: int) -> int:
        """A number in 0 .. limit - 1: bits are drawn until they are one."""
        number = self.getrandbits(limit.bit_length())
        while number >= limit:
            number = self.getrandbits(limit.bit_length())
        return number

    def randrange(self, start: int, stop: int | None = None) -> int:
        return self.below(start) if stop is None else start + self.below(stop - start)

    def randint(self, least: int, most: int) -> int:
        return least + self.below(most - least + 1)

    def choice(self, items: Sequence[T]) -> T:
        return items[self.below(len(items))]

    def choices(self, items: Sequence[T], weights: Sequence[int], *, k: int) -> list[T]:
        """`k` items, each of them as likely as its weight says."""
        ends = list(accumulate(weights))
        return [items[bisect(ends, self.random() * ends[-1], 0, len(items) - 1)] for _ in range(k)]

    def sample(self, items: Sequence[T], k: int) -> list[T]:
        """`k` different items."""
        pool, size = list(items), len(items)
        if size > 21 + (4 ** ceil(log(k * 3, 4)) if k > 5 else 0):
            places: dict[int, None] = {}
            while len(places) < k:
                places[self.below(size)] = None
            return [pool[place] for place in places]
        found = []
        for left in range(size, size - k, -1):
            place = self.below(left)
            found.append(pool[place])
            pool[place] = pool[left - 1]
        return found

    def shuffle(self, items: list[T]) -> None:
        for last in range(len(items) - 1, 0, -1):
            other = self.below(last + 1)
            items[last], items[other] = items[other], items[last]
