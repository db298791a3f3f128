"""The print edition of a guide as HTML with print CSS: one file, no request of any kind."""

from __future__ import annotations

import re
from collections.abc import Iterable
from importlib import resources
from typing import Any

import jinja2
from markupsafe import Markup

from hdl2grid.base.target import Target
from hdl2grid.guide.model import Guide
from hdl2grid.guide.sentences import Words
from hdl2grid.show.drawing import draw_svg
from hdl2grid.show.guide_picture import TILE, Pictured, step_pictures
from hdl2grid.show.guide_story import INTRODUCTION, from_to_rows, look_rows, restore_rows, told
from hdl2grid.show.guide_svg import SharedSvg

TILE_MM = 5.0
"""Millimetres to a tile in print. Guessed."""


def guide_html(guide: Guide, target: Target, pictures: Iterable[Pictured] | None = None) -> str:
    """The whole guide, one picture a step: `pictures` where they are drawn already. The guide must have its plan."""
    assert guide.plan is not None
    svg, words = SharedSvg(), Words()
    made: list[dict[str, Any]] = []
    for step, picture in pictures or step_pictures(guide, target):
        drawn = Markup(svg.element(picture, TILE_MM / TILE)) if picture else None
        caption = picture.caption if picture else ""
        made.append({"told": told(step, words), "picture": drawn, "caption": caption, "like": step.like})
    sections = []
    for section in guide.sections:
        count = len(section.steps)
        sections.append({"title": section.title, "why": section.why, "steps": made[:count]})
        made = made[count:]
    return _template().render(
        guide=guide,
        plan=guide.plan,
        num_steps=sum(len(s.steps) for s in guide.sections),
        introduction=INTRODUCTION,
        overview=Markup(_overview(guide, target)),
        shared=Markup(svg.definitions()),
        sections=sections,
        looks=look_rows(guide),
        restore=restore_rows(guide),
        from_to=from_to_rows(guide),
    )


def _overview(guide: Guide, target: Target) -> str:
    """The drawing of the whole plan, without what only a file of its own needs."""
    assert guide.plan is not None
    text = draw_svg(guide.plan, target, 16)
    text = re.sub(r"<\?xml.*?\?>\s*|<metadata>.*?</metadata>\s*", "", text)
    return text.replace(' width="', ' data-width="', 1).replace(' height="', ' data-height="', 1)


def _template() -> jinja2.Template:
    text = (resources.files("hdl2grid.show") / "templates" / "guide.html.j2").read_text(encoding="utf-8")
    environment = jinja2.Environment(autoescape=True, undefined=jinja2.StrictUndefined, trim_blocks=True)
    return environment.from_string(text)
