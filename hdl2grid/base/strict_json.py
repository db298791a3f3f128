"""JSON read strictly: for files that strangers hand us.

`parse` refuses what a lenient reader lets through: nesting that would overflow a parser, a key that stands
twice, NaN and infinities, numbers of a thousand digits, text that is not UTF-8. `Reader` then takes an
object apart key by key and says at which path (`devices[12].x`) something is wrong. Every refusal is an
InputError of letter J.
"""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, NoReturn

from hdl2grid.base.errors import InputError, nearest

MAX_BYTES = 32 * 1024 * 1024
"""Of a file, so that a stranger's file cannot fill the memory. Guessed."""
MAX_DEPTH = 16
"""Brackets within brackets; ours have up to eight. Guessed."""
MAX_NAME = 200
"""Characters of a name. Guessed."""
_MAX_DIGITS = 40
"""Characters of a number: more than a 64-bit number has, written in any way. Guessed."""

# A string (possessive, so that no input makes the search backtrack), a bracket, or a string that never ends.
_TOKENS = re.compile(r'"[^"\\]*+(?:\\.[^"\\]*+)*+"|[\[\]{}]|"', re.DOTALL)


class _Duplicate(str):
    """Stands as a key in an object that had one key twice; its text is that key."""


def read_text(path: Path) -> str:
    """The file's text. Raises InputError J001 (unreadable), J002 (too large), J003 (not UTF-8)."""
    try:
        with path.open("rb") as file:
            data = file.read(MAX_BYTES + 1)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError("J001", f"cannot read the file: {reason}", where=path) from None
    if len(data) > MAX_BYTES:
        raise InputError("J002", f"the file is larger than {MAX_BYTES >> 20} MiB", where=path)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError("J003", f"not UTF-8 text: byte {error.start} is wrong", where=path) from None


def parse(text: str, where: str) -> Any:
    """The JSON value of `text`; `where` names its file in messages.

    Raises InputError J002 (too large), J004 (not JSON), J005 (nested deeper than 16), J006 (a key twice) or
    J007 (a number that JSON does not have, or an absurd one).
    """
    if len(text) > MAX_BYTES:
        raise InputError("J002", f"the text is larger than {MAX_BYTES >> 20} MiB", where=where)
    _check_depth(text, where)

    def refuse_number(written: str) -> NoReturn:
        line_number = text.count("\n", 0, text.find(written)) + 1
        what = f"{_short(written)} is no number of this format"
        raise InputError("J007", what, where=f"{where}, line {line_number}")

    def whole(written: str) -> int:
        if len(written) > _MAX_DIGITS:
            refuse_number(written)
        return int(written)

    def real(written: str) -> float:
        value = float(written) if len(written) <= _MAX_DIGITS else math.inf
        if not math.isfinite(value):
            refuse_number(written)
        return value

    try:
        value = json.loads(
            text,
            parse_int=whole,
            parse_float=real,
            parse_constant=refuse_number,
            object_pairs_hook=_object,
        )
    except json.JSONDecodeError as error:
        place = f"{where}, line {error.lineno}, column {error.colno}"
        at_end = error.pos >= len(text.rstrip()) or error.msg.startswith("Unterminated string")
        hint = "The file was cut short or edited; write it again." if at_end else None
        raise InputError("J004", f"not JSON: {error.msg}", where=place, hint=hint) from None
    _check_duplicates(value, where)
    return value


def _short(text: object) -> str:
    shown = text if isinstance(text, str) else json.dumps(text, default=str)
    return shown if len(shown) <= 60 else shown[:40] + "..."


def _check_depth(text: str, where: str) -> None:
    depth = 0
    for match in _TOKENS.finditer(text):
        first = text[match.start()]
        if first in "[{":
            depth += 1
            if depth > MAX_DEPTH:
                line = text.count("\n", 0, match.start()) + 1
                raise InputError("J005", f"nested deeper than {MAX_DEPTH}", where=f"{where}, line {line}")
        elif first in "]}":
            depth -= 1
        elif match.end() == match.start() + 1:
            return  # a string without end: the parser will stop there too


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    result = dict(pairs)
    if len(result) < len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                return {_Duplicate(key): None}
            seen.add(key)
    return result


def _check_duplicates(value: Any, where: str) -> None:
    todo: list[tuple[Any, str]] = [(value, "")]
    while todo:
        item, path = todo.pop()
        if isinstance(item, dict):
            for key, child in item.items():
                if isinstance(key, _Duplicate):
                    raise InputError("J006", f"the key '{_short(str(key))}' stands twice", where=_at(where, path))
                todo.append((child, f"{path}.{key}" if path else key))
        elif isinstance(item, list):
            todo.extend((child, f"{path}[{i}]") for i, child in enumerate(item) if isinstance(child, dict | list))


def _at(where: str, path: str) -> str:
    return f"{where}, at {_short(path)}" if path else where


class Reader:
    """One value of a JSON text with its path, and typed ways to take it apart."""

    def __init__(self, value: Any, where: str, path: str = "") -> None:
        self.value = value
        self.where = where
        self.path = path

    def fail(self, code: str, what: str, hint: str | None = None) -> NoReturn:
        raise InputError(code, what, where=_at(self.where, self.path), hint=hint)

    def _wrong(self, wanted: str) -> NoReturn:
        self.fail("J009", f"{wanted} is wanted here, not {_short(json.dumps(self.value))}")

    def record(self, required: Iterable[str], optional: Iterable[str] = ()) -> dict[str, Reader]:
        """The members. Raises J008 where a key is missing or unknown."""
        members = self.members()
        needed, known = list(required), [*required, *optional]
        for key in members:
            if key not in known:
                self.fail("J008", f"unknown key '{_short(key)}'", nearest(key, known))
        for key in needed:
            if key not in members:
                self.fail("J008", f"the key '{key}' is missing")
        return members

    def members(self) -> dict[str, Reader]:
        """The members of an object whose keys are free."""
        if not isinstance(self.value, dict):
            self._wrong("an object")
        prefix = self.path + "." if self.path else ""
        return {key: Reader(child, self.where, prefix + key) for key, child in self.value.items()}

    def items(self, length: int | None = None) -> Iterator[Reader]:
        """The items of a list; of exactly `length` items if given."""
        if not isinstance(self.value, list) or (length is not None and len(self.value) != length):
            self._wrong("a list" if length is None else f"a list of {length} items")
        return (Reader(child, self.where, f"{self.path}[{i}]") for i, child in enumerate(self.value))

    def integer(self, low: int, high: int) -> int:
        """A JSON integer in `low..high`, both included; `true` and 1.0 are none."""
        if type(self.value) is not int:
            self._wrong("an integer")
        if not low <= self.value <= high:
            self.fail("J010", f"{_short(self.value)} is not in {low} .. {high}")
        return self.value

    def positive(self) -> int | float:
        """A positive number, whole or fractional, of seconds: at most 10^9."""
        if type(self.value) not in (int, float):
            self._wrong("a number")
        if not 0 < self.value <= 10**9:
            self.fail("J010", f"{_short(self.value)} is not a positive number of at most 10^9")
        return self.value  # type: ignore[no-any-return]

    def boolean(self) -> bool:
        if type(self.value) is not bool:
            self._wrong("true or false")
        return self.value

    def name(self) -> str:
        """A printable text of 1 to 200 characters."""
        if type(self.value) is not str:
            self._wrong("a text")
        if not 0 < len(self.value) <= MAX_NAME or not self.value.isprintable():
            self.fail("J011", f"a name has 1 to {MAX_NAME} printable characters, not {_short(self.value)!r}")
        return self.value

    def one_of(self, words: Iterable[str]) -> str:
        known = list(words)
        if type(self.value) is not str or self.value not in known:
            hint = nearest(self.value, known) if isinstance(self.value, str) else None
            self.fail("J012", f"{_short(self.value)!r} is not one of {', '.join(known)}", hint)
        return self.value

    def header(self, format_name: str, version: int) -> None:
        """Checks the keys `format` and `version` before any other. Raises J013."""
        members = self.members()
        found = members["format"].value if "format" in members else None
        if found != format_name:
            hint = f"'{found}' is another file of this tool." if _is_ours(found) else None
            self.fail("J013", f"this is no '{format_name}' file", hint)
        number = members["version"].value if "version" in members else None
        if type(number) is not int or number != version:
            self.fail("J013", f"version {_short(number)} is not known; this tool reads version {version}")


def _is_ours(found: object) -> bool:
    return isinstance(found, str) and found.startswith("hdl2grid ") and len(found) < 40


def line(value: object) -> str:
    """`value` as JSON on one line, the same on every machine."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False)


def lines(items: Iterable[str], indent: str) -> str:
    """Items already written, one a line, for the inside of a list or object; "" when there are none."""
    body = ",".join(f"\n{indent}  {item}" for item in items)
    return body + f"\n{indent}" if body else ""
