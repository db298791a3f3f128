"""`hdl2grid start`: a commented design to begin from."""

from __future__ import annotations

import keyword
import re
from importlib import resources
from pathlib import Path

import click

from hdl2grid.base.errors import InputError
from hdl2grid.base.outputs import write_new_file
from hdl2grid.cli.session import output_options, session


@click.command("start")
@click.argument("name")
@output_options
def start_command(name: str) -> None:
    """Write a commented starting design NAME.py, which checks and plans as it is."""
    state = session()
    path = Path(name if name.endswith(".py") else f"{name}.py")
    if not re.fullmatch(r"[A-Za-z][A-Za-z0-9_-]{0,60}", path.stem):
        raise InputError(
            "C010",
            f"'{path.stem}' cannot be a design's name",
            hint="Use a letter, then letters, digits, - or _: hdl2grid start tea_timer",
        )
    write_new_file(path, starting_design(path))
    state.say(f"Wrote {path}. Next:\n  hdl2grid check {path}\n  hdl2grid plan {path}")
    state.report({"file": str(path)})


def starting_design(path: Path) -> str:
    """The text of the starting design, to be written to `path`."""
    words = re.split(r"[_-]+", path.stem)
    class_name = "".join(word[:1].upper() + word[1:] for word in words)
    if keyword.iskeyword(class_name):
        class_name += "Machine"
    text = (resources.files("hdl2grid.cli") / "templates" / "start.py.txt").read_text(encoding="utf-8")
    for mark, value in (("@NAME@", path.stem), ("@FILE@", path.name), ("@CLASS@", class_name)):
        text = text.replace(mark, value)
    return text
