"""`hdl2grid compare`: what to change on a laid machine so that it becomes another plan."""

from __future__ import annotations

import re
from pathlib import Path

import click

from hdl2grid.base.errors import InputError
from hdl2grid.base.outputs import write_new_file
from hdl2grid.base.target import load_target
from hdl2grid.cli.reporter import Reporter
from hdl2grid.cli.session import output_options, session
from hdl2grid.compare.change_list import compare
from hdl2grid.compare.difference import difference, likely_shift, moved
from hdl2grid.compare.json_io import dump_changes
from hdl2grid.compare.model import ChangeList
from hdl2grid.guide.build import fresh_of
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.model import Plan
from hdl2grid.show.changes_text import changes_text, summary


@click.command("compare")
@click.argument("old", type=click.Path(path_type=Path))
@click.argument("new", type=click.Path(path_type=Path))
@click.option("--shift", help="DX,DY: the old machine stands so far from where the new plan has it.")
@click.option("--target", default="default", help="The game's target: a built-in name or a file.")
@click.option("--out", type=click.Path(path_type=Path), help="A new file for the list: .txt, or .json for data.")
@output_options
def compare_command(old: Path, new: Path, shift: str | None, target: str, out: Path | None) -> None:
    """Say what to remove, change and add so that a machine laid by plan OLD becomes plan NEW.

    In laying order, with the nets to test again and the restore sheet. `hdl2grid compare NEW OLD` is the way back.
    """
    state = session()
    before, after, game = load_plan(old), load_plan(new), load_target(target)
    if after.target != game.name:
        state.note(
            f"note: the plan was made for the target '{after.target}', and this list is for '{game.name}'; "
            "--target names another"
        )
    if shift is not None:
        before = moved(before, *_shift(shift))
    with Reporter(verbose=state.verbose) as reporter:
        reporter.stage("compare")
        changes = compare(before, after, fresh_of(game))
        hint = _hint(before, after, changes)
    if hint:
        state.note(hint)
    if out is not None:
        write_new_file(out, dump_changes(changes) if out.suffix.lower() == ".json" else changes_text(changes))
        state.say(f"{summary(changes)}\nWrote {out}")
    else:
        state.say(changes_text(changes).rstrip())
    state.report(
        {
            "command": "compare",
            "same": changes.difference.is_empty,
            "touched_tiles": len(changes.difference.touched),
            "share_touched": changes.share_touched,
            "removed": len(changes.difference.removed),
            "added": len(changes.difference.added),
            "changed": len(changes.difference.changed),
            "renamed": len(changes.difference.renamed),
            "strokes_taken_up": len(changes.difference.unwired),
            "strokes_laid": len(changes.difference.wired),
            "nets_to_test": [row.name for row in changes.retest],
            "file": None if out is None else str(out),
        }
    )


def _shift(text: str) -> tuple[int, int]:
    match = re.fullmatch(r"\s*(-?\d{1,4})\s*,\s*(-?\d{1,4})\s*", text)
    if not match:
        raise InputError("D003", f"'{text}' is no shift", hint="Give columns and rows, as in --shift 2,-1")
    return int(match[1]), int(match[2])


def _hint(old: Plan, new: Plan, changes: ChangeList) -> str | None:
    """What to say when the old machine, moved, would be much nearer to the new plan."""
    dx, dy = likely_shift(old, new)
    if (dx, dy) == (0, 0):
        return None
    try:
        fewer = len(difference(moved(old, dx, dy), new).touched)
    except InputError:
        return None
    if 2 * fewer > len(changes.difference.touched):
        return None
    return f"note: with --shift {dx},{dy} only {fewer} tiles change"
