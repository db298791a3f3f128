"""`hdl2grid draw`: pictures of a plan, of its circuit, and of what it does."""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import click

from hdl2grid.base.errors import InputError
from hdl2grid.base.outputs import ResultFolder, replace_drawing
from hdl2grid.base.target import Target, load_target
from hdl2grid.cli.beside import circuit_beside
from hdl2grid.cli.session import output_options, session
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.model import Plan
from hdl2grid.show.drawings import FORMATS, KINDS, Drawing, DrawingOptions, drawings_of, render, render_plan
from hdl2grid.show.sheets import PAPERS
from hdl2grid.show.text_drawing import plan_text
from hdl2grid.sim.events import parse_events
from hdl2grid.sim.pulse_network import network_from_plan

DEFAULT_FORMATS = (".svg", ".png")
DEFAULT_EVENTS = 60
"""Events of a timing chart if --events names none, all of the first source. Guessed: a minute of one-second ticks."""


@dataclass(frozen=True)
class Wanted:
    """What to draw, in what size, and where: the options as they are written on the command line."""

    kind: str
    out: Path | None
    tile: float | None
    paper: str
    mm: float | None
    events: str | None


@click.command("draw")
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--kind", type=click.Choice(KINDS), default="plan", help="What to draw.")
@click.option("--text", is_flag=True, help="Draw the plan on the terminal, in characters.")
@click.option("--only", metavar="COLOUR", help="With --text: the wires of this colour only.")
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    help="A picture to write, named .svg, .png or .pdf, or a folder. Without it: beside PLAN.",
)
@click.option("--tile", type=float, default=None, help="Pixels to a tile, 4 to 200 (26 if left out).")
@click.option("--paper", type=click.Choice(tuple(PAPERS)), default="a4", help="Paper of the sheets.")
@click.option("--mm", type=float, default=None, help="Millimetres to a tile of the sheets, 5 to 20.")
@click.option("--events", default=None, help="Events of the timing chart, such as 'sync*60 reset'.")
@click.option("--target", default="default", help="How the wire colours look: a target's name or file.")
@output_options
def draw_command(plan: Path, text: bool, only: str | None, target: str, **chosen: Any) -> None:
    """Draw a PLAN (plan.json).

    \b
    Kinds:  plan     the whole plan (the default)
            colours  the plan once for each wire colour
            sheets   sheets of paper to print, with a key map (a PDF)
            circuit  stacks and nets without places, in symbols of IEC 60617-12
            states   the state diagram of a small machine
            timing   what the signals do, event by event
    """
    state = session()
    loaded, look = load_plan(plan), load_target(target)
    if text:
        state.say(_on_terminal(loaded, only).rstrip("\n"))
        state.report({"text": plan_text(loaded, only=only)})
        return
    if only is not None:
        raise click.UsageError("--only goes with --text; --kind colours draws every colour by itself.")
    wanted = Wanted(**chosen)
    options = DrawingOptions(
        tile=wanted.tile,
        paper=wanted.paper,
        tile_mm=wanted.mm,
        events=_events(loaded, wanted),
        circuit=circuit_beside(plan) if wanted.kind == "circuit" else None,
    )
    written = _write(plan, loaded, look, wanted, options)
    for path in written:
        state.say(f"Wrote {path}")
    state.report({"files": [str(path) for path in written]})


def _on_terminal(plan: Plan, only: str | None) -> str:
    """Lines and colours as far as standard output can show them."""
    encoding = (getattr(sys.stdout, "encoding", None) or "ascii").lower().replace("-", "")
    return plan_text(plan, only=only, ascii_only=not encoding.startswith("utf"), ansi=sys.stdout.isatty())


def _events(plan: Plan, wanted: Wanted) -> tuple[str, ...]:
    if wanted.kind != "timing":
        return ()
    network = network_from_plan(plan)
    if wanted.events is None:
        return network.events[:1] * DEFAULT_EVENTS
    return tuple(parse_events(wanted.events, network.events))


def _write(plan: Path, loaded: Plan, look: Target, wanted: Wanted, options: DrawingOptions) -> list[Path]:
    kind, out = wanted.kind, wanted.out
    drawings = drawings_of(kind, loaded, look, options)
    suffix = out.suffix.lower() if out else ""
    if out is not None and suffix in FORMATS and not out.is_dir():
        if len(drawings) > 1:
            what = f"--kind {kind} makes {len(drawings)} drawings, and '{out}' is one file"
            raise InputError("W006", what, hint="Name a folder with --out.")
        replace_drawing(out, _rendered(drawings[0], loaded, look, suffix, options))
        return [out]
    files = {
        f"{'plan' if out is not None else plan.stem}{'-' + one.name if one.name else ''}{form}": _rendered(
            one, loaded, look, form, options
        )
        for one in drawings
        for form in ((".pdf",) if len(one.pages) > 1 else DEFAULT_FORMATS)
    }
    if out is not None:
        ResultFolder(out).write(files, keep=True)
        return [out / name for name in files]
    if plan.suffix.lower() in FORMATS:
        raise InputError("C008", f"'{plan}' would be overwritten by its drawing", hint="Use --out.")
    for name, content in files.items():
        replace_drawing(plan.parent / name, content)
    return [plan.parent / name for name in files]


def _rendered(drawing: Drawing, plan: Plan, look: Target, suffix: str, options: DrawingOptions) -> str | bytes:
    return render(drawing, suffix) if drawing.name else render_plan(plan, look, suffix, options.tile)
