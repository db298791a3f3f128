"""Loading a design: a Python file of the user's, or one shipped with this tool, with a `machine` in it."""

from __future__ import annotations

import linecache
import os
import sys
import warnings
from pathlib import Path
from types import ModuleType

from amaranth.hdl import UnusedElaboratable

from hdl2grid.base.errors import GridError, InputError, SourceLine, nearest
from hdl2grid.base.sources import short
from hdl2grid.base.userline import user_error
from hdl2grid.design.attach import check_name
from hdl2grid.design.machine import Machine

# The folder of this package.
_PACKAGE = Path(__file__).resolve().parents[1]
SIZE_LIMIT = 4_000_000
"""Bytes of a design file. Guessed."""


def shipped_folder() -> Path:
    """Where the shipped designs are: `designs/` of a checkout, or within the installed package."""
    checkout = _PACKAGE.parent
    if (checkout / "pyproject.toml").is_file() and (checkout / "designs").is_dir():
        return checkout / "designs"
    return _PACKAGE / "shipped"


def shipped_designs() -> dict[str, Path]:
    """The shipped designs by name, in alphabetical order."""
    files = sorted(shipped_folder().glob("*.py"))
    return {file.stem: file for file in files if not file.stem.startswith("_")}


def find_design(path_or_name: str | os.PathLike[str]) -> Path:
    """The file of a design: a path to a file that exists, else the name of a shipped design.

    Raises InputError M050 where it is neither, with the nearest name.
    """
    text = os.fspath(path_or_name)
    path = Path(text)
    if os.path.isfile(text):
        return path
    shipped = shipped_designs()
    if text in shipped:
        return shipped[text]
    if os.path.exists(text):
        raise InputError("M050", "a design is a Python file, and this is none", where=text)
    if os.path.isfile(text + ".py"):
        raise InputError("M050", "there is no such design", where=text, hint=f"Did you mean '{text}.py'?")
    if os.sep in text or path.suffix:
        hint = nearest(text, [str(p) for p in _siblings(path)])
        if path.name == text and path.stem in shipped:
            hint = f"The shipped design is called '{path.stem}', without '{path.suffix}'."
        raise InputError("M050", "there is no such file", where=text, hint=hint)
    hint = nearest(text, shipped) or f"Give the path of a Python file, or one of: {', '.join(shipped)}."
    raise InputError("M050", "there is no file and no shipped design of this name", where=text, hint=hint)


def _siblings(path: Path) -> list[Path]:
    try:
        return sorted(path.parent.glob("*.py"))[:1000]
    except OSError:
        return []


def load_machine(path_or_name: str | os.PathLike[str]) -> Machine:
    """The `machine` of a design file, given by its path or by the name of a shipped design.

    The file runs as any Python module does, with its own folder first on `sys.path` meanwhile. Raises
    InputError: M050 no such design, M051 unreadable, M052 not Python, M053 an error in it (with the user's
    own line), M054 no `machine` in it, M055 a `machine` that is not a Machine, and all that `Machine` raises.
    """
    path = find_design(path_or_name)
    try:
        module = _run(path, _compiled(path))
        machine = module.__dict__.get("machine")
        if not isinstance(machine, Machine):
            raise _no_machine(path, module)
        if machine.name is None:
            check_name(path.stem, SourceLine(str(path), 1))
        return machine.named(path.stem)
    except BaseException:
        warnings.simplefilter("ignore", UnusedElaboratable)  # what a broken design made is used by nobody
        raise


def _compiled(path: Path) -> object:
    try:
        with path.open("rb") as file:
            source = file.read(SIZE_LIMIT + 1)
    except OSError as error:
        raise InputError("M051", f"cannot read the design: {error.strerror}", where=path) from error
    if len(source) > SIZE_LIMIT:
        raise InputError("M051", f"the design is larger than {SIZE_LIMIT} bytes", where=path)
    linecache.checkcache(str(path))
    try:
        return compile(source, str(path), "exec", dont_inherit=True)
    except SyntaxError as error:
        line = f"\n    {error.text.strip()}" if error.text else ""
        where = SourceLine(str(path), error.lineno) if error.lineno else path
        raise InputError("M052", f"the design is not Python: {error.msg}{line}", where=where) from error
    except (ValueError, RecursionError, MemoryError) as error:
        raise InputError("M052", f"the design is not Python: {error}", where=path) from error


def _run(path: Path, code: object) -> ModuleType:
    name = f"hdl2grid_design_{path.stem}"
    module = ModuleType(name)
    module.__file__ = str(path)
    folder = str(path.resolve().parent)
    before = sys.modules.get(name)
    sys.modules[name] = module
    sys.path.insert(0, folder)
    try:
        exec(code, module.__dict__)  # type: ignore[arg-type]
    except (KeyboardInterrupt, GridError):
        raise
    except BaseException as error:  # SystemExit too: it would end this tool with the design's exit code
        if before is None:
            sys.modules.pop(name, None)
        raise user_error("M053", "an error in the design", error, path) from error
    finally:
        if folder in sys.path:
            sys.path.remove(folder)
    return module


def _no_machine(path: Path, module: ModuleType) -> InputError:
    machines = sorted(key for key, value in module.__dict__.items() if isinstance(value, Machine))
    if "machine" in module.__dict__:
        value = short(module.__dict__["machine"])
        return InputError(
            "M055",
            f"the design's 'machine' is {value}, not a hdl2grid.Machine",
            where=path,
            hint="Write machine = Machine(component, ...).",
        )
    hint = "Write machine = Machine(component, ...) at the end of the file."
    if machines:
        hint = f"There is '{machines[0]}': call it 'machine'."
    return InputError("M054", "the design has no module-level 'machine'", where=path, hint=hint)
