"""Event expressions: `sync*60 reset (hold sync*5)*3`, kept folded so that no repeat costs memory.

    expression = item item ..
    item       = NAME or ( expression ), then optionally * COUNT

Names are those of a machine's sources; `wait` lets a second pass in which tickers and delays go on by
themselves. Spaces, tabs, line breaks and commas part items.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from itertools import groupby, islice

import numpy as np
import numpy.typing as npt

from hdl2grid.base.errors import InputError, nearest

MAX_EVENTS = 1_000_000_000
"""Events that a text may stand for with its repetitions. Guessed: hours of play."""
MAX_TEXT = 100_000
"""Characters of a text of events. Guessed."""
MAX_NESTING = 32
"""Brackets within brackets. Guessed."""
WAIT = "wait"

_TOKEN = re.compile(r"[\s,]*+([()*]|[^\s,()*]+)")


@dataclass(frozen=True)
class Repeat:
    """`times` times the name or the parts."""

    body: str | tuple[Repeat, ...]
    times: int

    @property
    def count(self) -> int:
        return self.times * (1 if isinstance(self.body, str) else sum(part.count for part in self.body))


@dataclass(frozen=True)
class Events:
    """A parsed expression. `len(events)` is the number of events, which are made one by one when asked
    for."""

    parts: tuple[Repeat, ...]

    def __len__(self) -> int:
        return sum(part.count for part in self.parts)

    def __iter__(self) -> Iterator[str]:
        stack: list[Iterator[Repeat]] = [iter(self.parts)]
        while stack:
            part = next(stack[-1], None)
            if part is None:
                stack.pop()
            elif isinstance(part.body, str):
                for _ in range(part.times):
                    yield part.body
            else:
                stack.append(_rounds(part.body, part.times))

    def names(self) -> tuple[str, ...]:
        """The names used, each once, in order of first use."""
        seen: dict[str, None] = {}
        stack = list(reversed(self.parts))
        while stack:
            part = stack.pop()
            if isinstance(part.body, str):
                seen.setdefault(part.body)
            else:
                stack.extend(reversed(part.body))
        return tuple(seen)

    def chunks(self, numbers: dict[str, int], size: int = 65_536) -> Iterator[npt.NDArray[np.int64]]:
        """The events as numbers, at most `size` at a time."""
        names = iter(self)
        while chunk := list(islice(names, size)):
            yield np.array([numbers[name] for name in chunk], dtype=np.int64)


def _rounds(parts: tuple[Repeat, ...], times: int) -> Iterator[Repeat]:
    for _ in range(times):
        yield from parts


def folded(names: Iterable[str]) -> str:
    """Names as an expression, runs of one name folded: `sync*59 reset`."""
    runs = [(name, len(list(group))) for name, group in groupby(names)]
    return " ".join(name if count == 1 else f"{name}*{count}" for name, count in runs)


def parse_events(text: str, known: Iterable[str]) -> Events:
    """The events of an expression whose names are among `known` (or `wait`).

    Raises InputError V001 (unknown name), V002 (malformed, with the column) or V003 (too many events).
    """
    if len(text) > MAX_TEXT:
        raise InputError("V003", f"the events are written in more than {MAX_TEXT} characters")
    names = [*known]
    open_groups: list[list[Repeat]] = [[]]
    tokens = list(_tokens(text))
    i = 0
    while i < len(tokens):
        token, column = tokens[i]
        i += 1
        if token == "(":
            if len(open_groups) > MAX_NESTING:
                raise _malformed(text, column, f"brackets are nested deeper than {MAX_NESTING}")
            open_groups.append([])
            continue
        if token == ")":
            if len(open_groups) == 1:
                raise _malformed(text, column, "this bracket was never opened")
            body: str | tuple[Repeat, ...] = tuple(open_groups.pop())
            if not body:
                raise _malformed(text, column, "there is nothing between the brackets")
        elif token == "*":
            raise _malformed(text, column, "a * follows a name or a bracket, and a count follows it")
        else:
            _check_name(token, names)
            body = token
        times = 1
        if i < len(tokens) and tokens[i][0] == "*":
            times = _count(text, tokens, i)
            i += 2
        open_groups[-1].append(_limited(Repeat(body, times)))
    if len(open_groups) > 1:
        raise _malformed(text, len(text), "a bracket is never closed")
    if not open_groups[0]:
        raise _malformed(text, 0, "there is no event in it")
    events = Events(tuple(open_groups[0]))
    _limited(Repeat(events.parts, 1))
    return events


def _tokens(text: str) -> Iterator[tuple[str, int]]:
    position = 0
    while match := _TOKEN.match(text, position):
        yield match.group(1), match.start(1)
        position = match.end()


def _check_name(name: str, known: list[str]) -> None:
    if name not in known and name != WAIT:
        shown = name if len(name) <= 60 else name[:40] + "..."
        hint = nearest(name[:200], known) or f"This machine has no source; '{WAIT}' lets a second pass."
        raise InputError("V001", f"no event is called '{shown}'", hint=hint)


def _count(text: str, tokens: list[tuple[str, int]], star: int) -> int:
    column = tokens[star][1]
    written = tokens[star + 1][0] if star + 1 < len(tokens) else ""
    if not (written.isascii() and written.isdigit()):
        raise _malformed(text, column, "a count of 1 or more is wanted after the *")
    if len(written) > 15:
        raise _too_many()
    times = int(written)
    if times == 0:
        raise _malformed(text, column, "a count of 1 or more is wanted after the *")
    return times


def _limited(part: Repeat) -> Repeat:
    if part.count > MAX_EVENTS:
        raise _too_many()
    return part


def _too_many() -> InputError:
    hint = "Repeat less often; --until stops at a condition."
    return InputError("V003", f"these are more than {MAX_EVENTS:,} events", hint=hint)


def _malformed(text: str, column: int, what: str) -> InputError:
    around = text[max(0, column - 20) : column + 20].strip()
    place = f"events, column {column + 1}" + (f", near '{around}'" if around else "")
    hint = "Written like this: sync*60 reset (hold sync*5)*3"
    return InputError("V002", what, where=place, hint=hint)
