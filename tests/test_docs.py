"""The docs: commands exist, links lead somewhere, the README's commands and snippets work."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from hdl2grid.cli import main
from hdl2grid.cli.app import COMMANDS

ROOT = Path(__file__).parent.parent
PAGES = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
README = (ROOT / "README.md").read_text()


def block_after(mark: str) -> str:
    found = re.search(rf"^<!-- {mark} -->\n```\w*\n(.*?)^```$", README, re.MULTILINE | re.DOTALL)
    assert found, mark
    return found[1]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page):
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text()):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), target


def test_the_job_comes_first_and_then_two_commands():
    text = README.split("\n", 2)[2]
    assert text.index("For people who build") < text.index("<!-- plan -->") < text.index("<!-- test -->")
    assert README.count("```") % 2 == 0
    for mark in ("plan", "test"):
        assert len(block_after(mark).strip().splitlines()) == 1


def test_ci_runs_the_readmes_test_command():
    script = (ROOT / ".ci" / "run").read_text()
    awk = re.search(r"command=\$\((awk .*?README\.md)\)", script)
    assert awk
    done = subprocess.run(["bash", "-c", awk[1]], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout == block_after("test")


def code_in(page: Path) -> str:
    """All code of a page: blocks and inline."""
    text = page.read_text()
    blocks = re.findall(r"^```\w*\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)
    prose = re.sub(r"^```\w*\n.*?^```$", "", text, flags=re.MULTILINE | re.DOTALL)
    return "\n".join([*blocks, *re.findall(r"`([^`\n]+)`", prose)])


def test_every_command_that_the_docs_name_exists():
    named = set()
    for page in PAGES:
        named |= set(re.findall(r"(?<!from )\bhdl2grid ([a-z]+)\b", code_in(page)))
    assert named >= {"plan", "start", "check", "play"}
    assert named <= set(COMMANDS)
    table = re.findall(r"^\| `([a-z]+)[ `]", README, re.MULTILINE)
    assert set(table) >= set(COMMANDS)


def test_every_option_that_the_readme_names_exists():
    known = set()
    for name in COMMANDS:
        known |= set(re.findall(r"--[a-z-]+", CliRunner().invoke(main, [name, "--help"]).output))
    named = set(re.findall(r"(?:^|\s)(--[a-z][a-z-]+)", code_in(ROOT / "README.md"), re.MULTILINE))
    assert len(named) > 8
    assert named <= known


def test_a_machine_of_your_own(tmp_path, monkeypatch):
    section = README.split("## A machine of your own")[1]
    commands = re.search(r"```sh\n(.*?)```", section, re.DOTALL)
    assert commands
    monkeypatch.chdir(tmp_path)
    for line in commands[1].strip().splitlines():
        arguments = shlex.split(line, comments=True)
        assert arguments[0] == "hdl2grid"
        extra = ["--effort", "quick"] if arguments[1] == "plan" else []
        result = CliRunner().invoke(main, arguments[1:] + extra)
        assert result.exit_code == 0, result.output
        if arguments[1] == "plan":
            assert without_figures(result.stdout, "tea_timer") == without_figures(block_after("output"), "clock_12h")
    assert Path("out/tea_timer/plan.json").exists()


def without_figures(output: str, name: str) -> str:
    """What `plan` prints, but for the machine's name and all numbers."""
    return re.sub(r"\d[\d,]*", "N", output.replace(name, "NAME"))


def test_glossary_has_one_row_a_term():
    terms = re.findall(r"^\| ([^|]+?) \|", (ROOT / "docs" / "glossary.md").read_text(), re.MULTILINE)
    terms = [term for term in terms if term not in ("term", "---")]
    assert len(terms) > 50 and len(set(terms)) == len(terms)


def test_a_guide_is_followed_as_its_page_says(tmp_path, monkeypatch):
    page = (ROOT / "docs" / "guide.md").read_text()
    (example,) = re.findall(r"```python\n(.*?)```", page, re.DOTALL)
    (tmp_path / "plan.json").write_bytes((ROOT / "tests" / "data" / "lights.plan.json").read_bytes())
    monkeypatch.chdir(tmp_path)
    exec(compile(example, "docs/guide.md", "exec"), {})


def test_developers_names_the_rooms_that_there_are():
    text = (ROOT / "DEVELOPERS.md").read_text()
    for name in re.findall(r"`([a-z_]+(?:\.py|/[a-z_/]*(?:\.py)?))`", text.split("## Rooms")[1].split("## Adding")[0]):
        assert (ROOT / "hdl2grid" / name).exists() or (ROOT / name).exists(), name


def test_completion_is_offered_for_the_shells_that_the_readme_names():
    for shell in re.findall(r"_HDL2GRID_COMPLETE=(\w+)_source", README):
        environment = {"_HDL2GRID_COMPLETE": f"{shell}_source", "PATH": "/usr/bin:/bin"}
        done = subprocess.run(
            [sys.executable, "-m", "hdl2grid"], capture_output=True, text=True, env=environment, check=False
        )
        assert "hdl2grid" in done.stdout, done.stderr


def test_designs_and_commands_are_completed():
    words = {"COMP_WORDS": "hdl2grid plan clo", "COMP_CWORD": "2", "_HDL2GRID_COMPLETE": "bash_complete"}
    done = subprocess.run([sys.executable, "-m", "hdl2grid"], capture_output=True, text=True, env=words, check=False)
    assert "plain,clock_12h" in done.stdout, done.stdout + done.stderr
