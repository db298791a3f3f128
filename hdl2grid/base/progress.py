"""How a long stage tells how far it has come: plain callables that the edge supplies."""

from __future__ import annotations

from typing import Protocol


class Progress(Protocol):
    """Called with what is being done and, where known, how many of how many steps are done."""

    def __call__(self, message: str, done: int | None = None, total: int | None = None) -> None: ...


class StagedProgress(Progress, Protocol):
    """A Progress that is told which stage it speaks of."""

    def stage(self, name: str) -> None: ...


def silent(message: str, done: int | None = None, total: int | None = None) -> None:
    """A Progress that says nothing."""


class Silent:
    """A StagedProgress that says nothing."""

    def __call__(self, message: str, done: int | None = None, total: int | None = None) -> None: ...

    def stage(self, name: str) -> None: ...
