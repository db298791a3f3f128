"""Runs a function where deep recursion is harmless: Amaranth walks expressions recursively."""

from __future__ import annotations

import contextvars
import sys
import threading
from collections.abc import Callable
from typing import TypeVar

T = TypeVar("T")

STACK_BYTES = 512 << 20
"""Stack of the thread, reserved and not used up: 512 MB. Guessed."""

RECURSION_LIMIT = 1_000_000
"""Deepest recursion of Python's own functions. Guessed: more than any design needs."""

_lock = threading.RLock()
_inside = threading.local()


def run_deep(function: Callable[[], T]) -> T:
    """The result of `function()`, called in a thread with a stack of `STACK_BYTES` (reserved, not used up).

    What it raises is raised here. A call from inside such a thread runs right there.
    """
    if getattr(_inside, "deep", False):
        return function()
    results: list[T] = []
    errors: list[BaseException] = []
    context = contextvars.copy_context()

    def target() -> None:
        _inside.deep = True
        try:
            results.append(context.run(function))
        except BaseException as error:
            errors.append(error)

    with _lock:
        stack_before, limit_before = threading.stack_size(STACK_BYTES), sys.getrecursionlimit()
        sys.setrecursionlimit(max(limit_before, RECURSION_LIMIT))
        try:
            thread = threading.Thread(target=target, name="hdl2grid-deep", daemon=True)
            thread.start()
            thread.join()
        finally:
            threading.stack_size(stack_before)
            sys.setrecursionlimit(limit_before)
    if errors:
        raise errors[0]
    return results[0]
