"""What a benchmark keeps: one JSON file a version in `benchmarks/results/`."""

from __future__ import annotations

import json
import subprocess
from collections.abc import Iterable
from importlib import metadata
from pathlib import Path
from typing import Any

_HERE = Path(__file__).parent


def save(name: str, result: dict[str, Any]) -> None:
    """Writes `results/NAME-VERSION.json`: the version, the commit, and the result."""
    version = metadata.version("hdl2grid")
    commit = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, cwd=_HERE)
    path = _HERE / "results" / f"{name}-{version}.json"
    path.parent.mkdir(exist_ok=True)
    data = {"version": version, "commit": commit.stdout.strip(), **result}
    path.write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
    print(f"written: {path}")


def tell(rows: Iterable[dict[str, Any]], path: str | None) -> None:
    """Prints rows as they come, and writes them all to the file, if there is one."""
    found = []
    for row in rows:
        found.append(row)
        print("  ".join(f"{k} {v}" for k, v in row.items()), flush=True)
    if path:
        Path(path).write_text(json.dumps(found, indent=1) + "\n", encoding="utf-8")
