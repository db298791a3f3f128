"""What the package imports and what pyproject.toml declares are the same."""

from __future__ import annotations

import re
import sys
import tomllib
from importlib.metadata import packages_distributions
from pathlib import Path

from support.imports import files_of, imported_names

ROOT = Path(__file__).parents[1]


def foreign(root: Path, package: str) -> set[str]:
    """The top names that a package imports of neither itself nor the standard library."""
    files = files_of(root, package)
    names = {name.split(".")[0] for module, file in files.items() for name in imported_names(file, module)}
    return names - sys.stdlib_module_names - {package}


def normal(name: str) -> str:
    """A distribution's name as the Python packaging specifications normalise it (core metadata, PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def distributions(tops: set[str]) -> set[str]:
    """The distributions that the top names come from."""
    homes = packages_distributions()
    return {normal(homes[top][0]) if top in homes else top for top in tops}


def declared() -> list[str]:
    return list(tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["dependencies"])


def test_what_is_imported_is_declared_and_what_is_declared_is_imported() -> None:
    names = {normal(re.split(r"[\[<>=!~; ]", line)[0]) for line in declared()}
    assert distributions(foreign(ROOT, "hdl2grid")) == names


def test_an_import_anywhere_in_a_file_is_seen(tmp_path: Path) -> None:
    (tmp_path / "p" / "room").mkdir(parents=True)
    (tmp_path / "p" / "room" / "a.py").write_text(
        "import os, vcd.writer\nfrom . import b\nfrom p.room import b\ndef f():\n    from PIL import Image\n"
    )
    assert foreign(tmp_path, "p") == {"vcd", "PIL"}
    assert distributions({"vcd", "PIL", "pysat"}) == {"pyvcd", "pillow", "python-sat"}


def test_private_parts_of_libraries_are_held_to_versions_that_were_tried() -> None:
    """`layout/records.py` builds on numba's extension interface, `logic/` on Amaranth's netlist: both have a bound."""
    for name in ("numba", "amaranth"):
        (line,) = (line for line in declared() if line.startswith(name))
        assert re.fullmatch(rf"{name}>=[\d.]+,<[\d.]+", line)
