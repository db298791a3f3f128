"""Where in the user's own files something was written, or went wrong."""

from __future__ import annotations

import inspect
import linecache
import os
import re
import sys
import traceback
from functools import lru_cache
from pathlib import Path
from types import TracebackType

from hdl2grid.base.errors import InputError, SourceLine

# This package's folder, and that of the designs shipped in it.
_PACKAGE = str(Path(__file__).resolve().parents[1]) + os.sep
_SHIPPED = f"{_PACKAGE}shipped{os.sep}"
_LIBRARIES = ("site-packages", "dist-packages")


def is_ours(path: str) -> bool:
    """Whether `path` is a file of this package (the shipped designs count as the user's), or code without a
    file that Python made."""
    if path == "<string>" or path.startswith("<frozen"):
        return True
    real = os.path.realpath(path)
    return real.startswith(_PACKAGE) and not real.startswith(_SHIPPED)


def user_line() -> SourceLine | None:
    """The innermost line outside of this package that led to this call; None where there is none."""
    frame = sys._getframe(1)
    while frame is not None:
        if not is_ours(frame.f_code.co_filename):
            return SourceLine(frame.f_code.co_filename, frame.f_lineno)
        frame = frame.f_back  # type: ignore[assignment]
    return None


def source_of(value: object) -> SourceLine | None:
    """The line on which an Amaranth signal, port or statement was written; None where it does not say."""
    location = getattr(value, "src_loc", None)
    if isinstance(location, tuple) and len(location) == 2 and isinstance(location[1], int):
        return SourceLine(str(location[0]), location[1])
    return None


def declaration_of(owner: type, attribute: str) -> SourceLine | None:
    """The line on which a class declares an attribute by annotation (`ones: Out(7)`), or else on which the
    class itself begins; None where its source cannot be had."""
    bases = [base for base in owner.__mro__ if attribute in base.__dict__.get("__annotations__", {})]
    for base in [*bases, owner]:
        try:
            path, lines, first = _class_source(base)
        except (OSError, TypeError):
            continue
        matches = (i for i, line in enumerate(lines) if re.match(rf"\s*{re.escape(attribute)}\s*:", line))
        return SourceLine(path, first + next(matches, 0))
    return None


@lru_cache(maxsize=64)
def _class_source(cls: type) -> tuple[str, tuple[str, ...], int]:
    lines, first = inspect.getsourcelines(cls)
    return inspect.getsourcefile(cls) or "", tuple(lines), first


def last_user_line(trace: TracebackType | None) -> SourceLine | None:
    """The innermost line of a traceback that is neither this package's nor an installed one's."""
    found = None
    for frame, line in traceback.walk_tb(trace):
        path = frame.f_code.co_filename
        if not is_ours(path) and not is_installed(path):
            found = SourceLine(path, line)
    return found


def user_error(code: str, what: str, error: BaseException, fallback: object) -> InputError:
    """An InputError for an exception in the user's code: its text, and the innermost line of the user's."""
    where = last_user_line(error.__traceback__)
    return InputError(code, f"{what}: {exception_text(error)}{quoted(where)}", where=where or fallback)


def exception_text(error: BaseException) -> str:
    """The last line of a traceback: "ZeroDivisionError: division by zero"."""
    return "".join(traceback.format_exception_only(error)).strip() or type(error).__name__


def quoted(where: SourceLine | None) -> str:
    """The source line at `where`, on an indented line of its own; "" where it cannot be read."""
    line = linecache.getline(where.path, where.line).strip() if where else ""
    return f"\n    {line}" if line else ""


def is_installed(path: str) -> bool:
    """Whether `path` belongs to Python or to an installed package."""
    real = os.path.realpath(path)
    if real.startswith(_SHIPPED):
        return False
    standard = os.path.dirname(os.path.realpath(os.__file__)) + os.sep
    return real.startswith(standard) or any(f"{os.sep}{part}{os.sep}" in real for part in _LIBRARIES)
