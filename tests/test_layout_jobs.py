"""Layout in processes: the same bytes for any number of them, nothing left behind, and no handle on the caller."""

from __future__ import annotations

import multiprocessing
from dataclasses import replace

import numba
import numpy as np
import pytest
from plans import COLOURS, PAIRS

from hdl2grid.base.progress import Progress, silent
from hdl2grid.layout.arrays import WATCH_COMPILING, WATCH_STOP, Ints, new_watch
from hdl2grid.layout.assemble import assemble
from hdl2grid.layout.crew import Compilations, Crew, Stop
from hdl2grid.layout.effort import EFFORTS, Effort, LayoutParams
from hdl2grid.layout.lay_out import lay_out
from hdl2grid.layout.regime import regime_of
from hdl2grid.layout.restart import Found
from hdl2grid.layout.tasks import BEGIN, CUT_DOWN, Task, do
from hdl2grid.nets.form import form_nets
from hdl2grid.nets.model import Netlist
from hdl2grid.plan.json_io import dump_plan


@pytest.fixture(scope="module")
def counter() -> Netlist:
    return form_nets(PAIRS["counter"][1](), None)


def begun(netlist: Netlist, params: LayoutParams, watch: Ints | None = None) -> Found:
    """What the first restart comes to."""
    return do(netlist, params, regime_of(netlist, params.style), Task(BEGIN, 0), watch)


def crew_of(netlist: Netlist, params: LayoutParams, jobs: int, progress: Progress = silent) -> Crew:
    return Crew(netlist, params, regime_of(netlist, params.style), jobs, Stop(), progress)


def plan_bytes(netlist: Netlist, jobs: int) -> str:
    board = lay_out(netlist, LayoutParams("normal", 3), jobs=jobs).board
    return dump_plan(assemble(PAIRS["counter"][1](), netlist, board, None, "default", COLOURS))


def test_any_number_of_processes_gives_the_same_bytes(counter: Netlist) -> None:
    assert plan_bytes(counter, 1) == plan_bytes(counter, 2)
    assert multiprocessing.active_children() == []


def test_a_task_is_the_same_in_a_thread_and_in_processes(counter: Netlist) -> None:
    params = LayoutParams("quick", 2)
    boards = []
    for jobs in (1, 2):
        with crew_of(counter, params, jobs) as crew:
            boards.append([found.board for found in crew.run([Task(BEGIN, i) for i in range(3)])])
    for thread, process in zip(*boards, strict=True):
        assert (thread is None) == (process is None)
        if thread is not None:
            assert all(np.array_equal(a, b) for a, b in zip(thread, process, strict=True))
    assert boards[0][0] is not None


def test_sketches_are_the_same_in_a_thread_and_in_processes(counter: Netlist) -> None:
    """The first of them is effort quick's restart, and cutting it down makes it no dearer."""
    params = LayoutParams("long", 2, style="compact")
    costs = []
    for jobs in (1, 2):
        with crew_of(counter, params, jobs) as crew:
            sketches = crew.sketch(3)
            (less,) = crew.run([Task(CUT_DOWN, -2, sketches[0].board)])
            costs.append([one.cost for one in (*sketches, less)])
    assert costs[0] == costs[1] and costs[0][3] <= costs[0][0]
    assert costs[0][0] == begun(counter, replace(params, effort="quick")).cost
    assert len(set(costs[0][:3])) > 1


def test_a_process_that_is_killed_changes_nothing(counter: Netlist) -> None:
    def kill_all(*_: object) -> None:
        for child in multiprocessing.active_children():
            child.kill()

    params = LayoutParams("quick", 2)
    with crew_of(counter, params, 2, kill_all) as crew:
        found = crew.run([Task(BEGIN, 0)])[0].board
    alone = begun(counter, params).board
    assert found is not None and alone is not None
    assert all(np.array_equal(a, b) for a, b in zip(found, alone, strict=True))
    assert multiprocessing.active_children() == []


def test_stopping_before_there_is_a_plan(counter: Netlist) -> None:
    stop = Stop()
    stop.set()
    with pytest.raises(KeyboardInterrupt, match="no legal plan was found yet"):
        lay_out(counter, LayoutParams("long", 1), stop=stop)
    assert not stop.is_heard


def test_a_stopped_search_keeps_what_is_legal(counter: Netlist) -> None:
    """Stopped at a call of its progress, when the first legal layout is there."""
    stop = Stop()

    def progress(message: str, done: int | None = None, total: int | None = None) -> None:
        if "tiles so far" in message:
            stop.set()

    layout = lay_out(counter, LayoutParams("long", 1), progress, stop)
    assert layout.stats.is_stopped
    assert begun(counter, LayoutParams("quick", 1), new_watch()).board is not None
    assert layout.stats.num_iterations < EFFORTS["long"].rounds * 20_000


def test_no_kernel_begins_when_stopped(counter: Netlist) -> None:
    watch = new_watch()
    watch[WATCH_STOP] = 1
    found = begun(counter, LayoutParams("long", 1), watch)
    assert found.board is None and found.placements == 0


def test_compiling_is_told() -> None:
    """A kernel that is new compiles at its first call, and not at its second."""
    watch, seen = new_watch(), []

    @numba.njit
    def fresh(x: int) -> int:
        return x + 1

    class Seen(Compilations):
        def on_start(self, event: object) -> None:
            super().on_start(event)
            seen.append(int(watch[WATCH_COMPILING]))

    listener = Seen(watch)
    listener.listen()
    fresh(1)
    fresh(2)
    listener.leave()
    assert seen and min(seen) >= 1 and watch[WATCH_COMPILING] == 0


def test_rounds_do_not_depend_on_the_machine() -> None:
    assert all(
        isinstance(effort, Effort) and (effort.rounds == 0) == (effort.batch == 0) for effort in EFFORTS.values()
    )
