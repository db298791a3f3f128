"""The texts of the page: all of them pass through gettext, and the catalogues are complete."""

from __future__ import annotations

import re

import polib
import pytest
from support.plans import PAIRS

from hdl2grid.guide.build import make_guide
from hdl2grid.show.locale.catalogues import PSEUDO, languages, page_catalogue, pseudo, translator

babel = pytest.importorskip("babel", reason="Babel is not installed")

from support.catalogue import GUIDE, LOCALE, TEMPLATE, guide_templates, template_text  # noqa: E402

FIELD = re.compile(r"\{\w+\}|`[^`]*`")
BRING_UP_TO_DATE = "python tests/support/catalogue.py brings it up to date; then translate what is new"


def page_entries(text: str) -> dict[str, polib.POEntry]:
    """The entries that the page itself has, by their text."""
    entries = polib.pofile(text)
    return {e.msgid: e for e in entries if any(not name.startswith("hdl2grid/guide/") for name, _ in e.occurrences)}


def test_the_template_has_every_text_of_the_page():
    assert set(page_entries(str(TEMPLATE))) == set(page_entries(template_text())), BRING_UP_TO_DATE


@pytest.mark.parametrize("language", [tag for tag in languages() if tag != "en"])
def test_a_catalogue_is_complete_and_keeps_its_placeholders(language):
    catalogue = {entry.msgid: entry for entry in polib.pofile(str(LOCALE / f"{language}.po"))}
    assert not set(page_entries(str(TEMPLATE))) - {e.msgid for e in catalogue.values() if e.translated()}, (
        BRING_UP_TO_DATE
    )
    for entry in catalogue.values():
        wanted = sorted({*FIELD.findall(entry.msgid), *FIELD.findall(entry.msgid_plural)} - {"{n}"})
        for text in [*entry.msgstr_plural.values()] or [entry.msgstr]:
            found = sorted(set(FIELD.findall(text)) - {"{n}"})
            assert found == wanted or not text or entry.msgid_plural and set(found) <= set(wanted), entry.msgid
        assert not entry.fuzzy


def test_the_guide_speaks_german_but_for_a_sentence_or_two():
    # New sentences of the guide are shown in English until somebody translates them.
    said = {text for file in GUIDE for text in guide_templates(file)}
    known = {entry.msgid for entry in polib.pofile(str(LOCALE / "de.po")) if entry.translated()}
    assert len(said) > 100 and len(said & known) >= 0.9 * len(said), f"{BRING_UP_TO_DATE}: {sorted(said - known)}"
    used: set[str] = set()
    translate = translator("de")
    for plan, _ in PAIRS.values():
        guide = make_guide(plan(), translate=lambda text: used.add(text) or translate(text))
        assert guide.sections[0].title == "Bevor Sie anfangen"
    same = {text for text in used if translate(text) == text and re.search("[a-z]{3}", FIELD.sub("", text))}
    assert len(same) <= 0.1 * len(used), same


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
