"""Writing files: never half-written, never over somebody's own.

Everything is first written under a temporary name in the same folder and then renamed. A result folder is
made, or must be empty or hold an earlier result of this tool: a plan, a circuit or a drawing that bears our
mark.
"""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TextIO

from hdl2grid.base.errors import InputError

MARKERS = ("plan.json", "plan.rejected.json", "circuit.json", "plan.svg", "plan.png")
"""Result files that bear a mark of this tool near their beginning."""

RESULT_FILES = (*MARKERS, "report.md", "parts.csv")
NAMED_FILES = (
    *("guide.json", "guide.txt", "guide.html", "guide.pdf", "index.html"),
    *("plan-circuit.svg", "plan-sheets.pdf", "plan-states.svg", "plan-timing.svg", "plan-congestion.svg"),
)
"""Further result files. Somebody's own may well be called so: only those that bear our mark are ever replaced."""

_MARK = re.compile(
    rb'"format"\s*:\s*"hdl2grid (plan|circuit|guide)"|<metadata>hdl2grid</metadata>|Software\0hdl2grid'
    rb'|%PDF-[^\n]*\n[^\n]*hdl2grid drawing|<meta name="generator" content="hdl2grid">'
    rb"|\Ahdl2grid guide, text edition"
)
_DRAWING = re.compile(r"plan(-[\w-]+)?\.(svg|png|pdf)")
_HEAD_BYTES = 4096
"""Of a file, where its mark is looked for: all our files bear theirs in the first lines. Guessed."""
_LEFTOVER = re.compile(r"\.hdl2grid-.*\.tmp")


class ResultFolder:
    """The folder that `--out` names, probed before any work is done and written to all at once at the end."""

    def __init__(self, path: Path) -> None:
        """Makes sure that results can go to `path`. Raises InputError (C002, C003).

        Folders that had to be made for the probe are removed again: a run that fails leaves nothing behind.
        """
        self.path = path
        if os.path.exists(path) and not os.path.isdir(path):
            raise InputError("C003", f"'{path}' is a file, and the results need a folder", hint=_ELSEWHERE)
        if os.path.isdir(path):
            _check_ours(path)
        made = _make_folders(path)
        try:
            _probe(path)
        finally:
            _remove_folders(made)

    def refuse_foreign(self) -> None:
        """Raises InputError C004 where one of NAMED_FILES is somebody's own: it would be overwritten."""
        for name in NAMED_FILES:
            path = self.path / name
            if path.exists() and not _is_ours(path):
                raise InputError("C004", f"'{path}' is none of this tool's, and is not overwritten", hint=_ELSEWHERE)

    def write(self, files: Mapping[str, str | bytes], *, keep: bool = False) -> None:
        """Writes `files` by name. Every other file of RESULT_FILES, and of NAMED_FILES where it is ours, is an
        earlier run's, and is removed unless `keep`. All of `files` are written completely under other names before
        any is put in its place.

        Raises InputError (C003).
        """
        made = _make_folders(self.path)
        temporary: list[tuple[str, Path]] = []
        try:
            for name, content in files.items():
                temporary.append((_write_temporary(self.path, content), self.path / name))
            for stale in RESULT_FILES:
                if stale not in files and not keep:
                    (self.path / stale).unlink(missing_ok=True)
            for stale in NAMED_FILES:
                if stale not in files and not keep and _is_ours(self.path / stale):
                    (self.path / stale).unlink()
            for written, final in temporary:
                os.replace(written, final)
            made = []
        except OSError as error:
            raise _cannot_write(self.path, error) from error
        finally:
            for written, _ in temporary:
                with contextlib.suppress(OSError):
                    os.unlink(written)
            _remove_folders(made)


_ELSEWHERE = "Name another folder with --out."


def _check_ours(path: Path) -> None:
    try:
        entries = sorted(entry.name for entry in path.iterdir() if not _LEFTOVER.fullmatch(entry.name))
    except OSError as error:
        raise _cannot_write(path, error) from error
    if not entries:
        return
    drawings = [name for name in entries if _DRAWING.fullmatch(name)]
    if not any(_is_ours(path / name) for name in (*MARKERS, *NAMED_FILES, *drawings)):
        shown = ", ".join(entries[:3]) + (", ..." if len(entries) > 3 else "")
        raise InputError("C002", f"'{path}' holds files that hdl2grid did not write: {shown}", hint=_ELSEWHERE)
    for name in RESULT_FILES:
        if (path / name).is_dir():
            raise InputError("C002", f"'{path / name}' is a folder", hint=_ELSEWHERE)


def _is_ours(path: Path) -> bool:
    """Whether a file bears a mark of this tool near its beginning."""
    try:
        with path.open("rb") as file:
            return _MARK.search(file.read(_HEAD_BYTES)) is not None
    except OSError:
        return False


def _make_folders(path: Path) -> list[Path]:
    """Makes `path`; returns the folders that were missing, outermost first."""
    missing = []
    try:
        for folder in (path, *path.parents):
            if os.path.exists(folder):
                break
            missing.append(folder)
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        _remove_folders(missing[::-1])
        raise _cannot_write(path, error) from error
    return missing[::-1]


def _remove_folders(folders: list[Path]) -> None:
    for folder in reversed(folders):
        with contextlib.suppress(OSError):
            folder.rmdir()


def _probe(path: Path) -> None:
    try:
        os.unlink(_write_temporary(path, b""))
    except OSError as error:
        raise _cannot_write(path, error) from error


def _cannot_write(path: Path, error: OSError) -> InputError:
    return InputError("C003", f"cannot write to '{path}': {error.strerror or error}", hint=_ELSEWHERE)


def _write_temporary(folder: Path, content: str | bytes) -> str:
    data = content.encode("utf-8") if isinstance(content, str) else content
    handle, name = tempfile.mkstemp(prefix=".hdl2grid-", suffix=".tmp", dir=folder)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
        os.chmod(name, 0o666 & ~_umask())
    except BaseException:
        os.unlink(name)
        raise
    return name


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def refuse_existing(path: Path) -> None:
    """Raises InputError (C004) where there is already something at `path`."""
    if os.path.lexists(path):
        raise InputError("C004", f"'{path}' is there already, and is not overwritten", hint="Use another name.")


def write_new_file(path: Path, content: str | bytes) -> None:
    """Writes a file that must not exist yet. Raises InputError (C004 if it exists, C003 if it cannot be)."""
    refuse_existing(path)
    replace_file(path, content)


def replace_drawing(path: Path, content: str | bytes) -> None:
    """Writes a drawing, over nothing but an earlier drawing. Raises InputError (C003, C004)."""
    if os.path.exists(path) and not _is_ours(path):
        raise InputError("C004", f"'{path}' is no drawing of this tool, and is not overwritten")
    replace_file(path, content)


@contextlib.contextmanager
def streamed_file(path: Path) -> Iterator[TextIO]:
    """A text file to write piece by piece, for what may grow large; in its place when the block ends well.

    Raises InputError (C003).
    """
    try:
        name = _write_temporary(path.parent, b"")
    except OSError as error:
        raise _cannot_write(path, error) from error
    try:
        with open(name, "w", encoding="utf-8") as file:
            yield file
        os.replace(name, path)
    except OSError as error:
        raise _cannot_write(path, error) from error
    finally:
        with contextlib.suppress(OSError):
            os.unlink(name)


def replace_file(path: Path, content: str | bytes) -> None:
    """Writes a file, complete or not at all. Raises InputError (C003)."""
    try:
        written = _write_temporary(path.parent, content)
    except OSError as error:
        raise _cannot_write(path, error) from error
    try:
        os.replace(written, path)
    except OSError as error:
        os.unlink(written)
        raise _cannot_write(path, error) from error
