"""The page as a file: what stands in it, how large it is, and what its policy lets it do."""

from __future__ import annotations

import base64
import hashlib
import json
import re
import shutil
import subprocess
from html.parser import HTMLParser

import pytest
from support.browser import big_plan
from support.plain_guide import plain_guide
from support.plans import blinker_plan, counter_circuit, counter_plan

from hdl2grid.base.colours import contrast
from hdl2grid.base.errors import InputError
from hdl2grid.circuit.model import FUNCTIONS
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show.page import page_html
from hdl2grid.show.page_script import page_file, page_script
from hdl2grid.show.page_symbols import SAMPLES, page_symbols


class Elements(HTMLParser):
    """All elements with their attributes, and the texts of scripts and styles."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.texts: dict[str, list[str]] = {}
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        self.found.append((tag, dict(attrs)))

    def handle_data(self, data):
        if self.found and self.found[-1][0] in ("script", "style"):
            self.texts.setdefault(self.found[-1][0], []).append(data)


def data_of(html: str) -> dict:
    return json.loads(re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.S)[1])


def test_nothing_in_the_page_asks_for_another_file():
    found = Elements(page_html(counter_plan(), counter_circuit()))
    for tag, attributes in found.found:
        assert tag not in ("img", "iframe", "object", "embed", "audio", "video", "base", "form")
        assert "src" not in attributes and "style" not in attributes
        assert attributes.get("href", "#").startswith(("#", "data:,"))
        assert not any(name.startswith("on") for name in attributes), "the policy forbids inline handlers"
    assert "@import" not in found.texts["style"][0] and "url(" not in found.texts["style"][0]


def test_the_policy_allows_this_script_and_this_style_and_nothing_else():
    # Content Security Policy Level 3: hash sources of inline scripts and styles.
    html = page_html(counter_plan())
    found = Elements(html)
    policy = next(a["content"] for t, a in found.found if a.get("http-equiv") == "Content-Security-Policy")
    rules = dict(rule.strip().split(" ", 1) for rule in policy.split(";"))
    assert rules["default-src"] == "'none'" and rules["base-uri"] == "'none'" and rules["form-action"] == "'none'"
    script = re.search(r'<script type="module">(.*?)</script>', html, re.S)[1]
    style = re.search(r"<style>(.*?)</style>", html, re.S)[1]
    for rule, text in (("script-src", script), ("style-src", style)):
        digest = base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()
        assert rules[rule] == f"'sha256-{digest}'"


def test_under_two_megabytes_with_a_guide_of_a_large_machine():
    plan = big_plan()
    html = page_html(plan, None, plain_guide(plan))
    assert len(html.encode()) < 2_000_000
    assert data_of(html)["guide"]["sections"][0]["title"] == "Devices"


def test_the_same_plan_gives_the_same_bytes():
    assert page_html(counter_plan(), counter_circuit()) == page_html(counter_plan(), counter_circuit())


def test_names_cannot_break_out_of_the_page():
    wild = "</script><script>alert(1)</script>&amp;\u2028\"'"
    plan = blinker_plan()
    devices = tuple(d if d.kind != "switch" else Device("switch", d.x, d.y, name=wild, on=False) for d in plan.devices)
    html = page_html(Plan(wild, "default", plan.colours, 9, 3, devices, plan.wires))
    assert html.count("<script") == 2
    data = data_of(html)
    assert data["plan"]["name"] == wild and any(d.get("name") == wild for d in data["plan"]["devices"])


def test_the_modules_are_joined_into_one_script_that_a_browser_takes():
    script = page_script()
    assert not re.search(r"^(import|export)\b", script, re.MULTILINE) and "</script" not in script
    names = re.findall(r"^(?:async )?(?:function|class|const|let) (\w+)", script, re.MULTILINE)
    assert len(names) == len(set(names)), "names at the top level are unique among all modules"
    node = shutil.which("node")
    if node is None:
        pytest.skip("node is not installed")
    done = subprocess.run([node, "--input-type=module", "--check"], input=script, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def test_every_symbol_that_the_page_asks_for_is_there():
    asked = set(re.findall(r'"((?:pixel|ticker|switch)-\w+)"', page_file("drawing.js")))
    asked |= {f"gate-{function}" for function in FUNCTIONS} | {"toggle-0", "toggle-1"}
    assert asked <= set(SAMPLES)
    symbols = page_symbols()
    assert all(f'id="{name}"' in symbols for name in SAMPLES)
    hues = set(re.findall(r"#[0-9A-F]{6}", symbols))
    assert not hues, f"these hues do not follow the theme: {hues}"


def themes() -> dict[str, dict[str, str]]:
    css = page_file("page.css")
    light = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", css.split("@media screen")[0]))
    dark = dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6})", css.split("@media screen")[1].split("* {")[0]))
    return {"light": light, "dark": {**light, **dark}}


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_both_themes_keep_the_contrasts_of_wcag(theme):
    # WCAG 2.2: 1.4.3 asks 4.5:1 of text, 1.4.11 asks 3:1 of what must be seen to understand or to use.
    hue = themes()[theme]
    for ground in ("page", "surface", "raised", "paper"):
        for text in ("ink", "muted", "accent", "alert"):
            assert contrast(hue[text], hue[ground]) >= 4.5, (text, ground)
    assert contrast(hue["on-accent"], hue["accent"]) >= 4.5
    for mark in ("outline", "old", "line", "accent", "alert"):
        assert contrast(hue[mark], hue["paper"]) >= 3, mark
    assert contrast(hue["pixel-lit"], hue["pixel-dark"]) >= 3
    assert contrast(hue["line"], hue["surface"]) >= 3, "edges of controls"


def test_wires_stand_off_the_ground_in_both_themes_or_have_an_edge_that_does():
    html = page_html(counter_plan())
    grounds = {theme: hues["paper"] for theme, hues in themes().items()}
    edges = {"light": "#4a4a4a", "dark": "#d4d9dd"}
    for index in range(4):
        hue = re.search(rf"^\.w{index} {{ --wire: (#\w{{6}});", html, re.MULTILINE)[1]
        light = re.search(rf"^\.w{index} .*--wire-casing: ([^;]+);", html, re.MULTILINE)[1]
        dark = re.search(rf'"dark"\] \.w{index} .*--wire-casing: ([^;]+);', html)[1]
        for theme, edge in (("light", light), ("dark", dark)):
            shown = hue if edge == "transparent" else edges[theme]
            assert contrast(shown.upper(), grounds[theme].upper()) >= 3, (index, theme)


def test_grey_print_tells_four_wires_apart_by_dash():
    html = page_html(counter_plan())
    dashes = re.findall(r"^\.w\d {[^}]*--dash: ([^;]+);", html, re.MULTILINE)
    assert len(dashes) == len(set(dashes)) == 4


def test_a_language_without_texts_is_refused():
    with pytest.raises(InputError) as caught:
        page_html(counter_plan(), language="qq")
    assert caught.value.code == "W001"
