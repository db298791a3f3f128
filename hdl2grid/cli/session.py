"""What all commands share: where output goes, how errors end a command, and the options for output."""

from __future__ import annotations

import contextlib
import json
import os
import sys
import traceback
import warnings
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeVar

import click

from hdl2grid.base.errors import DesignFailed, Finding, GridError

EXIT_INTERNAL = 70
"""A fault of hdl2grid itself: EX_SOFTWARE of BSD's sysexits.h, so that no script takes it for a verdict."""
EXIT_INTERRUPTED = 130
"""Ctrl-C, or SIGTERM, with nothing to hand out: 128 + SIGINT, as shells report it."""
EXIT_BROKEN_PIPE = 141
"""The reader of stdout went away: 128 + SIGPIPE, as shells report it."""

MAX_TOLD = 30
"""How many findings are printed one by one; --json has all of them. Guessed."""


class FoundWrong(DesignFailed):
    """A plan, circuit or design in which checks have found something: exit code 1, and all of it told."""

    def __init__(self, code: str, what: str, findings: Sequence[Finding], where: object = None) -> None:
        super().__init__(code, what, where=where)
        self.findings = tuple(findings)


F = TypeVar("F", bound=Callable[..., Any])


@dataclass
class Session:
    """The output options of one call, and its machine-readable report as far as it has come."""

    json: bool = False
    verbose: bool = False
    data: dict[str, Any] = field(default_factory=dict)

    def say(self, text: str) -> None:
        """Human-readable result on stdout; silent under --json."""
        if not self.json:
            click.echo(text)

    def note(self, text: str) -> None:
        """Something beside the result, such as a warning: on stderr."""
        click.echo(text, err=True)

    def report(self, data: dict[str, Any]) -> None:
        """Adds to the machine-readable report, which is printed when the command ends."""
        self.data.update(data)

    def finish(self) -> None:
        """Prints the machine-readable report, under --json only."""
        if self.json:
            click.echo(json.dumps(self.data, indent=2, ensure_ascii=False))
        sys.stdout.flush()


def session() -> Session:
    """The running command's session."""
    return click.get_current_context().find_root().ensure_object(Session)


@contextlib.contextmanager
def running_user_code() -> Iterator[None]:
    """Keeps stdout for our result while a design, which is the user's Python and may print, runs. If it fails, Amaranth
    does not add that components were never used, neither now nor when the interpreter ends."""
    from amaranth.hdl import UnusedElaboratable

    warnings.simplefilter("ignore", UnusedElaboratable)
    try:
        with contextlib.redirect_stdout(sys.stderr):
            yield
    finally:
        setattr(UnusedElaboratable, "_MustUse__silence", True)  # noqa: B010  (Amaranth's own switch)


class ErrorHandlingGroup(click.Group):
    """A group whose commands never show a traceback for a user's mistake, and always end with a documented
    exit code."""

    def invoke(self, ctx: click.Context) -> Any:
        state = ctx.ensure_object(Session)
        try:
            exit_code = self._run(ctx, state)
            state.finish()
        except BrokenPipeError:
            _silence_stdout()
            exit_code = EXIT_BROKEN_PIPE
        ctx.exit(exit_code)

    def _run(self, ctx: click.Context, state: Session) -> int:
        """Runs the command; its exit code."""
        try:
            super().invoke(ctx)
            return 0
        except GridError as error:
            _tell(state, error)
            return error.exit_code
        except KeyboardInterrupt as stopped:
            click.echo(f"interrupted: {stopped}" if str(stopped) else "interrupted", err=True)
            state.report({"exit_code": EXIT_INTERRUPTED})
            return EXIT_INTERRUPTED
        except (click.exceptions.Exit, click.ClickException, click.Abort, BrokenPipeError):
            raise
        except MemoryError:
            click.echo("H2G-C098: out of memory", err=True)
            state.report({"exit_code": EXIT_INTERNAL, "error": {"code": "H2G-C098", "what": "out of memory"}})
            return EXIT_INTERNAL
        except Exception as error:
            _tell_internal(state, error)
            return EXIT_INTERNAL


def _tell(state: Session, error: GridError) -> None:
    click.echo(str(error), err=True)
    report: dict[str, Any] = {"exit_code": error.exit_code, "error": error_json(error)}
    if isinstance(error, FoundWrong):
        for finding in error.findings[:MAX_TOLD]:
            click.echo(f"  {finding}", err=True)
        if len(error.findings) > MAX_TOLD:
            click.echo(f"  ... and {len(error.findings) - MAX_TOLD} more", err=True)
        report["findings"] = [finding_json(finding) for finding in error.findings]
    state.report(report)


def error_json(error: GridError) -> dict[str, Any]:
    """An error as the machine-readable report shows it."""
    return {"code": f"H2G-{error.code}", "what": error.what, "where": error.where, "hint": error.hint}


def finding_json(finding: Finding) -> dict[str, Any]:
    """A finding as the machine-readable report shows it."""
    tile = None if finding.tile is None else list(finding.tile)
    return {**vars(finding), "code": f"H2G-{finding.code}", "tile": tile}


def _tell_internal(state: Session, error: Exception) -> None:
    if state.verbose:
        click.echo("".join(traceback.format_exception(error)).rstrip(), err=True)
    what = f"{type(error).__name__}: {error}".splitlines()[0]
    click.echo(f"H2G-C099: a fault in hdl2grid itself: {what}", err=True)
    click.echo(
        "  Please report it with the design and the command; -v shows where it happened.",
        err=True,
    )
    state.report({"exit_code": EXIT_INTERNAL, "error": {"code": "H2G-C099", "what": what}})


def _silence_stdout() -> None:
    """Point stdout at nothing, so that Python's own flush at exit does not fail again."""
    with contextlib.suppress(OSError, ValueError, AttributeError):
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _remember(name: str) -> Callable[[click.Context, click.Parameter, bool], bool]:
    def callback(ctx: click.Context, _param: click.Parameter, value: bool) -> bool:
        setattr(ctx.find_root().ensure_object(Session), name, value)
        return value

    return callback


def output_options(command: F) -> F:
    """Adds --json and -v, which every command has."""
    command = click.option(
        "--json",
        "_json",
        is_flag=True,
        expose_value=False,
        callback=_remember("json"),
        help="Print a machine-readable report on stdout.",
    )(command)
    return click.option(
        "-v",
        "--verbose",
        "_verbose",
        is_flag=True,
        expose_value=False,
        callback=_remember("verbose"),
        help="Say more, and show tracebacks of faults.",
    )(command)
