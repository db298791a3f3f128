"""`hdl2grid guide`: the guide of a plan, in all its editions, from the plan alone."""

from __future__ import annotations

import hashlib
from pathlib import Path

import click

from hdl2grid.base.outputs import ResultFolder
from hdl2grid.base.target import load_target
from hdl2grid.cli.beside import circuit_beside
from hdl2grid.cli.compiling import compiling_announced
from hdl2grid.cli.reporter import Reporter
from hdl2grid.cli.session import FoundWrong, Session, output_options, session
from hdl2grid.guide.build import fresh_of, make_guide
from hdl2grid.guide.model import Guide
from hdl2grid.plan.json_io import load_plan
from hdl2grid.plan.rules import check_plan
from hdl2grid.show.guide_files import guide_files
from hdl2grid.show.locale.catalogues import SOURCE_LANGUAGE, translator
from hdl2grid.show.page import page_html


@click.command("guide")
@click.argument("plan", type=click.Path(path_type=Path))
@click.option("--out", type=click.Path(path_type=Path), help="Result folder; the folder of PLAN if left out.")
@click.option("--target", default="default", help="The game's target: a built-in name or a file.")
@click.option("--language", default="en", help="Language of the page: en or de. Its reader can choose another.")
@output_options
def guide_command(plan: Path, out: Path | None, target: str, language: str) -> None:
    """Write the guide by which a person lays a PLAN (plan.json) and tests it on the way.

    The folder gets guide.json (data), guide.txt (80 columns), guide.html and guide.pdf (to print), and the page
    index.html, which leads through it. A plan that breaks a layout rule ends with exit code 1.
    """
    state = session()
    loaded, game = load_plan(plan), load_target(target)
    translate = translator(language)
    if loaded.target != game.name:
        state.note(
            f"note: the plan was made for the target '{loaded.target}', and this guide is for '{game.name}'; "
            "--target names another"
        )
    findings = check_plan(loaded)
    if findings:
        raise FoundWrong("G001", "the plan breaks layout rules", findings, where=plan)
    folder = ResultFolder(out if out is not None else plan.parent)
    folder.refuse_foreign()
    with Reporter(verbose=state.verbose) as reporter, compiling_announced(reporter):
        reporter.stage("guide")
        sha = hashlib.sha256(plan.read_bytes()).hexdigest()
        guide = make_guide(loaded, plan_sha256=sha, fresh=fresh_of(game), progress=reporter)
        files = guide_files(loaded, game, guide=guide, progress=reporter)
        told = guide
        if language != SOURCE_LANGUAGE:
            reporter.stage("guide for the page")
            told = make_guide(
                loaded,
                plan_sha256=sha,
                fresh=fresh_of(game),
                translate=translate,
                progress=reporter,
            )
        circuit = circuit_beside(plan)
        files["index.html"] = page_html(loaded, circuit, told, language, target=game, guide_language=language)
        folder.write(files, keep=True)
    _tell(state, guide, folder.path, sorted(files))


def _tell(state: Session, guide: Guide, folder: Path, files: list[str]) -> None:
    steps = list(guide.steps())
    state.say(f"{guide.plan_name}: {len(guide.sections)} sections, {len(steps)} steps, {len(guide.looks)} looks")
    state.say(f"Wrote {folder}: {', '.join(files)}")
    state.report(
        {
            "command": "guide",
            "plan": guide.plan_name,
            "plan_sha256": guide.plan_sha256,
            "sections": len(guide.sections),
            "steps": len(steps),
            "things": sum(action.is_thing for step in steps for action in step.actions),
            "presses": sum(a.times for step in steps for a in step.actions if a.do == "press"),
            "looks": [{"ticker": look.source, "ticks": look.ticks, "reading": look.reading} for look in guide.looks],
            "folder": str(folder),
            "files": files,
        }
    )
