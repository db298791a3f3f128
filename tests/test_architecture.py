"""The rooms of the package: which may import which, what their files are called, and that DEVELOPERS.md names them.

Each check is a function that lists what is wrong in a tree, and has a test with a small tree that it must find wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from support.imports import circle, files_of, graph_of, imported_names

ROOT = Path(__file__).parents[1]
PACKAGE = "hdl2grid"
FLOORS = (
    ("base",),
    ("panel", "circuit"),
    ("design",),
    ("plan",),
    ("parts", "logic", "nets", "sim"),
    ("synth", "layout", "verify", "guide"),
    ("compare",),
    ("show",),
    ("flow",),
    ("cli",),
    ("", "__main__"),
)
"""The rooms, from the lowest floor up. A room imports itself and rooms of lower floors. "" is the package's own
`__init__.py`, its public face."""
HEIGHT = {room: height for height, floor in enumerate(FLOORS) for room in floor}
APART = {
    "design": ("show", "synth", "nets", "layout"),
    "plan": ("show", "synth", "nets", "layout"),
    "sim": ("show", "synth", "nets", "layout"),
    "show": ("synth", "nets", "layout"),
    "synth": ("layout",),
    "layout": ("synth",),
}
"""Rooms that must not know each other, whatever the floors say: a plan stands on its own, without what made it."""
LOOSE = {"__init__.py", "__main__.py", "flow.py"}
"""The only files that stand in no room."""
ROLES = {"__init__.py", "model.py", "json_io.py"}
"""Names of files that play the same role in any room."""

Check = Callable[[Path], Iterator[str]]


def room_of(module: str) -> str:
    return (module.split(".") + [""])[1]


def arrows(root: Path) -> Iterator[tuple[str, str]]:
    """All pairs of files of different rooms, of which the first imports the second."""
    for module, targets in graph_of(files_of(root, PACKAGE)).items():
        yield from ((module, target) for target in sorted(targets) if room_of(target) != room_of(module))


def unknown_rooms(root: Path) -> Iterator[str]:
    yield from (f"{module} is in no known room" for module in files_of(root, PACKAGE) if room_of(module) not in HEIGHT)


def arrows_up(root: Path) -> Iterator[str]:
    for module, target in arrows(root):
        if HEIGHT.get(room_of(module), -1) <= HEIGHT.get(room_of(target), -1):
            yield f"{module} imports {target}, which is not on a lower floor"


def forbidden_arrows(root: Path) -> Iterator[str]:
    for module, target in arrows(root):
        if room_of(target) in APART.get(room_of(module), ()):
            yield f"{module} imports {target}, of a room that it must not know"


def base_leaves_itself(root: Path) -> Iterator[str]:
    yield from (f"{module} imports {target}" for module, target in arrows(root) if room_of(module) == "base")


def circles_of_rooms(root: Path) -> Iterator[str]:
    graph: dict[str, set[str]] = {}
    for module, target in arrows(root):
        graph.setdefault(room_of(module), set()).add(room_of(target))
    if found := circle(graph):
        yield " -> ".join(found)


def circles_of_files(root: Path) -> Iterator[str]:
    if found := circle(graph_of(files_of(root, PACKAGE))):
        yield " -> ".join(found)


def loose_files(root: Path) -> Iterator[str]:
    yield from (f"{file.name} is in no room" for file in (root / PACKAGE).glob("*.py") if file.name not in LOOSE)


def one_name_twice(root: Path) -> Iterator[str]:
    first: dict[str, Path] = {}
    for file in files_of(root, PACKAGE).values():
        twin = first.setdefault(file.name, file)
        if twin != file and file.name not in ROLES:
            yield f"{twin.relative_to(root)} and {file.relative_to(root)} have one name"


def strangers(root: Path, folder: str, wanted: Callable[[str], bool]) -> Iterator[str]:
    """Files of `folder` and what they import of names that are not wanted there."""
    for file in sorted((root / folder).rglob("*.py")):
        for name in sorted(set(imported_names(file, file.stem))):
            if not wanted(name.split(".")[0]):
                yield f"{file.relative_to(root)} imports {name}"


def stems(root: Path, folder: str) -> set[str]:
    return {file.stem for file in (root / folder).glob("*.py")}


def imports_of_benchmarks_by_tests(root: Path) -> Iterator[str]:
    known = stems(root, "benchmarks") | {"benchmarks"}
    yield from strangers(root, "tests", lambda name: name not in known)


def imports_of_tests_by_benchmarks(root: Path) -> Iterator[str]:
    known = stems(root, "tests") | {"tests"}
    yield from strangers(root, "benchmarks", lambda name: name not in known)


def imports_of_tests_by_tests(root: Path) -> Iterator[str]:
    """Those by the support package too."""
    known = stems(root, "tests") | {"tests"}
    yield from strangers(root, "tests", lambda name: name not in known)


def folders_without_a_line(root: Path) -> Iterator[str]:
    text = (root / "DEVELOPERS.md").read_text(encoding="utf-8")
    folders = [file.parent.relative_to(root / PACKAGE) for file in (root / PACKAGE).rglob("*") if file.is_file()]
    for folder in sorted({f.as_posix() for f in folders if f.parts and "__pycache__" not in f.parts}):
        if f"`{folder}/`" not in text:
            yield f"DEVELOPERS.md has no line on {folder}/"
    for room in ("flow.py", "tests/", "tests/support/", "benchmarks/", "designs/", "docs/", ".ci/"):
        if f"`{room}`" not in text:
            yield f"DEVELOPERS.md has no line on {room}"


BROKEN: dict[Check, dict[str, str]] = {
    unknown_rooms: {"hdl2grid/attic/old.py": ""},
    arrows_up: {"hdl2grid/plan/model.py": "from hdl2grid.guide import build", "hdl2grid/guide/build.py": ""},
    forbidden_arrows: {
        "hdl2grid/show/svg.py": "def f():\n    from hdl2grid.nets.model import Netlist",
        "hdl2grid/nets/model.py": "",
    },
    base_leaves_itself: {"hdl2grid/base/errors.py": "import hdl2grid.plan.model", "hdl2grid/plan/model.py": ""},
    circles_of_rooms: {
        "hdl2grid/plan/model.py": "from hdl2grid.sim import waves",
        "hdl2grid/sim/waves.py": "",
        "hdl2grid/sim/player.py": "from ..plan import model",
    },
    circles_of_files: {
        "hdl2grid/plan/model.py": "from hdl2grid.plan.cover import fewest",
        "hdl2grid/plan/cover.py": "from .strokes import joined",
        "hdl2grid/plan/strokes.py": "from hdl2grid.plan import model",
    },
    loose_files: {"hdl2grid/helpers.py": ""},
    one_name_twice: {"hdl2grid/plan/cover.py": "", "hdl2grid/synth/exact/cover.py": ""},
    imports_of_benchmarks_by_tests: {"tests/support/a.py": "import growth", "benchmarks/growth.py": ""},
    imports_of_tests_by_benchmarks: {"benchmarks/growth.py": "from test_plan import f", "tests/test_plan.py": ""},
    imports_of_tests_by_tests: {"tests/support/a.py": "from test_plan import f", "tests/test_plan.py": ""},
    folders_without_a_line: {"hdl2grid/plan/model.py": "", "DEVELOPERS.md": "`tests/`"},
}
"""Each check, with the files of a tree that breaks its rule."""


@pytest.mark.parametrize("check", BROKEN, ids=lambda check: check.__name__)
def test_the_project_keeps_the_rule(check: Check) -> None:
    assert not list(check(ROOT))


@pytest.mark.parametrize("check", BROKEN, ids=lambda check: check.__name__)
def test_a_broken_rule_is_found(check: Check, tmp_path: Path) -> None:
    for name, text in BROKEN[check].items():
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_text(text, encoding="utf-8")
    assert list(check(tmp_path))


def test_all_arrows_of_the_package_are_seen() -> None:
    """Were no import read, every rule would hold."""
    seen = set(arrows(ROOT))
    assert ("hdl2grid.flow", "hdl2grid.verify.prove") in seen and ("hdl2grid.__main__", "hdl2grid.cli") in seen
    assert len(seen) > 300
    assert {room_of(module) for module in files_of(ROOT, PACKAGE)} == set(HEIGHT)
