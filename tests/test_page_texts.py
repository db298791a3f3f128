"""The texts of the page: all of them pass through gettext, and the catalogues are complete."""

from __future__ import annotations

import re

import polib
import pytest

from hdl2grid.show.locale.catalogues import PSEUDO, languages, page_catalogue, pseudo, translator

babel = pytest.importorskip("babel", reason="Babel is not installed")

from catalogue import LOCALE, TEMPLATE, template_text  # noqa: E402

FIELD = re.compile(r"\{\w+\}|`[^`]*`")


def test_the_template_has_every_text_of_the_sources():
    assert TEMPLATE.read_text(encoding="utf-8") == template_text(), "python tests/catalogue.py brings it up to date"


@pytest.mark.parametrize("language", [tag for tag in languages() if tag != "en"])
def test_a_catalogue_is_complete_and_keeps_its_placeholders(language):
    template = {entry.msgid for entry in polib.pofile(str(TEMPLATE))}
    catalogue = polib.pofile(str(LOCALE / f"{language}.po"))
    assert {entry.msgid for entry in catalogue} == template
    for entry in catalogue:
        wanted = sorted({*FIELD.findall(entry.msgid), *FIELD.findall(entry.msgid_plural)} - {"{n}"})
        for text in [*entry.msgstr_plural.values()] or [entry.msgstr]:
            assert text, f"{entry.msgid!r} is not translated"
            found = sorted(set(FIELD.findall(text)) - {"{n}"})
            assert found == wanted or entry.msgid_plural and set(found) <= set(wanted), entry.msgid
        assert not entry.fuzzy


def test_plural_forms_follow_the_catalogue():
    german = page_catalogue("de")
    forms, which = german["texts"]["{n} tile"], german["plurals"]
    assert [forms[which[n]] for n in (0, 1, 2, 101)] == ["{n} Felder", "{n} Feld", "{n} Felder", "{n} Felder"]


def test_english_is_the_language_of_the_sources():
    assert page_catalogue("en") is None and translator("en")("Play") == "Play" and translator("de")("Play") == "Spielen"


def test_the_pseudo_language_is_longer_and_keeps_placeholders_and_code():
    made = pseudo("Lay {stroke}, says `hdl2grid guide PLAN`")
    assert "{stroke}" in made and "`hdl2grid guide PLAN`" in made and made.startswith("[")
    assert len(made) > 1.3 * len("Lay {stroke}, says `hdl2grid guide PLAN`")
    assert all(form[0].startswith("[") for form in page_catalogue(PSEUDO)["texts"].values())
