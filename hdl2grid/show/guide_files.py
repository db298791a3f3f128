"""The editions of a guide as files for the result folder."""

from __future__ import annotations

from hdl2grid.base.progress import Progress, silent
from hdl2grid.base.target import Target, load_target
from hdl2grid.guide.build import fresh_of, make_guide
from hdl2grid.guide.json_io import dump_guide
from hdl2grid.guide.model import Guide
from hdl2grid.plan.model import Plan
from hdl2grid.show.guide_html import guide_html
from hdl2grid.show.guide_pdf import guide_pdf
from hdl2grid.show.guide_picture import step_pictures
from hdl2grid.show.guide_text import guide_text


def guide_files(
    plan: Plan,
    target: Target | None = None,
    *,
    guide: Guide | None = None,
    progress: Progress = silent,
) -> dict[str, str | bytes]:
    """The four editions by their names: data, plain text, and the print edition as HTML and PDF.

    `target` says how wire colours look and what a pixel is like when placed (left out: as the built-in one);
    `guide` is one made before. Raises DesignFailed G001 when the plan breaks a layout rule.
    """
    target = target or load_target()
    if guide is None:
        guide = make_guide(plan, fresh=fresh_of(target), progress=progress)
    progress("editions of the guide")
    pictures = list(step_pictures(guide, target))
    return {
        "guide.json": dump_guide(guide),
        "guide.txt": guide_text(guide),
        "guide.html": guide_html(guide, target, pictures),
        "guide.pdf": guide_pdf(guide, target, pictures),
    }
