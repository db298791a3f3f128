"""Laying by the page: steps, ticks that are kept, export and import, and a browser that keeps nothing."""

from __future__ import annotations

import json

import pytest
from support.browser import click, errors, symbols, text_of, wait_for
from support.plain_guide import plain_guide
from support.plans import blinker_plan, counter_plan

NO_STORAGE = (
    """Object.defineProperty(window, "localStorage", { get() { throw new DOMException("no", "SecurityError"); } });"""
)


def drop_file(browser, text: str) -> None:
    """Chooses a file with this text in the import field."""
    script = """
        const field = document.querySelector("input[type=file]"), list = new DataTransfer();
        list.items.add(new File([arguments[0]], "progress.json", { type: "application/json" }));
        field.files = list.files;
        field.dispatchEvent(new Event("change"));"""
    browser.execute_script(script, text)


EXPORT = """
    const done = arguments[0], make = URL.createObjectURL;
    URL.createObjectURL = (blob) => { blob.text().then(done); return make.call(URL, blob); };
    document.querySelector("[data-key=export]").click();"""


def test_steps_are_ticked_off_and_kept(show, browser):
    show(counter_plan())
    click(browser, "Lay")
    assert text_of(browser, ".step h3") == "Step 1.1"
    for _ in range(3):
        click(browser, "Done, next step")
    assert text_of(browser, ".overall span").startswith("3 of ")
    browser.refresh()
    click(browser, "Lay")
    assert text_of(browser, ".step h3") == "Step 2.1" and text_of(browser, ".overall span").startswith("3 of ")
    click(browser, "Back")
    assert browser.execute_script("return document.querySelector('.step .check input').checked")
    assert errors(browser) == []


def test_a_step_shows_what_is_new_and_what_is_older(show, browser):
    plan = counter_plan()
    show(plan)
    click(browser, "Lay")
    steps = list(plain_guide(plan).steps())
    first_wire = next(i for i, step in enumerate(steps) if step.actions[0].do == "wire")
    for _ in range(first_wire):
        click(browser, "Skip")
    count = "return document.querySelectorAll(arguments[0]).length"
    assert browser.execute_script(count, ".devices use.old, .under use.old") == len(plan.devices)
    assert browser.execute_script(count, ".fresh .new") == len(steps[first_wire].actions)
    words = [f"Lay {a.colour} ({a.stroke[0]},{a.stroke[1]}) to" for a in steps[first_wire].actions]
    shown = text_of(browser, ".actions")
    assert all(word in shown for word in words)
    assert text_of(browser, ".drawing .ends").startswith("(0,1)")


def test_a_check_says_what_must_be_seen_and_what_if_not(show, browser):
    show(blinker_plan())
    click(browser, "Lay")
    browser.execute_script("const s = document.querySelector('[data-key=chapter]'); s.value = 2;")
    browser.execute_script("document.querySelector('[data-key=chapter]').dispatchEvent(new Event('change'))")
    assert "Press (0,1) 2 times" in text_of(browser, ".actions")
    assert text_of(browser, ".expect") == "lit pixel: (8,2)"
    assert symbols(browser, "pixel") == ["pixel-lit"], "the drawing shows what must be seen"
    assert "nothing changes" in text_of(browser, ".mistakes")


def test_progress_is_exported_and_imported(show, browser):
    show(counter_plan())
    click(browser, "Lay")
    click(browser, "Done, next step")
    click(browser, "Skip")
    click(browser, "Done, next step")
    written = browser.execute_async_script(EXPORT)
    kept = json.loads(written)
    assert kept["format"] == "hdl2grid progress" and kept["done"] == [1, 3]
    click(browser, "Clear all ticks")
    assert text_of(browser, ".overall span").startswith("0 of ")
    drop_file(browser, written)
    wait_for(lambda: text_of(browser, ".overall span").startswith("2 of "))
    assert text_of(browser, ".step h3") == "Step 1.2", "it goes on where work is left"


@pytest.mark.parametrize(
    "text, said",
    [
        ("no json", "holds no progress"),
        ('{"format": "something else"}', "holds no progress"),
        ('{"format": "hdl2grid progress", "version": 1, "plan": "other", "plan_sha256": "1", "done": []}', "(other)"),
    ],
)
def test_what_is_no_progress_of_this_plan_is_not_taken_over(show, browser, text, said):
    show(counter_plan())
    click(browser, "Lay")
    click(browser, "Done, next step")
    drop_file(browser, text)
    wait_for(lambda: said in text_of(browser, ".lay .note[role=status]"))
    assert text_of(browser, ".overall span").startswith("1 of ")


def test_it_works_with_storage_switched_off(show, browser):
    made = browser.execute_cdp_cmd("Page.addScriptToEvaluateOnNewDocument", {"source": NO_STORAGE})
    try:
        with pytest.raises(Exception, match="<unknown>: no"):
            show(counter_plan())
        browser.get(browser.current_url)
        browser.get_log("browser")
        click(browser, "Lay")
        click(browser, "Done, next step")
        assert text_of(browser, ".overall span").startswith("1 of ")
        assert "keeps nothing" in text_of(browser, ".keeping")
        assert json.loads(browser.execute_async_script(EXPORT))["done"] == [1]
        assert errors(browser) == []
    finally:
        browser.execute_cdp_cmd("Page.removeScriptToEvaluateOnNewDocument", made)


def test_a_page_without_a_guide_says_how_to_get_one(show, browser):
    show(counter_plan(), guide=False)
    click(browser, "Lay")
    assert "hdl2grid guide" in text_of(browser, "#panel")
    click(browser, "Look")
    assert errors(browser) == []
