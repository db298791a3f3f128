"""Processes that work for this one. They hear no Ctrl-C, leave signals to their parent, and end when it is gone."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from multiprocessing.connection import Connection
from typing import Any, Generic, TypeVar

from hdl2grid.base.progress import Progress

T = TypeVar("T")

ORPHAN_S = 2.0
"""Seconds between two looks of a worker at whether its parent still lives. Guessed."""
_DONE, _TOLD = "done", "told"


@contextlib.contextmanager
def signals_blocked() -> Iterator[None]:
    """In this block Ctrl-C and SIGTERM wait, where the system can do that. A process begun here never hears Ctrl-C; it
    hears SIGTERM once it has left the group (`enter_worker`)."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT, signal.SIGTERM})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def enter_worker(parent: int) -> None:
    """Begins a worker process, in a group of its own: what a terminal or a time limit sends to the parent's group is
    the parent's to decide."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    if hasattr(os, "setpgid"):
        os.setpgid(0, 0)
        signal.pthread_sigmask(signal.SIG_UNBLOCK, {signal.SIGTERM})
    threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: int) -> None:
    """Ends this process when its parent is gone."""
    idle = threading.Event()
    while os.getppid() == parent:
        idle.wait(ORPHAN_S)
    os._exit(1)


class Errand(Generic[T]):
    """One call of `does`, with `arguments` and a Progress, in a process of its own while this one goes on."""

    def __init__(self, does: Callable[..., T], *arguments: Any) -> None:
        self._does, self._arguments = does, arguments
        context = multiprocessing.get_context("spawn")
        self._answers, question = context.Pipe(duplex=False)
        self._process = context.Process(target=_run, args=(does, arguments, question, os.getpid()), daemon=True)
        with signals_blocked(), contextlib.suppress(OSError):
            self._process.start()
        question.close()

    def result(self, progress: Progress) -> T:
        """Waits for what the call returns, and tells how far it is. If the call raises, or its process is killed or
        cannot begin, the call is made again in this process, which returns or raises the same."""
        with contextlib.suppress(EOFError, OSError):
            while True:
                kind, what = self._answers.recv()
                if kind == _DONE:
                    self._process.join()
                    return what  # type: ignore[no-any-return]
                progress(*what)
        self.give_up()
        return self._does(*self._arguments, progress)

    def give_up(self) -> None:
        """Ends the process, if it still runs."""
        if self._process.pid is not None:
            self._process.kill()
            self._process.join()


def _run(does: Callable[..., Any], arguments: tuple[Any, ...], answers: Connection, parent: int) -> None:
    enter_worker(parent)

    def tell(message: str, done: int | None = None, total: int | None = None) -> None:
        answers.send((_TOLD, (message, done, total)))

    with contextlib.suppress(Exception):  # raised again in the parent, which repeats the call
        answers.send((_DONE, does(*arguments, tell)))
