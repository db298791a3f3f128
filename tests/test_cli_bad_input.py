"""Bad input of every kind: a clear message, the right exit code, no traceback of ours, nothing half-written."""

from __future__ import annotations

import json
import os
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from hdl2grid.cli import main
from hdl2grid.cli.start_command import starting_design


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


def told(result: Result, exit_code: int, *words: str) -> None:
    """The command ended with `exit_code` and told `words` on stderr, without a traceback."""
    assert result.exit_code == exit_code, result.output
    assert re.search(r"H2G-[A-Z]\d{3}: ", result.stderr), result.stderr
    assert "Traceback" not in result.output and "H2G-C099" not in result.output
    for word in words:
        assert word in result.stderr, result.stderr


def listing(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*") if "__pycache__" not in str(path))


@pytest.fixture(scope="module")
def planned(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the starting design, tea.py, and its result in out/."""
    folder = tmp_path_factory.mktemp("planned")
    (folder / "tea.py").write_text(starting_design(folder / "tea.py"))
    result = run("plan", folder / "tea.py", "--out", folder / "out", "--effort", "quick")
    assert result.exit_code == 0, result.output
    return folder


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def design(here: Path, text: str, name: str = "mine.py") -> Path:
    path = here / name
    path.write_text(text)
    return path


class TestDesigns:
    @pytest.mark.parametrize("command", [("check",), ("plan",), ("plan", "--stop-after", "synthesise")])
    def test_missing(self, here, command):
        told(run(*command, "nothing.py"), 2, "nothing.py")
        told(run(*command, "clock_12"), 2, "clock_12h")
        assert listing(here) == []

    def test_unreadable(self, here):
        (here / "folder.py").mkdir()
        told(run("check", "folder.py"), 2, "folder.py")
        (here / "binary.py").write_bytes(b"\x00\xff\xfe")
        told(run("check", "binary.py"), 2, "binary.py")

    def test_python_error_shows_the_users_own_line(self, here):
        design(here, "x = 1\ny = x / 0\n")
        told(run("plan", "mine.py"), 2, "mine.py:2", "ZeroDivisionError", "y = x / 0")
        design(here, "x = (\n")
        told(run("plan", "mine.py"), 2, "mine.py:1")
        design(here, "import sys\nsys.exit(0)\n")
        told(run("plan", "mine.py"), 2, "mine.py:2")
        assert listing(here) == ["mine.py"]

    def test_no_machine(self, here):
        design(here, "x = 1\n")
        told(run("plan", "mine.py"), 2, "machine")
        design(here, "machine = 3\n")
        told(run("plan", "mine.py"), 2, "machine")

    def test_a_failing_check_is_exit_1_and_an_error_in_it_exit_2(self, here):
        good = starting_design(here / "mine.py")
        design(here, good.replace("ctx.get(timer.ready) == 1", "ctx.get(timer.ready) == 0"))
        for command in ("check", "plan"):
            told(run(command, "mine.py"), 1, "mine.py:", "assert ctx.get(timer.ready) == 0")
        design(here, good.replace('press(ctx, "reset")', 'press(ctx, "rest")'))
        told(run("check", "mine.py"), 2, "reset")
        design(here, good.replace("    await ctx.tick()\n", "    await ctx.tick().nonsense()\n"))
        told(run("check", "mine.py"), 2, "nonsense")
        assert listing(here) == ["mine.py"]

    def test_what_the_design_prints_does_not_spoil_json(self, here):
        design(here, 'print("hello")\n' + starting_design(here / "mine.py"))
        result = run("check", "mine.py", "--json")
        assert result.exit_code == 0 and json.loads(result.stdout)["checks"][0]["passed"]
        assert "hello" in result.stderr


class TestOptions:
    @pytest.mark.parametrize(
        ("options", "word"),
        [
            (("--target", "nogame"), "default"),
            (("--target", "nogame.toml"), "nogame.toml"),
            (("--colours", "red,green,blue"), "3 wire colours"),
            (("--colours", "red,green,blue,red"), "two wire colours"),
            (("--colours", ""), "colour"),
            (("--width", "0"), "--width"),
            (("--height", "1000000000"), "--height"),
        ],
    )
    def test_targets_colours_and_sizes_that_cannot_be(self, here, options, word):
        told(run("plan", "traffic_light", *options), 2, word)
        assert listing(here) == []

    @pytest.mark.parametrize("options", [("--effort", "heroic"), ("--seed", "x"), ("--stop-after", "lunch")])
    def test_usage(self, here, options):
        assert run("plan", "traffic_light", *options).exit_code == 2

    def test_a_period_that_the_game_does_not_have(self, here):
        (here / "game.toml").write_text('name = "game"\n[ticker]\nperiods = [1]\n')
        design(here, starting_design(here / "mine.py"))
        told(run("plan", "mine.py", "--target", "game.toml"), 2, "H2G-T011", "sync", "1 s")

    def test_a_grid_too_small_is_exit_1(self, here):
        design(here, starting_design(here / "mine.py"))
        told(run("plan", "mine.py", "--width", "8", "--height", "8", "--effort", "quick"), 1, "8 x 8", "--width")
        assert listing(here) == ["mine.py"]


class TestResultFolders:
    def test_somebodys_folder_is_left_alone(self, here):
        (here / "out").mkdir()
        (here / "out" / "notes.txt").write_text("mine")
        design(here, starting_design(here / "mine.py"))
        told(run("plan", "mine.py", "--out", "out"), 2, "notes.txt")
        told(run("plan", "mine.py", "--out", "mine.py"), 2, "mine.py")
        told(run("plan", "mine.py", "--out", "/proc/none"), 2, "/proc/none")
        assert listing(here) == ["mine.py", "out", "out/notes.txt"]

    @pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
    def test_a_folder_without_permission(self, here):
        (here / "closed").mkdir(mode=0o500)
        told(run("plan", "traffic_light", "--out", "closed/out"), 2, "closed")


def edited(planned: Path, tmp_path: Path, old: str, new: str) -> Path:
    text = (planned / "out" / "plan.json").read_text()
    assert re.search(old, text), old
    path = tmp_path / "edited.json"
    path.write_text(re.sub(old, new, text, count=1))
    return path


BROKEN = [
    (r'"version": 1', '"version": 2'),
    (r'"format": "hdl2grid plan"', '"format": "plan"'),
    (r'"x": \d+', '"x": "4"'),
    (r'"x": \d+', '"x": NaN'),
    (r'"x": \d+', '"x": 1e400'),
    (r'"x": \d+', '"x": -1'),
    (r'"x": (\d+)', r'"x": \1, "x": \1'),
    (r'"size": \[\d+, \d+\]', '"size": [1000000000, 1000000000]'),
    (r'"size": \[\d+, \d+\]', '"size": [3, 3]'),
    (r'"colours": \["black"', '"colours": ["jade"'),
    (r'"kind": "gate"', '"kind": "gait"'),
    (r'"devices": \[', '"devices": ' + "[" * 100_000),
    (r"\}\s*$", ""),
]


class TestPlans:
    @pytest.mark.parametrize(("old", "new"), BROKEN, ids=[f"{i}" for i in range(len(BROKEN))])
    def test_a_file_that_is_no_plan_is_exit_2_everywhere(self, planned, tmp_path, old, new):
        path = edited(planned, tmp_path, old, new)
        told(run("play", path, "sync"), 2)
        told(run("draw", path), 2)
        told(run("prove", planned / "tea.py", path), 2)
        assert listing(tmp_path) == ["edited.json"]

    def test_missing_empty_binary_and_folder(self, planned, tmp_path):
        (tmp_path / "empty.json").write_text("")
        (tmp_path / "binary.json").write_bytes(b"\xff\xfe\x00")
        for name in ("none.json", "empty.json", "binary.json", "."):
            for command in (("play", tmp_path / name, "sync"), ("draw", tmp_path / name)):
                told(run(*command), 2)

    @pytest.mark.parametrize(
        ("old", "new"),
        [
            (r'"kind": "toggle", "x": (\d+), "y": (\d+), "bit": 1', r'"kind": "toggle", "x": \1, "y": \2, "bit": 0'),
            (r'"lit": true', '"lit": false'),
            (r'"function": "\w+", "name": "([^"]*\.and\d+)"', r'"function": "NOR", "name": "\1"'),
            (r'("orange": \[\s*)\[\d+, \d+, \d+, \d+\],', r"\1"),
        ],
        ids=["toggle flipped", "pixel dark", "function changed", "wire missing"],
    )
    def test_a_plan_that_was_edited_is_found_out_by_prove(self, planned, tmp_path, old, new):
        path = edited(planned, tmp_path, old, new)
        told(run("prove", planned / "tea.py", path), 1)

    def test_a_plan_that_breaks_a_layout_rule_is_played_and_told(self, planned, tmp_path):
        path = edited(planned, tmp_path, r'"orange": \[', r'"orange": [ [0, 0, 0, 0],')
        result = run("play", path, "sync")
        told(result, 1, "H2G-R0", "H2G-C017")
        assert "1 events" in result.stdout

    def test_a_string_for_a_number_is_shown_as_one(self, planned, tmp_path):
        told(run("play", edited(planned, tmp_path, r'"x": \d+', '"x": "4"'), "sync"), 2, 'not "4"')

    def test_a_plan_of_another_design_is_found_out(self, planned):
        told(run("prove", "traffic_light", planned / "out" / "plan.json"), 1)


class TestEvents:
    @pytest.mark.parametrize(
        ("events", "word"),
        [
            ("snyc", "sync"),
            ("sync*", "count"),
            ("sync*0", "count"),
            ("(sync", "never closed"),
            ("sync)", "never opened"),
            ("*3", "*"),
            ("", "no event"),
            ("sync*1000000000000", "1,000,000,000"),
            ("((((sync*1000)*1000)*1000)*1000)*1000", "1,000,000,000"),
            ("(" * 10_000, "deeper"),
        ],
    )
    def test_malformed(self, planned, events, word):
        told(run("play", planned / "out" / "plan.json", events), 2, word)

    @pytest.mark.parametrize("condition", ["=", "nothing=1", "ready=2", "sand=", ""])
    def test_conditions(self, planned, condition):
        told(run("play", planned / "out" / "plan.json", "sync", "--until", condition), 2)

    def test_a_condition_that_is_never_met_is_exit_3(self, planned):
        path = planned / "out" / "plan.json"
        told(run("play", path, "sync", "--until", "ready=1 sand=15", "--limit", "50"), 3, "50")

    def test_a_waveform_is_not_written_over_something(self, planned, tmp_path):
        (tmp_path / "w.vcd").write_text("mine")
        told(run("play", planned / "out" / "plan.json", "sync", "--vcd", tmp_path / "w.vcd"), 2)
        told(run("check", planned / "tea.py", "--vcd", tmp_path / "w.vcd"), 2)
        assert (tmp_path / "w.vcd").read_text() == "mine"
