"""A word to the user when numba compiles: at first use it takes a while, and silence would look like a hang."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

from hdl2grid.cli.reporter import Reporter


@contextlib.contextmanager
def compiling_announced(reporter: Reporter) -> Iterator[None]:
    """In this block the user is told once of the first compilation; loading from the cache is not told."""
    from numba.core import event

    class Listener(event.Listener):
        told = False

        def on_start(self, _event: Any) -> None:
            if not self.told:
                reporter.note("compiling the inner loops: only at first use, a minute or two")
            self.told = True

        def on_end(self, _event: Any) -> None: ...

    listener = Listener()
    event.register("numba:compile", listener)  # type: ignore[no-untyped-call]
    try:
        yield
    finally:
        event.unregister("numba:compile", listener)  # type: ignore[no-untyped-call]
