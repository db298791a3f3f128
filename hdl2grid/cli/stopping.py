"""Ctrl-C and SIGTERM while a plan is made: the first asks layout for the best legal plan so far, a second gives up.

Before and after layout there is nothing to hand out, and the first one ends the command.
"""

from __future__ import annotations

import contextlib
import signal
import threading
import time
from collections.abc import Callable, Iterator
from types import FrameType
from typing import Any

from hdl2grid.layout.crew import Stop

SIGNALS = (signal.SIGINT, signal.SIGTERM)
ECHO_S = 1.0
"""A SIGTERM within so many seconds of another is the same one: `timeout` sends it to the process and then to its
whole group. Guessed."""

Handler = Callable[[int, FrameType | None], Any]


@contextlib.contextmanager
def stopping(stop: Stop, say: Callable[[str], None]) -> Iterator[None]:
    """In this block a signal goes to `stop` while somebody listens there; else it raises KeyboardInterrupt. `say` is
    called when a signal was understood."""
    terminated = -ECHO_S

    def heard(number: int, _frame: FrameType | None) -> None:
        nonlocal terminated
        if number == signal.SIGTERM:
            before, terminated = terminated, time.monotonic()
            if stop.is_set and terminated - before < ECHO_S:
                return
        if stop.is_set or not stop.is_heard:
            raise KeyboardInterrupt
        stop.set()
        name = "Ctrl-C" if number == signal.SIGINT else "SIGTERM"
        say(f"{name}: finishing with the best legal plan so far; once more to give up")

    with _handling(heard):
        yield


@contextlib.contextmanager
def signals_held() -> Iterator[None]:
    """In this block signals wait. It is for work that must be done wholly or not at all."""
    came: list[int] = []
    with _handling(lambda number, _frame: came.append(number)):
        yield
    if came:
        raise KeyboardInterrupt


@contextlib.contextmanager
def _handling(handler: Handler) -> Iterator[None]:
    """Only the main thread may handle signals; one that is ignored stays ignored."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = {number: signal.getsignal(number) for number in SIGNALS}
    handled = [number for number, old in before.items() if old not in (signal.SIG_IGN, None)]
    for number in handled:
        signal.signal(number, handler)
    try:
        yield
    finally:
        for number in handled:
            signal.signal(number, before[number])
