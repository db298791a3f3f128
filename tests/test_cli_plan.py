"""`hdl2grid plan`, and what may be done with its result folder."""

from __future__ import annotations

import csv
import filecmp
import hashlib
import io
import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from click.testing import CliRunner, Result
from PIL import Image

from hdl2grid.cli import main
from hdl2grid.cli.start_command import starting_design

ROOT = Path(__file__).parent.parent
GUIDE = ["guide.html", "guide.json", "guide.pdf", "guide.txt"]
DRAWINGS = ["plan-circuit.svg", "plan-sheets.pdf", "plan-states.svg", "plan-timing.svg", "plan.png", "plan.svg"]
FILES = sorted([*GUIDE, *DRAWINGS, "circuit.json", "index.html", "parts.csv", "plan.json", "report.md"])


def run(*arguments: object) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def tea(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, dict]:
    """The starting design in a folder of its own, planned into out/; the folder and the --json report."""
    folder = tmp_path_factory.mktemp("tea")
    (folder / "tea.py").write_text(starting_design(folder / "tea.py"))
    result = run("plan", folder / "tea.py", "--out", folder / "out", "--effort", "quick", "--json")
    assert result.exit_code == 0, result.output
    return folder, json.loads(result.stdout)


def test_the_folder_has_every_file_and_nothing_else(tea):
    folder, report = tea
    assert sorted(path.name for path in (folder / "out").iterdir()) == FILES == report["files"]


def test_the_report_on_stdout_says_what_the_files_say(tea):
    folder, report = tea
    plan = json.loads((folder / "out" / "plan.json").read_text())
    circuit = json.loads((folder / "out" / "circuit.json").read_text())
    assert (report["machine"], report["verdict"], report["exit_code"]) == ("tea", "proved", 0)
    assert [report["size"]["columns"], report["size"]["rows"]] == plan["size"]
    assert report["stacks"]["all"] == len(circuit["stacks"]) == sum(report["stacks"]["by_kind"].values())
    assert report["checks"][0]["passed"] and not report["findings"]
    assert all(item["good"] for item in report["evidence"]) and len(report["evidence"]) >= 4
    text = (folder / "out" / "report.md").read_text()
    for item in report["evidence"]:
        assert item["what"] in text and item["result"] in text
    layout = report["layout"]
    assert layout["area"] == report["size"]["tiles of the grid"] and layout["strokes"] == report["size"]["strokes"]
    assert sum(layout["wire_by_colour"].values()) == report["size"]["wire tiles"]
    assert layout["num_iterations"] > 0 and f"| bends | {layout['bends']:,} |" in text
    assert f"| wire over its lower bound | {layout['wire'] / layout['wire_bound']:.3f} |" in text


def test_json_files_keep_their_schemas(tea):
    folder, _ = tea
    for name in ("plan", "circuit"):
        schema = json.loads((ROOT / "docs" / f"{name}.schema.json").read_text())
        jsonschema.validate(json.loads((folder / "out" / f"{name}.json").read_text()), schema)


def test_pictures_open_and_parts_add_up(tea):
    folder, report = tea
    assert Image.open(folder / "out" / "plan.png").size[0] > 300
    assert "</svg>" in (folder / "out" / "plan.svg").read_text()
    parts = list(csv.DictReader(io.StringIO((folder / "out" / "parts.csv").read_text())))
    plan = json.loads((folder / "out" / "plan.json").read_text())
    assert sum(int(row["number"]) for row in parts if row["part"] != "wire") == len(plan["devices"])
    assert sum(int(row["number"]) for row in parts if row["part"] == "wire") == report["size"]["wire tiles"]


def test_guide_and_page_are_of_this_very_plan(tea):
    folder, _ = tea
    sha = hashlib.sha256((folder / "out" / "plan.json").read_bytes()).hexdigest()
    assert json.loads((folder / "out" / "guide.json").read_text())["plan_sha256"] == sha
    page = (folder / "out" / "index.html").read_text()
    assert sha in page and '"guide":{' in page and "tea.py:" in page


def test_the_timing_chart_is_of_the_designs_check(tea):
    folder, report = tea
    (check,) = report["checks"]
    assert f"{check['ticks']['sync'] + check['presses']} events" in (folder / "out" / "plan-timing.svg").read_text()


def test_source_lines_do_not_tell_where_the_design_lies(tea):
    folder, _ = tea
    for name in ("circuit.json", "report.md"):
        assert str(folder) not in (folder / "out" / name).read_text()
    assert "tea.py:" in (folder / "out" / "circuit.json").read_text()


def test_the_plan_plays_and_proves(tea):
    folder, _ = tea
    plan = folder / "out" / "plan.json"
    played = run("play", plan, "sync*3", "--json")
    assert played.exit_code == 0 and json.loads(played.stdout)["values"]["sand"] == 0b0001
    until = run("play", plan, "sync", "--until", "ready", "--json")
    assert json.loads(until.stdout)["events"] == 4
    proved = run("prove", folder / "tea.py", plan)
    assert proved.exit_code == 0 and "5 states" in proved.stdout


def test_a_plan_is_held_to_the_floorplan_when_it_is_proved(tea):
    folder, _ = tea
    text = (folder / "tea.py").read_text()
    text = text.replace("import Button,", "import Floorplan, Button,")
    narrow = text.replace("clocks={", "floorplan=Floorplan(width=5),\n    clocks={")
    (folder / "narrow.py").write_text(narrow)
    held = run("prove", folder / "narrow.py", folder / "out" / "plan.json", "--json")
    assert held.exit_code == 1 and "V030" in held.output and json.loads(held.stdout)["verdict"] == "proved"
    (folder / "wide.py").write_text(narrow.replace("width=5", "width=64"))
    kept = run("prove", folder / "wide.py", folder / "out" / "plan.json")
    assert kept.exit_code == 0 and "floorplan: " in kept.stdout


def test_the_same_bytes_whatever_the_hash_seed_and_the_folder(tea, tmp_path):
    folder, _ = tea
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "elsewhere" / "tea.py").write_text((folder / "tea.py").read_text())
    command = [sys.executable, "-m", "hdl2grid", "plan", "elsewhere/tea.py", "--out", "again", "--effort", "quick"]
    environment = {**os.environ, "PYTHONHASHSEED": "4242"}
    subprocess.run(command, cwd=tmp_path, env=environment, check=True, capture_output=True)
    for name in FILES:
        assert filecmp.cmp(tmp_path / "again" / name, folder / "out" / name, shallow=False), name


def test_stop_after_synthesise_writes_circuit_and_report_only(tmp_path):
    result = run("plan", "traffic_light", "--stop-after", "synthesise", "--out", tmp_path / "out", "--json")
    assert result.exit_code == 0
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == ["circuit.json", "report.md"]
    assert json.loads(result.stdout)["size"] is None


def test_colours_and_target_reach_the_plan(tmp_path):
    design = tmp_path / "tea.py"
    design.write_text(starting_design(design))
    (tmp_path / "game.toml").write_text('name = "game"\n[grid]\nmax_width = 60\nmax_height = 60\n')
    options = ("--target", tmp_path / "game.toml", "--colours", "red,green,blue,white", "--effort", "quick")
    result = run("plan", design, "--out", tmp_path / "out", *options)
    assert result.exit_code == 0, result.output
    plan = json.loads((tmp_path / "out" / "plan.json").read_text())
    assert plan["colours"] == ["red", "green", "blue", "white"] and plan["target"] == "game"
    assert "red (RD)" in (tmp_path / "out" / "plan.svg").read_text()


def test_without_out_results_go_to_a_folder_of_the_machines_name(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("egg.py").write_text(starting_design(Path("egg.py")))
    assert run("plan", "egg.py", "--stop-after", "synthesise").exit_code == 0
    assert Path("out/egg/circuit.json").exists()
    assert run("plan", "egg.py", "--effort", "quick").exit_code == 0
    assert sorted(path.name for path in Path("out/egg").iterdir()) == FILES


def test_without_its_guide_a_plan_still_has_its_page(tea, tmp_path):
    folder, _ = tea
    result = run("plan", folder / "tea.py", "--out", tmp_path / "out", "--effort", "quick", "--no-guide")
    assert result.exit_code == 0, result.output
    assert sorted(path.name for path in (tmp_path / "out").iterdir()) == [name for name in FILES if name not in GUIDE]
    assert '"guide":null' in (tmp_path / "out" / "index.html").read_text()


def test_guide_and_page_of_an_earlier_run_go_and_somebodys_own_stay(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("egg.py").write_text(starting_design(Path("egg.py")))
    assert run("plan", "egg.py", "--effort", "quick").exit_code == 0
    out = Path("out/egg")
    out.joinpath("guide.txt").write_text("My own notes on hdl2grid.")
    assert run("plan", "egg.py", "--stop-after", "synthesise").exit_code == 1 + 1
    out.joinpath("guide.txt").rename(out / "notes.txt")
    assert run("plan", "egg.py", "--stop-after", "synthesise").exit_code == 0
    assert sorted(path.name for path in out.iterdir()) == ["circuit.json", "notes.txt", "report.md"]


def test_a_rejected_plan_is_kept_under_another_name(tmp_path, monkeypatch):
    """A layout that comes out wrong is rejected: here every plan loses a stroke of wire on its way out."""
    from dataclasses import replace

    from hdl2grid.layout import retries

    right = retries.assemble

    def wrong(*arguments):
        plan = right(*arguments)
        return replace(plan, wires=(plan.wires[0][1:], *plan.wires[1:]))

    monkeypatch.chdir(tmp_path)
    Path("egg.py").write_text(starting_design(Path("egg.py")))
    assert run("plan", "egg.py", "--effort", "quick").exit_code == 0
    monkeypatch.setattr(retries, "assemble", wrong)
    result = run("plan", "egg.py", "--effort", "quick", "--json")
    assert result.exit_code == 1 and "H2G-C014" in result.stderr
    left = sorted(path.name for path in Path("out/egg").iterdir())
    assert left == ["circuit.json", "parts.csv", "plan.png", "plan.rejected.json", "plan.svg", "report.md"]
    assert "**rejected**" in Path("out/egg/report.md").read_text()
    assert json.loads(result.stdout)["exit_code"] == 1
