"""Catalogues of translated texts: gettext's .po files beside this one, read with polib.

`en` is the language of the sources and needs no catalogue. `en-XA` is made up for tests: every text of the
template with accents and two fifths longer, so that what escapes gettext and what overflows can be seen.
"""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from functools import cache
from gettext import GNUTranslations, NullTranslations
from importlib import resources
from typing import Any

import polib

from hdl2grid.base.errors import InputError, nearest

DOMAIN = "hdl2grid"
SOURCE_LANGUAGE = "en"
PSEUDO = "en-XA"

OWN_NAMES = {"en": "English", "de": "Deutsch"}
"""What each language calls itself."""

_SENTENCE_END = re.compile(r"\.(?= )")
_PARTS = re.compile(r"(\{\w+\}|`[^`]*`)")
_ACCENTS = str.maketrans("aceinorsuyzACEINORSUYZ", "áçéíñóŕšúýžÁÇÉÍÑÓŔŠÚÝŽ")


def languages() -> tuple[str, ...]:
    """The tags of all languages that there are texts in, English first."""
    folder = resources.files("hdl2grid.show.locale")
    found = sorted(entry.name[:-3] for entry in folder.iterdir() if entry.name.endswith(".po"))
    return (SOURCE_LANGUAGE, *found)


def check_language(language: str) -> None:
    """Raises InputError (W001) for a language that there are no texts in."""
    if language not in (*languages(), PSEUDO):
        raise InputError(
            "W001", f"there are no texts in the language '{language}'", hint=nearest(language, languages())
        )


@cache
def _file(name: str) -> polib.POFile:
    return polib.pofile((resources.files("hdl2grid.show.locale") / name).read_text(encoding="utf-8"))


@cache
def translations(language: str) -> NullTranslations:
    """The texts of a language, as Python's gettext gives them. Raises InputError (W001)."""
    check_language(language)
    if language == SOURCE_LANGUAGE:
        return NullTranslations()
    if language == PSEUDO:
        return _Pseudo()
    return GNUTranslations(io.BytesIO(_file(f"{language}.po").to_binary()))


def translator(language: str) -> Callable[[str], str]:
    """A function that gives each English text in `language`; a text that is put together of known ones is
    translated sentence by sentence. Raises InputError (W001)."""
    known = translations(language)

    def translate(text: str) -> str:
        whole = known.gettext(text) if text else text
        if whole != text or language == SOURCE_LANGUAGE:
            return whole
        for cut in [match.end() for match in _SENTENCE_END.finditer(text)][::-1]:
            start, rest = known.gettext(text[:cut]), translate(text[cut:])
            if start != text[:cut]:
                return start + rest
        return text

    return translate


def page_catalogue(language: str) -> dict[str, Any] | None:
    """The texts for the page: `texts` maps each English text to its forms, `plurals` says which form each
    number from 0 to 199 takes. None for English. Raises InputError (W001)."""
    if language == SOURCE_LANGUAGE:
        check_language(language)
        return None
    known = translations(language)
    texts: dict[str, list[str]] = {}
    plurals = [0] * 200
    for entry in _file(f"{DOMAIN}.pot"):
        if not any(name.endswith(".js") for name, _ in entry.occurrences):
            continue
        if not entry.msgid_plural:
            texts[entry.msgid] = [known.gettext(entry.msgid)]
            continue
        made = [known.ngettext(entry.msgid, entry.msgid_plural, n) for n in range(200)]
        forms = list(dict.fromkeys(made))
        texts[entry.msgid] = forms
        if len(forms) > max(plurals) + 1:
            plurals = [forms.index(text) for text in made]
    return {"texts": texts, "plurals": plurals}


class _Pseudo(NullTranslations):
    """Texts that look foreign, can be read, and are longer; placeholders and code stay."""

    def gettext(self, message: str) -> str:
        return pseudo(message)

    def ngettext(self, msgid1: str, msgid2: str, n: int) -> str:
        return pseudo(msgid1 if n == 1 else msgid2)


def pseudo(text: str) -> str:
    """The made-up form of a text: "[Žóóm íñ ~~~]"."""
    parts = [part if _PARTS.fullmatch(part) else part.translate(_ACCENTS) for part in _PARTS.split(text)]
    more = " ".join(["~~~~"] * (1 + len(text) * 2 // 25))
    return f"[{''.join(parts)} {more}]"
