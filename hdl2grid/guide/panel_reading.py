"""What a person reads off the panel: the digits that it has, and which other lamps are lit.

A word of seven bits is a seven-segment digit when its pixels stand so: found by where they are, not by name. The
codes are those of common data books, with and without tails on 6, 7 and 9.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from hdl2grid.guide.model import Tile
from hdl2grid.guide.sentences import Words
from hdl2grid.plan.model import Plan
from hdl2grid.sim.named_words import words

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


@dataclass(frozen=True)
class _Sign:
    """A digit ("8"), a "1" or a colon, with the box that it stands in."""

    x: int
    top: int
    bottom: int
    word: str
    sign: str

    @staticmethod
    def at(tiles: Sequence[Tile], word: str, sign: str) -> _Sign:
        return _Sign(min(x for x, _ in tiles), min(y for _, y in tiles), max(y for _, y in tiles), word, sign)


def _rows(signs: list[_Sign]) -> list[list[_Sign]]:
    """Lines from the top, those with a digit only; in each the signs from the left."""
    rows: list[list[_Sign]] = []
    for sign in sorted(signs, key=lambda s: (s.top, s.x)):
        if not rows or sign.top > max(other.bottom for other in rows[-1]):
            rows.append([])
        rows[-1].append(sign)
    return [sorted(row, key=lambda s: s.x) for row in rows if any(s.sign == "8" for s in row)]


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
        signs: list[_Sign] = []
        for word, names in self._words.items():
            found = _segments(names, places)
            if found:
                self._segments[word] = found
                signs.append(_Sign.at([tile for name in names for tile in places[name]], word, "8"))
            elif len(names) == 1:
                signs += [
                    _Sign.at([tile for tile in places[names[0]] if tile[0] == x], word, sign)
                    for x, sign in _columns(places[names[0]])
                ]
        self._rows = _rows(signs) if self._segments else []
        """What stands in lines with digits, from the top and the left."""
        in_rows = {sign.word for row in self._rows for sign in row}
        self._lamps = [word for word in self._words if word not in in_rows]

    @property
    def is_digits(self) -> bool:
        """Whether all that the panel shows stands in lines with digits."""
        return bool(self._rows) and not self._lamps

    def read(self, lit: Sequence[int]) -> str:
        """What the panel reads when `lit[i]` says whether the i-th pixel of the plan is lit."""
        value = {signal: bool(lit[i]) for signal, i in self._first.items()}
        shown = [self._bits(word, self._words[word], value) for word in self._lamps]
        told = self._language.listed([text for text in shown if text])
        if not self._rows:
            return self._language.say("{names} lit", names=told) if told else self._language.say("nothing lit")
        line = " / ".join("".join(self._sign(sign, value) for sign in row).strip() for row in self._rows)
        if not self._lamps:
            return line
        if not told:
            return self._language.say("{digits}, no lamp lit", digits=line)
        return self._language.say("{digits}, {names} lit", digits=line, names=told)

    def _sign(self, sign: _Sign, value: dict[str, bool]) -> str:
        names = self._words[sign.word]
        if sign.sign != "8":
            return sign.sign if value[names[0]] else " "
        letters = "".join(sorted(self._segments[sign.word][name] for name in names if value[name]))
        return _DIGITS.get(letters, "?")

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
