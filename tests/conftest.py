"""Fixtures of all tests of the page: a browser a file, and what opens a plan in it."""

from __future__ import annotations

import pytest
from support.browser import chromium, page_opener


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    with chromium(tmp_path_factory.mktemp("profile")) as driver:
        yield driver


@pytest.fixture
def show(browser, tmp_path):
    return page_opener(browser, tmp_path)
