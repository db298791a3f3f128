"""The page for everybody: axe-core, the keyboard alone, narrow windows, other languages, longer words."""

from __future__ import annotations

import pytest
from support.browser import AXE, KEYS, big_plan, click, errors, text_of, wait_for
from support.plans import blinker_plan, counter_circuit, counter_plan

from hdl2grid.base.target import load_target
from hdl2grid.guide.build import make_guide
from hdl2grid.show.guide_html import guide_html

RUN_AXE = """
    const done = arguments[0], rules = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
    const told = (v) => [v.id, v.nodes.map((n) => n.html.slice(0, 120))];
    axe.run(document, { runOnly: rules }).then((found) => done([found.violations.map(told), found.passes.length]));"""


def violations(browser) -> list:
    if not AXE.exists():
        pytest.skip("axe-core is not installed: npm ci in tests/js")
    browser.execute_cdp_cmd("Runtime.evaluate", {"expression": AXE.read_text(encoding="utf-8")})
    found, num_passed = browser.execute_async_script(RUN_AXE)
    assert num_passed > 15, "axe has looked at something"
    return found


@pytest.mark.parametrize("theme", ["light", "dark"])
def test_axe_finds_nothing_in_any_mode(show, browser, theme):
    show(counter_plan(), counter_circuit())
    browser.execute_script("localStorage.setItem('hdl2grid:theme', JSON.stringify(arguments[0]))", theme)
    browser.refresh()
    for mode in ("Look", "Play", "Lay"):
        click(browser, mode)
        assert violations(browser) == [], mode
    click(browser, "Look")
    browser.execute_script("document.querySelector('.stage').focus()")
    for key in ("down", "down", "right", "right", "enter"):
        browser.switch_to.active_element.send_keys(KEYS[key])
    assert violations(browser) == [], "a choice"
    browser.execute_script("document.querySelector('input[type=search]').focus()")
    browser.switch_to.active_element.send_keys("r")
    assert violations(browser) == [], "search"
    for name in ("Help", "Settings"):
        click(browser, name)
        assert violations(browser) == [], name
        click(browser, "Close")
    assert errors(browser) == []


def test_axe_finds_nothing_in_the_guide_to_print(browser, tmp_path):
    file = tmp_path / "guide.html"
    file.write_text(guide_html(make_guide(counter_plan()), load_target()), encoding="utf-8")
    browser.get(file.as_uri())
    assert violations(browser) == []


def active(browser) -> str:
    script = """
        const e = document.activeElement;
        return e.getAttribute("aria-label") || e.closest("label")?.textContent || e.textContent;"""
    return browser.execute_script(script)


def press(browser, *keys: str) -> None:
    for key in keys:
        browser.switch_to.active_element.send_keys(KEYS.get(key, key))


FOCUSABLE = """
    return [...document.querySelectorAll("button, input, select, summary, [tabindex='0']")]
        .filter((e) => e.checkVisibility() && !e.disabled && e.tabIndex >= 0)
        .map((e) => e.getAttribute("aria-label") || e.closest("label")?.textContent || e.textContent);"""


def test_everything_is_reached_by_the_tab_key(show, browser):
    show(blinker_plan())
    for mode, some in (("Look", "Zoom in"), ("Play", "Press: reset"), ("Lay", "Done, next step")):
        click(browser, mode)
        wanted = browser.execute_script(FOCUSABLE)
        assert some in wanted and "Drawing of blinker" in wanted
        browser.execute_script("document.activeElement.blur()")
        seen = []
        for _ in range(len(wanted) + 2):
            press(browser, "tab")
            seen.append(active(browser))
        assert [name for name in wanted if name not in seen] == [], mode


def test_the_drawing_is_read_and_played_by_the_keyboard(show, browser):
    show(blinker_plan())
    click(browser, "Play")
    browser.execute_script("document.querySelectorAll('.play .check input')[0].click()")
    browser.execute_script("document.querySelector('.stage').focus()")
    press(browser, *["left"] * 10, *["up"] * 4, "down")
    assert text_of(browser, "[role=status]").startswith("(0,1): switch go, off")
    press(browser, "enter")
    wait_for(lambda: "on" in text_of(browser, ".sources li:nth-child(2) .state"))
    click(browser, "Look")
    browser.execute_script("document.querySelector('.stage').focus()")
    press(browser, "n")
    assert text_of(browser, "[role=status]").startswith("orange net of go, 4 tiles, 1 sink")
    assert "orange net of go" in text_of(browser, "#panel")
    press(browser, "escape")
    assert "Legend" in text_of(browser, "#panel")
    before = browser.execute_script("return document.querySelector('.drawing').getAttribute('viewBox')")
    press(browser, "+")
    assert browser.execute_script("return document.querySelector('.drawing').getAttribute('viewBox')") != before


def test_tabs_move_by_arrow_keys(show, browser):
    show(counter_plan())
    browser.execute_script("document.getElementById('tab-look').focus()")
    press(browser, "right")
    assert active(browser) == "Play"
    assert browser.execute_script("return document.getElementById('tab-play').getAttribute('aria-selected')") == "true"


OVERFLOW = """
    const out = [];
    for (const e of document.querySelectorAll("#page *, dialog *")) {
        if (!e.checkVisibility() || e.closest("svg, .unseen, select")) continue;
        const box = e.getBoundingClientRect();
        const isBlock = e.clientWidth > 0 && getComputedStyle(e).display !== "inline";
        const isWide = (isBlock && e.scrollWidth > e.clientWidth + 1) || box.right > innerWidth + 1 || box.left < -1;
        if (isWide) out.push(`${e.tagName}.${e.className}: ${e.textContent.slice(0, 40)}`);
    }
    return out;"""

UNTRANSLATED = """
    const out = [], walk = document.createTreeWalker(document.getElementById("page"), NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
        const at = walk.currentNode.parentElement, text = walk.currentNode.data.trim();
        if (/[A-Za-z]{3}/.test(text) && !/[\\[\\]]/.test(text) && !at.closest("svg, [lang='en']")) out.push(text);
    }
    for (const e of document.querySelectorAll("#page [aria-label]")) {
        if (!e.getAttribute("aria-label").includes("[")) out.push(e.getAttribute("aria-label"));
    }
    return out;"""


@pytest.mark.parametrize("size", [(1366, 900), (800, 900), (320, 800)])
def test_longer_words_overflow_nothing(show, browser, size):
    # WCAG 2.2, 1.4.10: at 320 CSS pixels nothing needs scrolling in two directions.
    metrics = {"width": size[0], "height": size[1], "deviceScaleFactor": 1, "mobile": False}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", metrics)
    try:
        show(counter_plan(), counter_circuit(), language="en-XA")
        for mode in ("look", "play", "lay"):
            browser.execute_script("document.getElementById('tab-' + arguments[0]).click()", mode)
            assert browser.execute_script(OVERFLOW) == [], (mode, size)
            assert browser.execute_script("return document.documentElement.scrollWidth") <= size[0]
    finally:
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})


def test_every_text_passes_through_gettext(show, browser):
    show(big_plan(), language="en-XA")
    names = ("big", "black", "orange", "blue", "violet", "default", "AND")
    for mode in ("look", "play", "lay"):
        browser.execute_script("document.getElementById('tab-' + arguments[0]).click()", mode)
        left = [text for text in browser.execute_script(UNTRANSLATED) if not text.startswith(names)]
        left = [text for text in left if not text.startswith(("b0", "b1", "b2", "b3", "b4", "b5", "b6", "b7", "b8"))]
        assert left == [], mode


def test_german_can_be_chosen_and_stays(show, browser):
    show(counter_plan())
    click(browser, "Settings")
    choose = """
        const list = [...document.querySelectorAll("dialog select")].at(-1);
        list.value = "de"; list.dispatchEvent(new Event("change"));"""
    browser.execute_script(choose)
    assert text_of(browser, "#tab-play") == "Spielen"
    browser.refresh()
    assert text_of(browser, "#tab-lay") == "Bauen"
    assert browser.execute_script("return document.documentElement.lang") == "de"
    assert violations(browser) == []
