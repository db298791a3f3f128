"""A headless Chromium for tests of the page, and the big synthetic machine that they look at.

Debian's packages chromium and chromium-driver, selenium from PyPI and axe-core from npm (tests/js): a test skips
where one of them is missing.
"""

from __future__ import annotations

import json
import shutil
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from hdl2grid.plan.model import Device, Plan, Stroke
from hdl2grid.show.page import page_html
from support.plain_guide import plain_guide
from support.random_plans import random_vector

AXE = Path(__file__).parents[1] / "js" / "node_modules" / "axe-core" / "axe.min.js"
CHROMIUM, DRIVER = shutil.which("chromium"), shutil.which("chromedriver")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-popup-blocking",
    "--force-color-profile=srgb",
)


@contextmanager
def chromium(profile: Path, width: int = 1366, height: int = 900) -> Iterator[Any]:
    """A browser with an empty profile in `profile`; skips the test where there is none."""
    webdriver = pytest.importorskip("selenium.webdriver", reason="selenium is not installed")
    if not CHROMIUM or not DRIVER:
        pytest.skip("chromium or chromium-driver is not installed")
    options = webdriver.ChromeOptions()
    options.binary_location = CHROMIUM
    for flag in (*FLAGS, f"--user-data-dir={profile}", f"--window-size={width},{height}"):
        options.add_argument(flag)
    options.set_capability("goog:loggingPrefs", {"browser": "ALL", "performance": "ALL"})
    driver = webdriver.Chrome(options, webdriver.ChromeService(DRIVER))
    try:
        driver.set_script_timeout(30)
        yield driver
    finally:
        driver.quit()


def requests_of(driver: Any) -> list[str]:
    """The addresses that the browser was asked for since the last call, the document's own among them."""
    found = []
    for entry in driver.get_log("performance"):
        message = json.loads(entry["message"])["message"]
        if message["method"] == "Network.requestWillBeSent":
            found.append(message["params"]["request"]["url"])
    return found


def big_plan() -> Plan:
    """Nine boards of the shared vectors side by side: 54 x 42 tiles, about 60 stacks, 1,500 tiles of wire."""
    devices: list[Device] = []
    wires: list[list[Stroke]] = [[] for _ in range(4)]
    plan = random_vector(0, 0).plan
    for number in range(9):
        plan = random_vector(number, 0).plan
        dx, dy = plan.width * (number % 3), plan.height * (number // 3)
        for device in plan.devices:
            named = f"b{number}.{device.name}" if device.name else None
            signal = f"b{number}__{device.signal}" if device.signal else None
            to = (device.to[0] + dx, device.to[1] + dy) if device.to else None
            devices.append(replace(device, x=device.x + dx, y=device.y + dy, name=named, signal=signal, to=to))
        for own, strokes in zip(wires, plan.wires, strict=True):
            own += [(x0 + dx, y0 + dy, x1 + dx, y1 + dy) for x0, y0, x1, y1 in strokes]
    size = {"width": plan.width * 3, "height": plan.height * 3}
    return replace(plan, name="big", devices=tuple(devices), wires=tuple(map(tuple, wires)), signals=(), **size)


KEYS = {
    "enter": "\ue007",
    "tab": "\ue004",
    "left": "\ue012",
    "up": "\ue013",
    "right": "\ue014",
    "down": "\ue015",
    "escape": "\ue00c",
    "space": " ",
}

Opener = Callable[..., Any]


def page_opener(browser: Any, folder: Path) -> Opener:
    """A function that opens a page of a plan as a file, with nothing kept by an earlier one but that the caution
    was read."""

    def opened(plan, circuit=None, *, cautioned=True, guide=True, language="en"):
        file = folder / "index.html"
        made = page_html(plan, circuit, plain_guide(plan) if guide else None, language)
        file.write_text(made, encoding="utf-8")
        browser.get(file.as_uri())
        browser.execute_script("localStorage.clear();")
        if cautioned:
            browser.execute_script("localStorage.setItem('hdl2grid:cautioned', 'true')")
        for log in ("performance", "browser"):
            browser.get_log(log)
        browser.get(file.as_uri())
        return browser

    return opened


def click(browser, text: str) -> None:
    script = """
        const all = [...document.querySelectorAll("button, [role=tab]")].filter((e) => e.offsetParent);
        const found = all.find((e) => e.textContent === arguments[0] || e.getAttribute("aria-label") === arguments[0]);
        if (!found) throw new Error("no button " + arguments[0]);
        found.click();"""
    browser.execute_script(script, text)


def text_of(browser, selector: str) -> str:
    return browser.execute_script("return document.querySelector(arguments[0])?.textContent ?? ''", selector)


def symbols(browser, prefix: str) -> list[str]:
    script = "return [...document.querySelectorAll('.devices use')].map((u) => u.getAttribute('href').slice(1))"
    return [name for name in browser.execute_script(script) if name.startswith(prefix)]


def errors(browser) -> list[str]:
    return [entry["message"] for entry in browser.get_log("browser") if entry["level"] == "SEVERE"]


def wait_for(condition, seconds: float = 5.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if found := condition():
            return found
        time.sleep(0.05)
    raise AssertionError("this did not come about")
