"""Errands: a call in a process of its own gives what it gives here, and leaves no process behind."""

from __future__ import annotations

import multiprocessing
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from hdl2grid.base.errors import InputError
from hdl2grid.base.progress import Progress, silent
from hdl2grid.base.workers import Errand

HERE = str(os.getpid())


def double(number: int, progress: Progress) -> int:
    progress("doubling", 1, 2)
    return 2 * number


def refuse(progress: Progress) -> int:
    raise InputError("C001", "no")


def wait_elsewhere(here: str, progress: Progress) -> str:
    """Waits for good in another process; answers at once in the one that is named."""
    if str(os.getpid()) != here:
        progress("waiting")
        time.sleep(600)
    return "here"


def test_an_errand_returns_what_the_call_returns_and_tells_its_progress() -> None:
    told: list[tuple[str, int | None, int | None]] = []
    errand = Errand(double, 21)
    assert errand.result(lambda *what: told.append(what)) == 42
    assert told == [("doubling", 1, 2)]
    errand.give_up()
    assert multiprocessing.active_children() == []


def test_an_errand_that_raises_raises_here() -> None:
    with pytest.raises(InputError, match="C001"):
        Errand(refuse).result(silent)
    assert multiprocessing.active_children() == []


def test_an_errand_whose_process_is_killed_is_done_here() -> None:
    errand = Errand(wait_elsewhere, HERE)

    def kill(message: str, done: int | None = None, total: int | None = None) -> None:
        os.kill(multiprocessing.active_children()[0].pid or 0, signal.SIGKILL)

    assert errand.result(kill) == "here"
    assert multiprocessing.active_children() == []


def test_an_errand_given_up_leaves_no_process() -> None:
    errand = Errand(wait_elsewhere, HERE)
    assert multiprocessing.active_children() != []
    errand.give_up()
    errand.give_up()
    assert multiprocessing.active_children() == []


def test_a_guide_made_beside_the_proof_is_the_same(tmp_path: Path) -> None:
    plan = [sys.executable, "-m", "hdl2grid", "plan", "traffic_light", "--effort", "quick", "--out"]
    for jobs in ("1", "2"):
        subprocess.run([*plan, str(tmp_path / jobs), "--jobs", jobs], check=True, capture_output=True)
    alone, beside = ({path.name: path.read_bytes() for path in (tmp_path / jobs).iterdir()} for jobs in ("1", "2"))
    assert "guide.pdf" in alone and alone == beside
