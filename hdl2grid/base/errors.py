"""Everything that hdl2grid says when something is wrong.

One error carries what is wrong, where, and what to do; its class decides the exit code; its code can be
searched, quoted and explained (`hdl2grid explain R012`). The codes and their explanations live in
`hdl2grid/base/messages/<letter>.toml`, one file per room; a test holds the two together.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches


@dataclass(frozen=True)
class SourceLine:
    """A place in a user's file: `path` as given by Python, `line` counted from 1."""

    path: str
    line: int

    def __str__(self) -> str:
        return f"{self.path}:{self.line}"


class GridError(Exception):
    """Base of all messages to the user.

    `code` is a letter and three digits ("M003"); `where` a file, signal or tile; `hint` says what to do.
    """

    exit_code = 2

    def __init__(self, code: str, what: str, *, where: object = None, hint: str | None = None) -> None:
        self.code = code
        self.what = what
        self.where = None if where is None else str(where)
        self.hint = hint
        super().__init__(str(self))

    def __str__(self) -> str:
        text = f"H2G-{self.code}: {self.what}"
        if self.where:
            text += f" ({self.where})"
        if self.hint:
            text += f"\n  {self.hint}"
        return text


class InputError(GridError):
    """Bad input or usage: exit code 2."""

    exit_code = 2


class DesignFailed(GridError):
    """The design fails its own check, a plan breaks a rule or differs, or no plan was found: exit code 1."""

    exit_code = 1


class Undecided(GridError):
    """A proof met its limit: exit code 3."""

    exit_code = 3


@dataclass(frozen=True)
class Finding:
    """One thing that a check found: many of them make a report, where one GridError would stop at the first.

    `tile` is its place on the grid, `colour` a wire colour's name, `subject` a stack, pixel or signal.
    """

    code: str
    what: str
    tile: tuple[int, int] | None = None
    colour: str | None = None
    subject: str | None = None
    hint: str | None = None

    @property
    def place(self) -> str:
        """Where it is, in words; "" when it has no place."""
        parts = [self.subject, f"({self.tile[0]},{self.tile[1]})" if self.tile else None, self.colour]
        return " ".join(part for part in parts if part)

    def __str__(self) -> str:
        return f"H2G-{self.code}: {self.what}" + (f" [{self.place}]" if self.place else "")


def nearest(name: str, names: Iterable[str]) -> str | None:
    """A hint that names the closest of `names`, or lists them if few; None when there is nothing to say."""
    known = sorted(names)
    close = get_close_matches(name, known, n=1)
    if close:
        return f"Did you mean '{close[0]}'?"
    if 0 < len(known) <= 12:
        return "There is: " + ", ".join(known) + "."
    return None
