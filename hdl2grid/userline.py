"""Where in the user's own files something was written."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from hdl2grid.errors import SourceLine

_PACKAGE = str(Path(__file__).resolve().parent) + os.sep
_SHIPPED = str(Path(__file__).resolve().parent / "shipped") + os.sep


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
