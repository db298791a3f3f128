"""The editions that people read: pictures, HTML, PDF, and the command that writes them all."""

from __future__ import annotations

import io
import json
import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest
from click.testing import CliRunner
from support.made_plans import DATA, guide_named, plan_named

from hdl2grid.base.target import load_target
from hdl2grid.cli import main
from hdl2grid.guide.model import PICTURE
from hdl2grid.guide.sentences import Words
from hdl2grid.guide.text_in import parse_text
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.show import guide_pdf as pdf
from hdl2grid.show.guide_html import guide_html
from hdl2grid.show.guide_pdf import guide_pdf
from hdl2grid.show.guide_picture import RULER, TILE, step_pictures

pypdf = pytest.importorskip("pypdf")
TARGET = load_target()
NAMES = ("counter", "odd", "lights")


class Elements(HTMLParser):
    """Counts elements, and asks that those that need it are closed in order."""

    EMPTY = {"meta", "input", "br", "path", "rect", "circle", "line", "use", "polyline", "polygon"}

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.count: dict[str, int] = {}
        self.ids: list[str] = []
        self.links: list[str] = []

    def handle_starttag(self, tag, attrs):
        self.count[tag] = self.count.get(tag, 0) + 1
        self.ids += [value for key, value in attrs if key == "id"]
        self.links += [value for key, value in attrs if key in ("href", "src", "xlink:href")]
        if tag not in self.EMPTY:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in self.EMPTY:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


@pytest.mark.parametrize("name", NAMES)
def test_the_html_is_whole_and_asks_for_nothing(name):
    guide = guide_named(name)
    page = Elements()
    text = guide_html(guide, TARGET)
    page.feed(text)
    assert page.open == []
    assert len(page.ids) == len(set(page.ids))
    assert all(link.startswith("#") and link[1:] in page.ids for link in page.links)
    assert not re.search(r"https?://(?!www\.w3\.org/)|url\(|@import", text)
    steps = list(guide.steps())
    assert page.count["article"] == len(steps)
    for step in steps:
        assert f"> {step.number} " in text
    assert "Restore sheet" in text and "From-to list" in text
    assert guide_html(guide, TARGET) == text


@pytest.mark.parametrize("name", NAMES[:2])
def test_the_pdf_opens_and_says_every_step(name):
    guide = guide_named(name)
    data = guide_pdf(guide, TARGET)
    assert guide_pdf(guide, TARGET) == data
    reader = pypdf.PdfReader(io.BytesIO(data))
    text = "\n".join(page.extract_text() for page in reader.pages)
    for step in guide.steps():
        assert step.number in text
    assert "Restore sheet" in text and "From-to list" in text
    width, height = (float(v) / 72 * 25.4 for v in reader.pages[0].mediabox[2:])
    assert (round(width), round(height)) == (210, 297)


@pytest.mark.parametrize("name", NAMES)
def test_a_step_takes_no_more_of_a_page_than_was_measured(name):
    """Else what lies lowest, a caption say, goes on a page of its own, and the step's words with it."""
    for step, picture in step_pictures(guide_named(name), TARGET):
        for size in pdf._sizes(step, picture, Words()):
            pages = pdf._Pages("page")
            top = pages.y
            pdf._step(pages, size)
            assert len(pages.done) == 1
            assert pages.y - pdf.BELOW - top <= size.height + 1e-6


@pytest.mark.parametrize("name", NAMES)
def test_a_caption_tells_just_the_marks_that_are_in_the_picture(name):
    for step, picture in step_pictures(guide_named(name), TARGET):
        if picture is not None and step.area is not None:
            x0, y0, x1, y1 = step.area
            pressed = [a.tile for a in step.actions if a.do in ("press", "tick") and a.tile]
            is_seen = any(x0 <= x <= x1 and y0 <= y <= y1 for x, y in pressed)
            assert ("ring" in picture.caption) == is_seen


@pytest.mark.parametrize("name", NAMES)
def test_pictures_are_small_and_show_what_is_new(name):
    for step, picture in step_pictures(guide_named(name), TARGET):
        if picture is None:
            assert not any(action.is_thing for action in step.actions)
            continue
        assert picture.width <= RULER + PICTURE[0] * TILE + 2
        assert picture.height <= RULER + PICTURE[1] * TILE + 2
        assert step.area is not None
        x0, y0, x1, y1 = step.area
        for action in step.actions:
            ends = [action.stroke[:2], action.stroke[2:]] if action.stroke else []
            ends += [(action.device.x, action.device.y)] if action.device else []
            assert all(x0 <= x <= x1 and y0 <= y <= y1 for x, y in ends), step.text
        if step.keep_clear:
            assert "keep clear" in picture.caption


def test_the_command_writes_all_editions(tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_bytes((DATA / "lights.plan.json").read_bytes())
    result = CliRunner().invoke(main, ["guide", str(plan), "--json"])
    assert result.exit_code == 0, result.output
    report = json.loads(result.stdout)
    files = ["guide.html", "guide.json", "guide.pdf", "guide.txt", "index.html"]
    assert report["files"] == files
    assert sorted(p.name for p in tmp_path.iterdir()) == sorted(["plan.json", *files])
    found = parse_text((tmp_path / "guide.txt").read_text())
    assert json.loads((tmp_path / "guide.json").read_text())["plan_sha256"] == found.plan_sha256
    assert CliRunner().invoke(main, ["guide", str(plan)]).exit_code == 0


def test_the_command_writes_over_nothing_of_yours(tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(dump_plan(plan_named("counter")))
    (tmp_path / "guide.txt").write_text("my notes\n")
    result = CliRunner().invoke(main, ["guide", str(plan)])
    assert result.exit_code == 2
    assert "C004" in result.output
    assert (tmp_path / "guide.txt").read_text() == "my notes\n"


def test_the_command_refuses_a_broken_plan(tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(dump_plan(plan_named("counter")).replace('"straight"', '"bent"'))
    assert CliRunner().invoke(main, ["guide", str(plan)]).exit_code == 2
    text = dump_plan(plan_named("counter")).replace("[0, 1, 6, 1]", "[0, 1, 7, 1]")
    plan.write_text(text)
    result = CliRunner().invoke(main, ["guide", str(plan), "--out", str(tmp_path / "new")])
    assert result.exit_code == 1
    assert "G001" in result.output
    assert not Path(tmp_path / "new").exists()


def test_a_guide_is_written_again_where_its_own_lies(tmp_path):
    """A folder with nothing but an earlier guide is ours too."""
    plan = tmp_path / "plan.json"
    plan.write_text(dump_plan(plan_named("blinker")))
    for _ in range(2):
        result = CliRunner().invoke(main, ["guide", str(plan), "--out", str(tmp_path / "guide")])
        assert result.exit_code == 0, result.output


def test_a_guide_for_another_game_says_so(tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(dump_plan(replace(plan_named("blinker"), target="caves")))
    result = CliRunner().invoke(main, ["guide", str(plan), "--out", str(tmp_path / "guide")])
    assert result.exit_code == 0 and "made for the target 'caves'" in result.stderr


@pytest.mark.parametrize("name", ["blinker", "lights"])
def test_the_start_of_a_ticker_says_when_the_panel_moves(name):
    """Blinker's switch is off, so its ticker changes nothing; the lights move on."""
    told = " ".join(step.text for step in guide_named(name).steps() if "Start the ticker" in step.text)
    assert ("stays so as long as the switches" in told) == (name == "blinker")
    assert ("moves on with" in told) == (name == "lights")
