"""What a person reads off the panel: digits where it has them, else which lamps are lit.

A word of seven bits is a seven-segment digit when its pixels stand so: found by where they are, not by name. The
codes are those of common data books, with and without tails on 6, 7 and 9.
"""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.guide.model import Tile
from hdl2grid.guide.words import Words
from hdl2grid.plan.model import Plan
from hdl2grid.sim.words import words

_DIGITS = {
    "abcdef": "0",
    "bc": "1",
    "abdeg": "2",
    "abcdg": "3",
    "bcfg": "4",
    "acdfg": "5",
    "acdefg": "6",
    "cdefg": "6",
    "abc": "7",
    "abcf": "7",
    "abcdefg": "8",
    "abcdfg": "9",
    "abcfg": "9",
    "": " ",
}


class PanelReader:
    """Reads the panel of one plan."""

    def __init__(self, plan: Plan, language: Words | None = None) -> None:
        self._language = language or Words()
        self.pixels = [d for d in plan.devices if d.kind == "pixel"]
        self._signals = [d.signal or "" for d in self.pixels]
        places: dict[str, list[Tile]] = {}
        for device in self.pixels:
            places.setdefault(device.signal or "", []).append((device.x, device.y))
        self._first = {signal: self._signals.index(signal) for signal in places}
        self._words = words(self._signals)
        self._segments: dict[str, dict[str, str]] = {}
        self._signs: list[tuple[int, str, str]] = []
        """The left edge, the word and the sign ("8" for a digit) of all that stands in the panel's line."""
        for word, names in self._words.items():
            found = _segments(names, places)
            if found:
                self._segments[word] = found
                self._signs.append((min(x for name in names for x, _ in places[name]), word, "8"))
            elif len(names) == 1:
                self._signs += [(x, word, sign) for x, sign in _columns(places[names[0]])]
        self.is_digits = bool(self._segments) and {word for _, word, _ in self._signs} == set(self._words)

    def read(self, lit: Sequence[int]) -> str:
        """What the panel reads when `lit[i]` says whether the i-th pixel of the plan is lit."""
        value = {signal: bool(lit[i]) for signal, i in self._first.items()}
        if not self.is_digits:
            shown = [self._bits(word, names, value) for word, names in self._words.items()]
            told = ", ".join(text for text in shown if text)
            return self._language.say("{names} lit", names=told) if told else self._language.say("nothing lit")
        line = []
        for _, word, sign in sorted(self._signs):
            names = self._words[word]
            if sign == "8":
                letters = "".join(sorted(self._segments[word][name] for name in names if value[name]))
                line.append(_DIGITS.get(letters, "?"))
            else:
                line.append(sign if value[names[0]] else " ")
        return "".join(line).strip()

    @staticmethod
    def _bits(word: str, names: Sequence[str], value: dict[str, bool]) -> str:
        on = [str(i) for i, name in enumerate(names) if value[name]]
        if not on or len(names) == 1:
            return word if on else ""
        return f"{word}[{' '.join(on)}]"


def _segments(names: Sequence[str], places: dict[str, list[Tile]]) -> dict[str, str]:
    """Which segment, a to g, each bit is; empty when the word is no digit."""
    if len(names) != 7:
        return {}
    tiles = [tile for name in names for tile in places[name]]
    x0, x1 = min(x for x, _ in tiles), max(x for x, _ in tiles)
    y0, y1 = min(y for _, y in tiles), max(y for _, y in tiles)
    if x1 == x0 or y1 == y0:
        return {}
    found: dict[str, str] = {}
    for name in names:
        own = places[name]
        across = (sum(x for x, _ in own) / len(own) - x0) / (x1 - x0)
        down = (sum(y for _, y in own) / len(own) - y0) / (y1 - y0)
        if 0.3 < across < 0.7:
            letter = "a" if down < 0.25 else "d" if down > 0.75 else "g"
        else:
            letter = ("f" if across < 0.5 else "b") if down < 0.5 else ("e" if across < 0.5 else "c")
        found[name] = letter
    return found if len(set(found.values())) == 7 else {}


def _columns(tiles: list[Tile]) -> list[tuple[int, str]]:
    """The columns of one bit's pixels as signs: "1" for a bar, ":" for two dots; empty if one is neither."""
    found: list[tuple[int, str]] = []
    for x in sorted({x for x, _ in tiles}):
        rows = sorted(y for column, y in tiles if column == x)
        if len(rows) >= 3:
            found.append((x, "1"))
        elif len(rows) == 2 and rows[1] - rows[0] > 1:
            found.append((x, ":"))
        else:
            return []
    return found
