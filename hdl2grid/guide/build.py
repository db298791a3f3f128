"""A guide from a plan: the order of the chapters."""

from __future__ import annotations

import hashlib
from collections.abc import Callable

from hdl2grid.base.errors import DesignFailed
from hdl2grid.base.progress import Progress, silent
from hdl2grid.base.target import Target
from hdl2grid.guide.bench import Bench
from hdl2grid.guide.building_site import Site
from hdl2grid.guide.ending import place_tickers
from hdl2grid.guide.functional import check_function
from hdl2grid.guide.likeness import with_likeness
from hdl2grid.guide.looks import choose_looks
from hdl2grid.guide.lookup_sheets import from_to, restore_sheet
from hdl2grid.guide.model import USUAL, Fresh, Guide
from hdl2grid.guide.opening import (
    Chapters,
    darken_early,
    lay_ground,
    place_crossovers,
    place_pixels,
    place_sources,
    place_stacks,
)
from hdl2grid.guide.sentences import Words, as_text
from hdl2grid.guide.strobing import lay_strobes
from hdl2grid.guide.survey import Survey
from hdl2grid.guide.wiring import Wiring, lay_nets
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Plan
from hdl2grid.plan.rules import check_plan


def fresh_of(target: Target) -> Fresh:
    """What devices are like when placed in a target's game."""
    laying = target.laying
    return Fresh(laying.fresh_pixel_lit, laying.fresh_ticker_running, laying.fresh_gate_output)


def make_guide(
    plan: Plan,
    *,
    plan_sha256: str | None = None,
    fresh: Fresh = USUAL,
    translate: Callable[[str], str] = as_text,
    progress: Progress = silent,
) -> Guide:
    """The guide of a plan. `plan_sha256` is of its file's bytes (left out: of the text that `dump_plan` writes);
    `fresh` says what devices are like when placed; `translate` maps the templates of sentences.

    Raises DesignFailed G001 when the plan breaks a layout rule: such a machine cannot be laid.
    """
    findings = check_plan(plan)
    if findings:
        raise DesignFailed("G001", f"the plan breaks a layout rule: {findings[0]}", where=plan.name)
    site = Site(Survey(plan), Words(translate, fresh.pixel_lit), fresh)
    chapters = Chapters(site)
    wiring = Wiring(site.survey, site.fresh_pixel)
    lay_ground(site, chapters)
    darken_early(site, chapters, wiring.early)
    place_pixels(site, chapters, wiring.late_pixels)
    place_stacks(site, chapters)
    place_sources(site, chapters)
    place_crossovers(site, chapters)
    lay_nets(site, chapters, wiring)
    lay_strobes(site, chapters, wiring)
    progress("functional check")
    bench = Bench(site.survey)
    check_function(site, chapters, bench)
    progress("looks at the running machine")
    looks = choose_looks(bench, site.words)
    place_tickers(site, chapters, looks)
    sha = plan_sha256 or hashlib.sha256(dump_plan(plan).encode()).hexdigest()
    return Guide(
        plan.name,
        sha,
        with_likeness(tuple(chapters.sections), site.words),
        plan=plan,
        fresh=fresh,
        looks=tuple(look for one in looks for look in one.looks),
        from_to=from_to(site),
        restore=restore_sheet(site),
    )
