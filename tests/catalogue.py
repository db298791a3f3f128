"""The template of all texts, made from the sources with Babel: `python tests/catalogue.py` writes it again and
brings the catalogues up to it; a test says when that is due."""

from __future__ import annotations

import io
from pathlib import Path

import polib
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import write_po

ROOT = Path(__file__).parent.parent
LOCALE = ROOT / "hdl2grid" / "show" / "locale"
TEMPLATE = LOCALE / "hdl2grid.pot"
SOURCES = (
    ("javascript", {"t": None, "tn": (1, 2)}, sorted((ROOT / "hdl2grid" / "show" / "page").glob("*.js"))),
    (
        "python",
        {"say": None, "translate": None, "_": None, "ngettext": (1, 2)},
        sorted((ROOT / "hdl2grid" / "show").glob("*.py")),
    ),
)
HEAD = """# Texts of hdl2grid. Made by tests/catalogue.py.
msgid ""
msgstr ""
"Content-Type: text/plain; charset=UTF-8\\n"

"""


def template_text() -> str:
    """The template's text: no dates, occurrences by file only, so that it changes when a text does."""
    catalog = Catalog(project="hdl2grid", version="1", copyright_holder="the hdl2grid authors")
    for method, keywords, files in SOURCES:
        for file in files:
            name = file.relative_to(ROOT).as_posix()
            for _line, message, comments, context in extract_from_file(method, file, keywords):
                catalog.add(message, None, [(name, 1)], auto_comments=comments, context=context)
    out = io.BytesIO()
    write_po(out, catalog, width=110, sort_output=True, omit_header=True, include_lineno=False)
    return HEAD + out.getvalue().decode()


def main() -> None:
    TEMPLATE.write_text(template_text(), encoding="utf-8")
    template = polib.pofile(str(TEMPLATE))
    for file in sorted(LOCALE.glob("*.po")):
        catalogue = polib.pofile(str(file), wrapwidth=110)
        catalogue.merge(template)
        for entry in catalogue.obsolete_entries():
            catalogue.remove(entry)
        catalogue.sort()
        catalogue.save(str(file))
        print(f"{file.name}: {catalogue.percent_translated()} % translated")


if __name__ == "__main__":
    main()
