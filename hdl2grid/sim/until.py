"""Play until a condition holds: `ones=5 pm` or `hours[0]!=1`."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from hdl2grid.base.errors import InputError, nearest
from hdl2grid.sim.events import Events
from hdl2grid.sim.named_words import words
from hdl2grid.sim.player import Player

DEFAULT_LIMIT = 1_000_000
"""Events played before a condition is given up. Guessed: seconds on the compiled engine."""

_TERM = re.compile(r"([^\s,=!]+)(?:(!?=)(0[xX][0-9a-fA-F]{1,256}|0[bB][01]{1,1024}|[0-9]{1,300}))?")


@dataclass(frozen=True)
class Term:
    """The bits of one word, bit 0 first, are `value` (or are not, when `negated`)."""

    bits: tuple[str, ...]
    value: int
    negated: bool


@dataclass(frozen=True)
class Condition:
    """Holds when all its terms do."""

    terms: tuple[Term, ...]

    def holds(self, values: Mapping[str, int]) -> bool:
        return all(
            (sum(values[bit] << i for i, bit in enumerate(term.bits)) == term.value) != term.negated
            for term in self.terms
        )


def parse_condition(text: str, names: Iterable[str]) -> Condition:
    """Terms `NAME`, `NAME=VALUE` or `NAME!=VALUE`, parted by spaces or commas; NAME is a bit or a whole word.

    Raises InputError V005 (malformed) or V006 (unknown name, or a value that the word cannot have).
    """
    flat = list(names)
    known = {**{name: (name,) for name in flat}, **words(flat)}
    terms = []
    for written in re.split(r"[\s,]+", text.strip()[:10_000]):
        match = _TERM.fullmatch(written)
        if not match:
            hint = "Written like this: ones=5 pm hours[0]!=1"
            raise InputError("V005", f"'{written[:60]}' is no condition", where="--until", hint=hint)
        name, operator, number = match.groups()
        if name not in known:
            shown = name[:60]
            raise InputError("V006", f"no signal is called '{shown}'", hint=nearest(name[:200], known))
        value = 1 if number is None else int(number, 10 if number.isdigit() else 0)
        if value >> len(known[name]):
            raise InputError("V006", f"'{name}' has {len(known[name])} bits and is never {number}")
        terms.append(Term(known[name], value, operator == "!="))
    return Condition(tuple(terms))


@dataclass(frozen=True)
class Reached:
    """Whether the condition held, after how many events."""

    held: bool
    events: int


def play_until(player: Player, events: Events, condition: Condition, limit: int = DEFAULT_LIMIT) -> Reached:
    """Plays `events` over and over until the condition holds after an event (or did before the first); at
    most `limit` events."""
    count = 0
    if condition.holds(_values(player)):
        return Reached(True, 0)
    while True:
        for name in events:
            if count >= limit:
                return Reached(False, count)
            player.event(name)
            count += 1
            if condition.holds(_values(player)):
                return Reached(True, count)


def _values(player: Player) -> dict[str, int]:
    return {**player.levels(), **player.shown()}
