"""Message codes: every code that the package can raise is registered, and every registered one is used."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

import hdl2grid
from hdl2grid.base.errors import InputError
from hdl2grid.base.explain import ROOMS, explain, messages

PACKAGE = Path(hdl2grid.__file__).parent
CODE = re.compile(rf"""["'](?:H2G-)?([{"".join(ROOMS)}]\d{{3}})["':]""")


def codes_in_source() -> dict[str, set[str]]:
    found: dict[str, set[str]] = {}
    for file in sorted(PACKAGE.rglob("*.py")):
        for code in CODE.findall(file.read_text(encoding="utf-8")):
            found.setdefault(code, set()).add(str(file.relative_to(PACKAGE)))
    return found


def test_every_code_in_the_source_is_registered():
    missing = {code: files for code, files in codes_in_source().items() if code not in messages()}
    assert not missing


def test_every_registered_code_is_used():
    assert not set(messages()) - set(codes_in_source())


def test_files_hold_their_own_letter_and_full_sentences():
    for file in sorted((PACKAGE / "base" / "messages").glob("*.toml")):
        for code, entry in tomllib.loads(file.read_text(encoding="utf-8")).items():
            assert re.fullmatch(rf"{file.stem}\d{{3}}", code), f"{code} in {file.name}"
            assert set(entry) == {"means", "do"}, code
            for text in entry.values():
                assert len(text) >= 10 and text.strip().endswith((".", ")", "`")), f"{code}: {text}"


@pytest.mark.parametrize("written", ["T008", "t008", "H2G-T008", " h2g-t008 "])
def test_explain_takes_a_code_in_any_form(written):
    assert explain(written).code == "T008"


def test_explain_of_an_unknown_code_says_where_all_are():
    with pytest.raises(InputError, match="lists all") as caught:
        explain("T999")
    assert caught.value.code == "C005"
