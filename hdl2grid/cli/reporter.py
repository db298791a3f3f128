"""Progress on stderr: a line for every stage that takes more than a second.

On a terminal one line is rewritten in place; elsewhere a line is printed when a stage has run for 1, 2, 4, 8 ...
seconds, so that logs stay short. Nothing that is written to a file depends on any of this.
"""

from __future__ import annotations

import sys
import threading
import time
from collections.abc import Callable
from types import TracebackType
from typing import TextIO

FIRST_WORD_S = 1.0
"""Seconds before a stage is told of; shorter ones pass in silence. Guessed."""

REFRESH_S = 0.25
"""Seconds between two looks at the clock, so that a line moves four times a second. Guessed."""


class Reporter:
    """A Progress that prints; use it as a context manager around all stages of a command.

    `stage` begins a stage; calling the reporter tells how far that stage is. With `verbose`, every stage is
    told when it ends, however short.
    """

    def __init__(self, stream: TextIO | None = None, verbose: bool = False) -> None:
        self._stream = stream or sys.stderr
        self._live = self._stream.isatty()
        self._verbose = verbose
        self._lock = threading.RLock()  # a signal may be handled while it is held
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._watch, daemon=True)
        self._name = self._message = ""
        self._done: int | None = None
        self._total: int | None = None
        self._count: Callable[[], int] | None = None
        self._start = self._next_word = 0.0
        self._width = 0

    def __enter__(self) -> Reporter:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._stop.set()
        self._thread.join()
        with self._lock:
            self._end_stage("done in" if kind is None else "stopped after")

    def stage(self, name: str) -> None:
        """Begins the stage `name`, and so ends the one before."""
        with self._lock:
            self._end_stage()
            self._name, self._message = name, ""
            self._done = self._total = None
            self._start = time.monotonic()
            self._next_word = FIRST_WORD_S

    def __call__(self, message: str, done: int | None = None, total: int | None = None) -> None:
        with self._lock:
            self._message, self._done, self._total = message, done, total
            self._tell()

    def follow(self, message: str, count: Callable[[], int], total: int | None = None) -> None:
        """For a stage that does not call: `count` is asked how far it is, from another thread."""
        with self._lock:
            self._message, self._count, self._total = message, count, total

    def note(self, text: str) -> None:
        """A line of its own, at once."""
        with self._lock:
            self._clear()
            self._write(text + "\n")

    def _watch(self) -> None:
        while not self._stop.wait(REFRESH_S):
            with self._lock:
                self._tell()

    def _tell(self) -> None:
        elapsed = time.monotonic() - self._start
        if not self._name or elapsed < self._next_word:
            return
        if self._count is not None:
            self._done = self._count()
        if self._live:
            self._rewrite(self._line(elapsed))
        else:
            self._write(self._line(elapsed) + "\n")
            while self._next_word <= elapsed:
                self._next_word *= 2

    def _line(self, elapsed: float) -> str:
        text = f"{self._name}: {elapsed:.0f} s"
        if self._message:
            text += f", {self._message}"
        if self._done is not None:
            text += f" ({self._done:,}{f' of {self._total:,}' if self._total is not None else ''})"
        return text

    def _end_stage(self, how: str = "done in") -> None:
        if not self._name:
            return
        elapsed = time.monotonic() - self._start
        self._clear()
        if self._verbose or elapsed >= FIRST_WORD_S:
            self._write(f"{self._name}: {how} {elapsed:.1f} s\n")
        self._name = ""
        self._count = None

    def _rewrite(self, line: str) -> None:
        line = line[:100]
        self._write("\r" + line.ljust(self._width))
        self._width = len(line)

    def _clear(self) -> None:
        if self._width:
            self._write("\r" + " " * self._width + "\r")
            self._width = 0

    def _write(self, text: str) -> None:
        try:
            self._stream.write(text)
            self._stream.flush()
        except (OSError, ValueError):
            self._name = ""
