"""Ctrl-C and SIGTERM at a real process: what is legal so far is proved and written, or nothing is."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from hdl2grid.cli.stopping import signals_held, stopping
from hdl2grid.layout.arrays import WATCH_STOP, new_watch
from hdl2grid.layout.crew import Stop

PLAN = [sys.executable, "-m", "hdl2grid", "plan", "--no-guide", "--json"]
LIMIT_S = 120
LEGAL, NOTHING = "tiles so far", "nothing legal yet"


def start(*options: str) -> subprocess.Popen[str]:
    """The command in a group of its own, as a terminal starts it; a shell may have told us to ignore SIGINT."""
    return subprocess.Popen(
        [*PLAN, *options],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
    )


def signal_when(process: subprocess.Popen[str], words: str, number: int) -> list[str]:
    """Sends a signal to the whole group as soon as the progress says `words`; all lines of progress."""
    assert process.stderr is not None
    killer = threading.Timer(LIMIT_S, process.kill)
    killer.start()
    lines = []
    sent = False
    for line in process.stderr:
        lines.append(line)
        if words in line and not sent:
            os.killpg(process.pid, number)
            sent = True
    killer.cancel()
    assert sent, lines
    return lines


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
@pytest.mark.parametrize("jobs", ["1", "2"])
def test_the_best_legal_plan_is_proved_and_written(tmp_path: Path, jobs: str, number: int) -> None:
    out = tmp_path / "out"
    process = start("dice", "--effort", "long", "--jobs", jobs, "--out", str(out))
    lines = signal_when(process, LEGAL, number)
    assert process.stdout is not None
    report = json.loads(process.stdout.read())
    assert process.wait(LIMIT_S) == 0, lines
    assert report["verdict"] == "proved" and report["layout"]["is_stopped"] is True
    assert any("best legal plan so far" in line for line in lines)
    assert (out / "plan.json").exists() and (out / "report.md").exists()
    assert not list(out.glob(".*"))
    proved = subprocess.run(
        [sys.executable, "-m", "hdl2grid", "prove", "dice", str(out / "plan.json")], capture_output=True
    )
    assert proved.returncode == 0, proved.stderr


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_before_any_legal_plan_nothing_is_written(tmp_path: Path, jobs: str) -> None:
    out = tmp_path / "out"
    process = start("clock_24h", "--effort", "long", "--jobs", jobs, "--out", str(out))
    lines = signal_when(process, NOTHING, signal.SIGINT)
    assert process.stdout is not None
    report = json.loads(process.stdout.read())
    assert process.wait(LIMIT_S) == 130 == report["exit_code"], lines
    assert "interrupted: no legal plan was found yet\n" in lines
    assert not any("Traceback" in line for line in lines)
    assert list(tmp_path.iterdir()) == []


def test_a_second_signal_gives_up() -> None:
    stop, told = Stop(), []
    watch = new_watch()
    with stopping(stop, told.append):
        stop.reaches(watch)
        os.kill(os.getpid(), signal.SIGINT)
        assert stop.is_set and watch[WATCH_STOP] == 1 and len(told) == 1
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGINT)


def test_a_terminate_that_comes_twice_at_once_is_one(monkeypatch: pytest.MonkeyPatch) -> None:
    """As GNU coreutils' `timeout` sends it: to the process, and then to the group that it is in."""
    stop, told = Stop(), []
    with stopping(stop, told.append):
        stop.reaches(new_watch())
        os.kill(os.getpid(), signal.SIGTERM)
        os.kill(os.getpid(), signal.SIGTERM)
        assert stop.is_set and len(told) == 1
        monkeypatch.setattr("hdl2grid.cli.stopping.ECHO_S", 0.0)
        with pytest.raises(KeyboardInterrupt):
            os.kill(os.getpid(), signal.SIGTERM)


def test_a_signal_ends_at_once_what_has_nothing_to_hand_out() -> None:
    stop, watch = Stop(), new_watch()
    stop.reaches(watch)
    stop.leave()
    with stopping(stop, print), pytest.raises(KeyboardInterrupt):
        os.kill(os.getpid(), signal.SIGTERM)
    assert not stop.is_set


def test_a_signal_waits_for_what_must_not_be_left_half_done() -> None:
    done = []
    with pytest.raises(KeyboardInterrupt), signals_held():
        os.kill(os.getpid(), signal.SIGINT)
        done.append(True)
    assert done
