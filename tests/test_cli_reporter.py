"""Progress on stderr: quiet for short stages, one line in place on a terminal, few lines elsewhere."""

from __future__ import annotations

import io
import time

import pytest

from hdl2grid.cli import reporter as module
from hdl2grid.cli.reporter import Reporter


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@pytest.fixture
def clock(monkeypatch):
    class Clock:
        now = 0.0

    monkeypatch.setattr(module.time, "monotonic", lambda: Clock.now)
    monkeypatch.setattr(module, "REFRESH_S", 1000.0)
    return Clock


def test_short_stages_are_silent(clock):
    out = io.StringIO()
    with Reporter(out) as reporter:
        reporter.stage("load")
        clock.now += 0.9
        reporter("reading", 1, 2)
        reporter.stage("place")
    assert out.getvalue() == ""


def test_a_log_gets_few_lines_and_the_end(clock):
    out = io.StringIO()
    with Reporter(out) as reporter:
        reporter.stage("place")
        for _ in range(100):
            clock.now += 1
            reporter("tries", int(clock.now), 1000)
    lines = out.getvalue().splitlines()
    assert lines[0] == "place: 1 s, tries (1 of 1,000)"
    assert lines[-1] == "place: done in 100.0 s"
    assert len(lines) == 8, "at 1, 2, 4, 8, 16, 32 and 64 seconds, and at the end"


def test_a_terminal_gets_one_line_in_place(clock):
    out = Terminal()
    with Reporter(out) as reporter:
        reporter.stage("place")
        for _ in range(5):
            clock.now += 1
            reporter("tries", int(clock.now))
        reporter.note("a word")
    text = out.getvalue()
    assert text.count("\n") == 2 and text.count("\r") >= 5
    assert text.endswith("place: done in 5.0 s\n") and "a word\n" in text


def test_verbose_tells_every_stage(clock):
    out = io.StringIO()
    with Reporter(out, verbose=True) as reporter:
        reporter.stage("load")
    assert out.getvalue() == "load: done in 0.0 s\n"


def test_a_stage_that_never_calls_is_told_all_the_same(monkeypatch):
    monkeypatch.setattr(module, "FIRST_WORD_S", 0.05)
    monkeypatch.setattr(module, "REFRESH_S", 0.01)
    out = io.StringIO()
    with Reporter(out) as reporter:
        reporter.stage("compile")
        time.sleep(0.3)
    assert out.getvalue().startswith("compile: 0 s\n")


def test_a_stage_that_never_calls_can_be_followed(clock):
    out = io.StringIO()
    with Reporter(out) as reporter:
        reporter.stage("play")
        reporter.follow("waves", lambda: 7, 10)
        clock.now += 1
        reporter._tell()
    assert out.getvalue().splitlines()[0] == "play: 1 s, waves (7 of 10)"


def test_a_stage_that_fails_is_not_done(clock):
    out = io.StringIO()
    with pytest.raises(ValueError), Reporter(out) as reporter:
        reporter.stage("play")
        clock.now += 2
        raise ValueError
    assert out.getvalue() == "play: stopped after 2.0 s\n"


def test_a_stream_that_is_gone_does_not_stop_the_work(clock):
    out = io.StringIO()
    with Reporter(out) as reporter:
        reporter.stage("place")
        clock.now += 3
        out.close()
        reporter("tries")
