"""`hdl2grid draw`: pictures of a plan."""

from __future__ import annotations

from pathlib import Path

import click

from hdl2grid.cli.session import output_options, session
from hdl2grid.errors import InputError
from hdl2grid.outputs import ResultFolder, replace_drawing
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.model import Plan
from hdl2grid.show.drawing import draw_png, draw_svg
from hdl2grid.target import Target, load_target

PICTURES = (".svg", ".png")


@click.command("draw")
@click.argument("plan", type=click.Path(path_type=Path))
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="A picture to write, named .svg or .png, or a folder for both. Without it: beside PLAN.",
)
@click.option("--tile", type=float, default=None, help="Pixels to a tile, 4 to 200 (26 if left out).")
@click.option("--target", default="default", help="How the wire colours look: a target's name or file.")
@output_options
def draw_command(plan: Path, out: Path | None, tile: float | None, target: str) -> None:
    """Draw a PLAN (plan.json) as SVG and PNG."""
    state = session()
    loaded, look = load_plan(plan), load_target(target)
    suffix = out.suffix.lower() if out else ""
    if out is not None and suffix in PICTURES and not out.is_dir():
        written = [out]
        replace_drawing(out, _picture(loaded, look, suffix, tile))
    elif out is not None:
        folder = ResultFolder(out)
        pictures = {f"plan{kind}": _picture(loaded, look, kind, tile) for kind in PICTURES}
        folder.write(pictures, keep=True)
        written = [out / name for name in pictures]
    else:
        if plan.suffix.lower() in PICTURES:
            raise InputError("C008", f"'{plan}' would be overwritten by its drawing", hint="Use --out.")
        written = [plan.with_suffix(kind) for kind in PICTURES]
        for path in written:
            replace_drawing(path, _picture(loaded, look, path.suffix, tile))
    for path in written:
        state.say(f"Wrote {path}")
    state.report({"files": [str(path) for path in written]})


def _picture(plan: Plan, target: Target, suffix: str, tile: float | None) -> str | bytes:
    if suffix == ".svg":
        return draw_svg(plan, target, tile) if tile else draw_svg(plan, target)
    return draw_png(plan, target, tile)
