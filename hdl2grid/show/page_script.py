"""The page's JavaScript modules as one script: a page that is opened from a file may not import any.

The modules under `page/` are standard ones of a plain form: imports of named things from "./file.js" at the
top, and `export` before declarations. Joined, they share one scope, so names at the top level are unique among
all of them (a browser refuses the script otherwise, and a test runs it).
"""

from __future__ import annotations

import re
from functools import cache
from graphlib import TopologicalSorter
from importlib import resources

_IMPORT = re.compile(r'^import \{[^}]*\} from "\./([\w.]+)";\n', re.MULTILINE)
_EXPORT = re.compile(r"^export (?=(?:async )?function|class|const)", re.MULTILINE)
_COMMENT = re.compile(r"^ *//.*\n|^ */\*\*[^*]*(?:\*(?!/)[^*]*)*\*/\n", re.MULTILINE)


def page_file(name: str) -> str:
    """The text of a file of the page's sources."""
    return (resources.files("hdl2grid.show") / "page" / name).read_text(encoding="utf-8")


@cache
def page_script(entry: str = "app.js") -> str:
    """All modules that `entry` needs, each after those that it imports, without comments."""
    needs: dict[str, list[str]] = {}
    texts: dict[str, str] = {}
    waiting = [entry]
    while waiting:
        name = waiting.pop()
        if name in texts:
            continue
        texts[name] = page_file(name)
        needs[name] = _IMPORT.findall(texts[name])
        waiting += needs[name]
    order = TopologicalSorter(dict(sorted(needs.items()))).static_order()
    return "\n".join(_EXPORT.sub("", _COMMENT.sub("", _IMPORT.sub("", texts[name]))).strip() for name in order)
