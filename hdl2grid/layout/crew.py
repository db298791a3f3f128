"""Who does the searching: one thread, or several processes. Signals and progress are heard meanwhile.

A compiled kernel cannot be interrupted, so it runs beside the main thread, which waits in short steps. What is shared
is a row of numbers for each worker (`Shape.watch`): workers tell there how far they are, and are told to stop.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, ThreadPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import replace
from types import TracebackType
from typing import Any

import numpy as np
from numba.core import event

from hdl2grid.base.progress import Progress
from hdl2grid.base.target import MAX_GRID_SIDE
from hdl2grid.base.workers import enter_worker, signals_blocked
from hdl2grid.layout.arrays import (
    WATCH_COMPILING,
    WATCH_CONFLICTS,
    WATCH_HEIGHT,
    WATCH_LEGAL,
    WATCH_STOP,
    WATCH_TRIES,
    WATCH_WIDTH,
    Ints,
    new_watch,
)
from hdl2grid.layout.effort import LayoutParams
from hdl2grid.layout.regime import Regime
from hdl2grid.layout.restart import Found
from hdl2grid.layout.tasks import BEGIN, Task, do
from hdl2grid.nets.model import Netlist

SEED_STEP = 104_729
"""From the seed of one sketch to that of the next: a prime, so that neighbouring seeds have no sketch in common."""
POLL_S = 0.2
"""Seconds between two looks at what the workers tell. Guessed: progress looks smooth so."""


class Stop:
    """Asks a layout to end with what it has. `set` may be called at any time, also in a signal handler."""

    def __init__(self) -> None:
        self.is_set = False
        self._watches: list[Ints] = []

    def set(self) -> None:
        self.is_set = True
        for watch in self._watches:
            watch[WATCH_STOP] = 1

    @property
    def is_heard(self) -> bool:
        """Whether a search is going on that would heed it."""
        return bool(self._watches)

    def leave(self) -> None:
        """Nobody searches any longer."""
        self._watches = []

    def reaches(self, watch: Ints) -> None:
        """From now on `set` is also told to `watch`."""
        self._watches.append(watch)
        watch[WATCH_STOP] = self.is_set


class Compilations(event.Listener):
    """Counts in a watch the kernels that are being compiled in this process; loading from the cache is none."""

    def __init__(self, watch: Ints) -> None:
        self.watch = watch

    def on_start(self, event: Any) -> None:
        self.watch[WATCH_COMPILING] += 1

    def on_end(self, event: Any) -> None:
        self.watch[WATCH_COMPILING] -= 1

    def listen(self) -> None:
        event.register("numba:compile", self)  # type: ignore[no-untyped-call]

    def leave(self) -> None:
        event.unregister("numba:compile", self)  # type: ignore[no-untyped-call]


class Crew:
    """Workers for one netlist; a context manager."""

    def __init__(
        self, netlist: Netlist, params: LayoutParams, regime: Regime, jobs: int, stop: Stop, progress: Progress
    ) -> None:
        self.netlist, self.params, self.regime, self.stop, self.progress = netlist, params, regime, stop, progress
        self._legal = 0
        self._listener: Compilations | None = None
        self._pool: Executor
        self._watches: list[Ints]
        if jobs == 1:
            self._be_alone()
        else:
            context = multiprocessing.get_context("spawn")
            room = context.RawArray("q", jobs * len(new_watch()))
            rows = np.frombuffer(room, np.int64).reshape(jobs, -1)
            self._watches = [rows[i] for i in range(jobs)]
            arguments = (netlist, regime, room, context.Value("i", 0), os.getpid())
            self._pool = ProcessPoolExecutor(jobs, context, _enter, arguments)
            for watch in self._watches:
                stop.reaches(watch)

    def __enter__(self) -> Crew:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        if kind is not None:
            for watch in self._watches:
                watch[WATCH_STOP] = 1
        self._pool.shutdown(cancel_futures=True)
        if self._listener is not None:
            self._listener.leave()
        self.stop.leave()

    def run(self, tasks: Sequence[Task]) -> list[Found]:
        """Does the tasks, and tells how far they are; results in the tasks' order."""
        return self._run([(self.params, task) for task in tasks])

    def sketch(self, count: int) -> list[Found]:
        """So many layouts as in effort quick, with seeds of their own."""
        quick = replace(self.params, effort="quick")
        seeds = range(quick.seed, quick.seed + count * SEED_STEP, SEED_STEP)
        return self._run([(replace(quick, seed=seed), Task(BEGIN, 0)) for seed in seeds])

    def without_limits(self) -> tuple[int, int] | None:
        """Width and height of a layout found quickly on a grid as large as need be; None where there is none."""
        free = replace(self.params, effort="quick", max_width=MAX_GRID_SIDE, max_height=MAX_GRID_SIDE)
        (found,) = self._run([(free, Task(BEGIN, 0))])
        return None if found.board is None else (int(found.board.size[0]), int(found.board.size[1]))

    def _run(self, work: list[tuple[LayoutParams, Task]]) -> list[Found]:
        """Where a process was killed, or could not begin, its work is done again in this one, with the same result."""
        try:
            return self._await([self._submit(params, task) for params, task in work])
        except BrokenProcessPool:
            self._pool.shutdown(cancel_futures=True)
            self._be_alone()
            return self._await([self._submit(params, task) for params, task in work])

    def _be_alone(self) -> None:
        """One thread of this process is all the crew."""
        self._watches = [new_watch()]
        self.stop.reaches(self._watches[0])
        self._pool = ThreadPoolExecutor(1)
        self._listener = Compilations(self._watches[0])
        self._listener.listen()

    def _submit(self, params: LayoutParams, task: Task) -> Future[Found]:
        if isinstance(self._pool, ProcessPoolExecutor):
            with signals_blocked():  # the first calls begin the processes, and they inherit that
                return self._pool.submit(_work, params, task)
        return self._pool.submit(do, self.netlist, params, self.regime, task, self._watches[0])

    def _await(self, futures: list[Future[Found]]) -> list[Found]:
        left: set[Future[Found]] = set(futures)
        while left:
            _, left = wait(left, POLL_S)
            self._tell()
        found = [future.result() for future in futures]
        self._legal = min([one.area for one in found if one.board is not None] + [self._legal or 1 << 60])
        return found

    def _tell(self) -> None:
        if any(row[WATCH_COMPILING] for row in self._watches):
            self.progress("compiling the search, which takes a minute at first use only")
            return
        watch = max(self._watches, key=lambda row: int(row[WATCH_TRIES]))
        areas = [int(row[WATCH_LEGAL]) for row in self._watches if row[WATCH_LEGAL]]
        best = min(areas + ([self._legal] if 0 < self._legal < 1 << 60 else []), default=0)
        told = f"{best:,} tiles so far" if best else "nothing legal yet"
        conflicts = int(watch[WATCH_CONFLICTS])
        where = f"on {watch[WATCH_WIDTH]} x {watch[WATCH_HEIGHT]}: {conflicts} conflict{'s' if conflicts != 1 else ''}"
        told += f"; {where if watch[WATCH_WIDTH] else 'finding places'}; iterations"
        self.progress(told, sum(int(row[WATCH_TRIES]) for row in self._watches))


_OWN: dict[str, Any] = {}
"""In a worker process: its netlist, the regime and its row of the watch."""


def _enter(netlist: Netlist, regime: Regime, room: Any, counter: Any, parent: int) -> None:
    """Begins a worker process with a row of the watch."""
    enter_worker(parent)
    with counter.get_lock():
        number = counter.value
        counter.value += 1
    rows = np.frombuffer(room, np.int64).reshape(-1, len(new_watch()))
    _OWN.update(netlist=netlist, regime=regime, watch=rows[number])
    Compilations(rows[number]).listen()


def _work(params: LayoutParams, task: Task) -> Found:
    return do(_OWN["netlist"], params, _OWN["regime"], task, _OWN["watch"])
