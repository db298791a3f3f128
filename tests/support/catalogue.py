"""The template of all texts, made from the sources with Babel: `python tests/support/catalogue.py` writes it again and
brings the catalogues up to it; a test says when that is due."""

from __future__ import annotations

import ast
import io
from collections.abc import Iterator
from pathlib import Path

import polib
from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import write_po

ROOT = Path(__file__).parents[2]
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
HEAD = """# Texts of hdl2grid. Made by tests/support/catalogue.py.
msgid ""
msgstr ""
"Content-Type: text/plain; charset=UTF-8\\n"

"""


GUIDE = (*sorted((ROOT / "hdl2grid" / "guide").glob("*.py")),)
SAYING = {"say", "translate", "_translate"}
STEPPING = {"step", "_step", "Section"}


def guide_templates(file: Path) -> Iterator[str]:
    """The sentences that a module of the guide says: what is passed to `Words.say`, `Site.step` and their like, by
    itself, in a choice, or by a name or table of the same module. A sentence that is put together comes in
    parts."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    values: dict[str, list[ast.expr]] = {}
    for node in ast.walk(tree):
        targets = node.targets if isinstance(node, ast.Assign) else [node.target] if _gives_text(node) else []
        for target in targets:
            if isinstance(target, ast.Name):
                values.setdefault(target.id, []).append(node.value)
    said = SAYING | {n for n, found in values.items() if any(getattr(v, "attr", None) in SAYING for v in found)}
    for node in ast.walk(tree):
        if not (isinstance(node, ast.Call) and node.args):
            continue
        name = getattr(node.func, "attr", getattr(node.func, "id", None))
        for argument in node.args if name in STEPPING else node.args[:1] if name in said else []:
            named = [n.id for n in ast.walk(argument) if isinstance(n, ast.Name)]
            for expression in (argument, *(value for n in named for value in values.get(n, ()))):
                yield from _texts(expression)


def _gives_text(node: ast.AST) -> bool:
    return isinstance(node, ast.AugAssign) and isinstance(node.op, ast.Add)


def _texts(expression: ast.expr) -> Iterator[str]:
    """The texts that an expression can be, not those that it is compared with or looked up by."""
    if isinstance(expression, ast.Constant):
        if isinstance(expression.value, str) and expression.value.strip():
            yield expression.value
    elif isinstance(expression, ast.IfExp):
        yield from _texts(expression.body)
        yield from _texts(expression.orelse)
    elif isinstance(expression, ast.Subscript):
        yield from _texts(expression.value)
    elif isinstance(expression, ast.Dict):
        for value in expression.values:
            yield from _texts(value)
    elif isinstance(expression, ast.Tuple | ast.List):
        for element in expression.elts:
            yield from _texts(element)
    elif isinstance(expression, ast.BinOp):
        yield from _texts(expression.left)
        yield from _texts(expression.right)


def template_text() -> str:
    """The template's text: no dates, occurrences by file only, so that it changes when a text does."""
    catalog = Catalog(project="hdl2grid", version="1", copyright_holder="the hdl2grid authors")
    for method, keywords, files in SOURCES:
        for file in files:
            name = file.relative_to(ROOT).as_posix()
            for _line, message, comments, context in extract_from_file(method, file, keywords):
                catalog.add(message, None, [(name, 1)], auto_comments=comments, context=context)
    for file in GUIDE:
        for message in guide_templates(file):
            catalog.add(message, None, [(file.relative_to(ROOT).as_posix(), 1)])
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
