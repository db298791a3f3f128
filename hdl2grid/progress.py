"""How a long stage tells how far it has come: a plain callable that the edge supplies."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called with what is being done and, where known, how many of how many steps are done."""

    def __call__(self, message: str, done: int | None = None, total: int | None = None) -> None: ...


def silent(message: str, done: int | None = None, total: int | None = None) -> None:
    """A Progress that says nothing."""
