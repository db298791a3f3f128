"""Flat names (`ones[0]`, `ones[1]`, `pm`) gathered into words."""

from __future__ import annotations

import re
from collections.abc import Iterable

_BIT = re.compile(r"(.+)\[(\d{1,6})\]")


def words(names: Iterable[str]) -> dict[str, tuple[str, ...]]:
    """Each word with the flat names of its bits, bit 0 first, in order of first appearance.

    A bit whose word is not complete (bits 0 to n - 1, each once) stands as a word of its own.
    """
    known = list(dict.fromkeys(names))
    bits: dict[str, dict[int, str]] = {}
    for name in known:
        if match := _BIT.fullmatch(name):
            bits.setdefault(match[1], {})[int(match[2])] = name
    whole = {word: found for word, found in bits.items() if sorted(found) == list(range(len(found)))}
    result: dict[str, tuple[str, ...]] = {}
    for name in known:
        match = _BIT.fullmatch(name)
        if match and match[1] in whole and match[1] not in known:
            found = whole[match[1]]
            result.setdefault(match[1], tuple(found[i] for i in range(len(found))))
        else:
            result[name] = (name,)
    return result
