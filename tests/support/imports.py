"""What Python files import, read off their sources: nothing is run."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from pathlib import Path

Graph = dict[str, set[str]]


def imported_names(file: Path, module: str) -> Iterator[str]:
    """The dotted names that a file imports, anywhere in it: `import a.b` gives a.b, `from a import b` gives a.b.

    `module` is the dotted name that the file is imported by; relative imports are made whole by it.
    """
    package = module.split(".") if file.name == "__init__.py" else module.split(".")[:-1]
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            above = package[: len(package) - node.level + 1] if node.level else []
            start = [*above, *([node.module] if node.module else [])]
            yield from (".".join([*start, alias.name]) for alias in node.names)


def files_of(root: Path, package: str) -> dict[str, Path]:
    """The Python files below `root / package` by the dotted names that they are imported by."""
    found = {}
    for file in sorted((root / package).rglob("*.py")):
        parts = file.relative_to(root).with_suffix("").parts
        found[".".join(parts[:-1] if parts[-1] == "__init__" else parts)] = file
    return found


def graph_of(files: Mapping[str, Path]) -> Graph:
    """Which of the files each file imports. `from a import b` is an arrow to file a.b, or to a where b is no file."""
    graph: Graph = {}
    for module, file in files.items():
        names = imported_names(file, module)
        targets = {name if name in files else name.rpartition(".")[0] for name in names}
        graph[module] = {target for target in targets if target in files and target != module}
    return graph


def circle(graph: Mapping[str, set[str]]) -> list[str]:
    """One circle of arrows, its first member at both ends; empty where there is none."""
    done: set[str] = set()
    for start in sorted(graph):
        path, todo = [], [(start, iter(sorted(graph[start])))]
        while todo:
            node, further = todo[-1]
            if len(path) < len(todo):
                path.append(node)
            follower = next((f for f in further if f not in done), None)
            if follower is None:
                done.add(node)
                todo.pop()
                path.pop()
            elif follower in path:
                return [*path[path.index(follower) :], follower]
            else:
                todo.append((follower, iter(sorted(graph.get(follower, ())))))
    return []
