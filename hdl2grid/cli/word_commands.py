"""Commands about words and settings: `explain` and `target`."""

from __future__ import annotations

import os
from pathlib import Path

import click

from hdl2grid.base.errors import InputError
from hdl2grid.base.explain import ROOMS, explain, messages
from hdl2grid.base.outputs import write_new_file
from hdl2grid.base.target import Target, builtin_text, load_target, target_names
from hdl2grid.cli.session import output_options, session


@click.command("explain")
@click.argument("code", required=False)
@output_options
def explain_command(code: str | None) -> None:
    """What a message means and what to do about it, by its CODE (as in R012). Without CODE: list all."""
    state = session()
    if code is None:
        for message in messages().values():
            state.say(f"{message.code}  {message.means.splitlines()[0]}")
        state.report({"messages": [vars(message) for message in messages().values()]})
        return
    message = explain(code)
    state.say(f"H2G-{message.code} ({ROOMS[message.code[0]]})\n\n{message.means}\n\nWhat to do: {message.do}")
    state.report(vars(message))


@click.group("target", invoke_without_command=True)
@click.pass_context
def target_group(ctx: click.Context) -> None:
    """Show, check or start a target file: what the game has in colours, periods and sizes."""
    if ctx.invoked_subcommand is None:
        ctx.invoke(target_show, target="default")


@target_group.command("show")
@click.argument("target", default="default")
@output_options
def target_show(target: str) -> None:
    """Show a TARGET: a built-in name or a file. Without one: the built-in `default`."""
    state = session()
    loaded = load_target(target)
    state.say(builtin_text(target) if target in target_names() else _summary(loaded))
    state.report(_as_json(loaded))


@target_group.command("check")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@output_options
def target_check(file: Path) -> None:
    """Check a target FILE and say what it means."""
    state = session()
    if not os.path.exists(file):
        raise InputError("T002", "cannot read the target file: no such file", where=file)
    loaded = load_target(file)
    state.say(f"{file} is a good target file.\n{_summary(loaded)}")
    state.report(_as_json(loaded))


@target_group.command("start")
@click.argument("file", type=click.Path(dir_okay=False, path_type=Path))
@output_options
def target_start(file: Path) -> None:
    """Write a commented target FILE to edit."""
    state = session()
    text = builtin_text().replace('name = "default"', f'name = "{_toml_safe(file.stem)}"', 1)
    write_new_file(file, text)
    state.say(f"Wrote {file}. Edit it, then: hdl2grid target check {file}")
    state.report({"file": str(file)})


def _toml_safe(stem: str) -> str:
    kept = "".join(c for c in stem if c.isalnum() or c in "_-. ").strip()[:40]
    return kept or "mygame"


def _summary(target: Target) -> str:
    lines = [f"target {target.name}"]
    for colour in target.colours:
        dash = "unbroken" if not colour.dash else "dash " + " ".join(f"{d:g}" for d in colour.dash)
        lines.append(f"  wire colour {colour.name} ({colour.code or 'no code'}), drawn {colour.hue}, {dash}")
    periods = target.ticker_periods
    shown = "any" if periods is None else ", ".join(f"{p:g}" for p in periods) + " s"
    lines.append(f"  ticker periods: {shown}")
    lines.append(f"  largest grid: {target.max_width} x {target.max_height} tiles")
    return "\n".join(lines)


def _as_json(target: Target) -> dict[str, object]:
    return {
        "name": target.name,
        "colours": [{"name": c.name, "code": c.code, "hue": c.hue, "dash": list(c.dash)} for c in target.colours],
        "ticker_periods": "any" if target.ticker_periods is None else list(target.ticker_periods),
        "grid": {"max_width": target.max_width, "max_height": target.max_height},
        "laying": vars(target.laying),
    }
