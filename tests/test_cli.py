"""The command line: every command's ending, what goes to stdout and what to stderr, the files written."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import click
import pytest
from click.testing import CliRunner, Result
from support.plans import counter_plan

from hdl2grid.base.outputs import ResultFolder, write_new_file
from hdl2grid.cli import main
from hdl2grid.cli.app import COMMANDS
from hdl2grid.cli.session import ErrorHandlingGroup
from hdl2grid.plan.json_io import dump_plan


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture
def plan_file(tmp_path: Path) -> Path:
    path = tmp_path / "counter" / "plan.json"
    path.parent.mkdir()
    path.write_text(dump_plan(counter_plan()))
    return path


def listing(folder: Path) -> list[str]:
    return sorted(str(path.relative_to(folder)) for path in folder.rglob("*"))


def test_help_names_every_command_and_exit_code():
    text = run("--help").output
    for name in COMMANDS:
        assert name in text
        assert run(name, "--help").exit_code == 0
    for code in ("0 done", "1 the design", "2 bad input", "3 undecided"):
        assert code in " ".join(text.split())


@pytest.mark.parametrize("arguments", [("plann",), ("draw",), ("draw", "x", "--tile", "wide"), ("--nope",)])
def test_wrong_usage_is_exit_2(arguments):
    result = run(*arguments)
    assert result.exit_code == 2
    assert "Traceback" not in result.output


def test_start_writes_a_design_and_overwrites_nothing(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert run("start", "tea-timer").exit_code == 0
    text = Path("tea-timer.py").read_text()
    assert "class TeaTimer(" in text and "@" not in text.replace("@NAME@", "")
    compile(text, "tea-timer.py", "exec")
    again = run("start", "tea-timer")
    assert again.exit_code == 2 and "H2G-C004" in again.stderr
    assert Path("tea-timer.py").read_text() == text
    for name in ("9lives", "a b", "", "x" * 80):
        result = run("start", name)
        assert result.exit_code == 2 and "H2G-C010" in result.stderr
    assert run("start", "no/such/folder/x").exit_code == 2
    assert listing(tmp_path) == ["tea-timer.py"]


def test_draw_writes_beside_the_plan_or_where_told(plan_file, tmp_path):
    result = run("draw", plan_file)
    assert result.exit_code == 0
    assert listing(plan_file.parent) == ["plan.json", "plan.png", "plan.svg"]
    assert run("draw", plan_file, "--out", tmp_path / "x" / "y").exit_code == 0
    assert listing(tmp_path / "x") == ["y", "y/plan.png", "y/plan.svg"]
    assert run("draw", plan_file, "--out", tmp_path / "z.svg", "--tile", "40").exit_code == 0
    assert (tmp_path / "z.svg").read_text().startswith("<svg")
    again = run("draw", plan_file, "--out", tmp_path / "x" / "y", "--json")
    assert again.exit_code == 0 and len(json.loads(again.stdout)["files"]) == 2


def test_draw_spares_what_is_not_its_own(plan_file, tmp_path):
    (plan_file.parent / "plan.svg").write_text("mine")
    (tmp_path / "full").mkdir()
    (tmp_path / "full" / "notes.txt").write_text("mine")
    for arguments in ((), ("--out", tmp_path / "full"), ("--out", plan_file.parent / "plan.svg")):
        result = run("draw", plan_file, *arguments)
        assert result.exit_code == 2 and "H2G-C00" in result.stderr
    assert (plan_file.parent / "plan.svg").read_text() == "mine"
    assert listing(tmp_path / "full") == ["notes.txt"]


def test_errors_under_json_are_json_on_stdout_and_text_on_stderr(tmp_path):
    result = run("draw", tmp_path / "none.json", "--json")
    assert result.exit_code == 2
    error = json.loads(result.stdout)
    assert error["exit_code"] == 2 and error["error"]["code"].startswith("H2G-J")
    assert error["error"]["code"] in result.stderr


def test_target_is_shown_checked_and_started(tmp_path):
    assert "[[colours]]" in run("target").stdout
    assert json.loads(run("target", "show", "--json").stdout)["name"] == "default"
    file = tmp_path / "mine.toml"
    assert run("target", "start", file).exit_code == 0
    assert run("target", "start", file).exit_code == 2
    checked = run("target", "check", file)
    assert checked.exit_code == 0 and "target mine" in checked.stdout
    file.write_text("name = 3")
    wrong = run("target", "check", file)
    assert wrong.exit_code == 2 and "H2G-T006" in wrong.stderr
    assert run("target", "check", tmp_path / "none.toml").exit_code == 2
    assert run("target", "check", "default").exit_code == 2


def test_explain():
    assert "four different" in run("explain", "t008").stdout
    assert len(run("explain").stdout.splitlines()) > 20
    assert run("explain", "Z999").exit_code == 2


class TestEndings:
    """Every way in which a command can end has its exit code and no traceback."""

    @staticmethod
    def ending(error: BaseException, *flags: str) -> Result:
        @click.group(cls=ErrorHandlingGroup)
        def group() -> None: ...

        @group.command()
        def fail() -> None:
            raise error

        from hdl2grid.cli.session import output_options

        output_options(fail)
        return CliRunner().invoke(group, ["fail", *flags])

    def test_a_fault_of_our_own_is_70_and_one_line(self):
        result = self.ending(ZeroDivisionError("oh\nno"))
        assert result.exit_code == 70
        assert "H2G-C099" in result.stderr and "Traceback" not in result.stderr

    def test_verbose_shows_where(self):
        assert "Traceback" in self.ending(ZeroDivisionError("oh"), "-v").stderr

    def test_interrupted_is_130(self):
        assert self.ending(KeyboardInterrupt()).exit_code == 130

    def test_a_reader_that_went_away_is_141(self):
        command = f"{sys.executable} -m hdl2grid explain"
        script = f"set -o pipefail; {command} | true; echo $?"
        done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)
        assert done.stdout.strip() in ("0", "141") and done.stderr == ""


class TestResultFolder:
    def test_a_failed_run_leaves_nothing_behind(self, tmp_path):
        ResultFolder(tmp_path / "a" / "b")
        assert listing(tmp_path) == []

    def test_results_replace_an_earlier_run_and_nothing_else(self, tmp_path):
        folder = ResultFolder(tmp_path / "out")
        plan = dump_plan(counter_plan())
        folder.write({"plan.json": plan, "report.md": "one"})
        (tmp_path / "out" / "notes.txt").write_text("mine")
        again = ResultFolder(tmp_path / "out")
        again.write({"plan.rejected.json": plan})
        assert listing(tmp_path / "out") == ["notes.txt", "plan.rejected.json"]

    def test_a_folder_of_somebodys_is_refused(self, tmp_path):
        for name, text in (("plan.json", '{"format": "other"}'), ("report.md", "mine")):
            folder = tmp_path / name.replace(".", "_")
            folder.mkdir()
            (folder / name).write_text(text)
            with pytest.raises(Exception, match="H2G-C002"):
                ResultFolder(folder)

    def test_places_that_cannot_be_written(self, tmp_path):
        (tmp_path / "file").write_text("mine")
        for path in (
            tmp_path / "file",
            tmp_path / "file" / "x",
            Path("/proc/nowhere"),
            tmp_path / ("n" * 300),
        ):
            with pytest.raises(Exception, match="H2G-C003"):
                ResultFolder(path)
        assert (tmp_path / "file").read_text() == "mine"

    def test_leftovers_of_a_killed_run_are_not_somebodys(self, tmp_path):
        (tmp_path / ".hdl2grid-abc.tmp").write_text("")
        ResultFolder(tmp_path)

    def test_a_file_that_cannot_be_finished_is_not_there(self, tmp_path, monkeypatch):
        def fail(*_: object) -> None:
            raise OSError(28, "No space left on device")

        monkeypatch.setattr(os, "replace", fail)
        with pytest.raises(Exception, match="No space left"):
            write_new_file(tmp_path / "x.py", "text")
        with pytest.raises(Exception, match="No space left"):
            ResultFolder(tmp_path / "out").write({"plan.json": "{}"})
        assert listing(tmp_path) == []
