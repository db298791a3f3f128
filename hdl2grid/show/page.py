"""The page: one self-contained index.html that shows a machine, plays it, and leads through its guide.

Everything is in the one file, and its content security policy forbids any other. The sources of what runs in it
are the JavaScript modules under `page/`.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from hdl2grid.base.colours import contrast
from hdl2grid.base.target import Colour, Target, load_target
from hdl2grid.circuit.model import Circuit
from hdl2grid.guide.json_io import dump_guide
from hdl2grid.guide.model import Guide
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Plan
from hdl2grid.show.locale.catalogues import (
    OWN_NAMES,
    check_language,
    languages,
    page_catalogue,
    translator,
)
from hdl2grid.show.look import colours_of
from hdl2grid.show.page_script import page_file, page_script
from hdl2grid.show.page_symbols import page_symbols

_PAPERS = {"light": "#FFFFFF", "dark": "#171B1F"}
"""The ground of the drawing in each theme, as page.css has it."""

_LEAST_CONTRAST = 3.0
"""WCAG 2.2, success criterion 1.4.11: wire with less than this against its ground gets an edge."""


def page_html(
    plan: Plan,
    circuit: Circuit | None = None,
    guide: Guide | None = None,
    language: str = "en",
    *,
    target: Target | None = None,
    guide_language: str = "en",
) -> str:
    """The page of a plan, as the text of index.html.

    `circuit` brings the HDL signals and source lines of stacks, `guide` the steps, which are written in
    `guide_language`. `language` is the one that the page opens in; its reader can choose another. `target` says
    how wires look and what fresh devices are like (None: the built-in one).
    Raises InputError (W001) for a language that there are no texts in.
    """
    check_language(language)
    translate = translator(language)
    target = target or load_target()
    colours = colours_of(plan.colours, target)
    style = page_file("page.css") + _wire_rules(colours)
    script = page_script()
    environment = Environment(autoescape=True, undefined=StrictUndefined)
    template = environment.from_string(page_file("template.html.j2"))
    return template.render(
        language=language,
        name=plan.name,
        no_script=translate("This page needs JavaScript, which runs on this machine only. See plan.svg too."),
        style=Markup(style),
        style_hash=Markup(_csp_hash(style)),
        script=Markup(script),
        script_hash=Markup(_csp_hash(script)),
        symbols=Markup(page_symbols()),
        data=Markup(_inline_json(_data(plan, circuit, guide, language, guide_language, target, colours))),
    )


def _data(
    plan: Plan,
    circuit: Circuit | None,
    guide: Guide | None,
    language: str,
    guide_language: str,
    target: Target,
    colours: Sequence[Colour],
) -> dict[str, Any]:
    text = dump_plan(plan)
    tags = list(dict.fromkeys((*languages(), language)))
    return {
        "plan": json.loads(text),
        "hash": guide.plan_sha256 if guide else hashlib.sha256(text.encode("utf-8")).hexdigest(),
        "origin": _origins(circuit) if circuit else {},
        "guide": _guide(guide) if guide else None,
        "guideLanguage": guide_language,
        "laying": {
            "pixelLit": target.laying.fresh_pixel_lit,
            "tickerRunning": target.laying.fresh_ticker_running,
            "gateOutput": target.laying.fresh_gate_output,
        },
        "colours": [{"name": colour.name, "code": colour.code} for colour in colours],
        "ownLanguage": language,
        "languages": [[tag, OWN_NAMES.get(tag, tag)] for tag in tags],
        "catalogues": {tag: page_catalogue(tag) for tag in tags},
    }


def _origins(circuit: Circuit) -> dict[str, dict[str, str | None]]:
    """For each stack's name the block, HDL signal and source line that it stands for."""
    return {
        stack.name: {
            "block": origin.block,
            "signal": origin.signal,
            "source": str(origin.source) if origin.source else None,
        }
        for stack, origin in zip(circuit.stacks, circuit.origin, strict=True)
    }


def _guide(guide: Guide) -> dict[str, Any]:
    """guide.json, and what only editions for people have: each step's title, what it repeats, its likeliest mistakes,
    and the word for a press of something that is no button."""
    data: dict[str, Any] = json.loads(dump_guide(guide))
    for section, written in zip(guide.sections, data["sections"], strict=True):
        for step, step_written in zip(section.steps, written["steps"], strict=True):
            step_written |= {key: text for key, text in (("title", step.title), ("like", step.like)) if text}
            for action, action_written in zip(step.actions, step_written["actions"], strict=True):
                if action.hand:
                    action_written["hand"] = action.hand
            if step.mistakes:
                step_written["mistakes"] = [asdict(mistake) for mistake in step.mistakes]
    return data


def _wire_rules(colours: Sequence[Colour]) -> str:
    """CSS that gives each wire colour its hue, its dash in units of the drawing, and an edge where it needs one.

    In the dark theme hues that stand off the ground are lightened a little, and the others get a light edge.
    """
    rules = []
    for index, colour in enumerate(colours):
        dash = " ".join(f"{length * 2.4:g}" for length in colour.dash) or "none"
        edge = {theme: "var(--casing)" if _is_faint(colour, theme) else "transparent" for theme in _PAPERS}
        rules.append(f".w{index} {{ --wire: {colour.hue}; --dash: {dash}; --wire-casing: {edge['light']}; }}")
        dark = colour.hue if _is_faint(colour, "dark") else f"color-mix(in srgb, {colour.hue} 80%, white)"
        rules.append(
            f'@media screen {{ [data-theme="dark"] .w{index} {{ --wire: {dark}; --wire-casing: {edge["dark"]}; }} }}'
        )
    return "\n".join(rules) + "\n"


def _is_faint(colour: Colour, theme: str) -> bool:
    return contrast(colour.hue, _PAPERS[theme]) < _LEAST_CONTRAST


def _csp_hash(text: str) -> str:
    """A hash source of Content Security Policy Level 3."""
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return f"sha256-{base64.b64encode(digest).decode('ascii')}"


def _inline_json(data: dict[str, Any]) -> str:
    """JSON that can stand in a script element: no `<`, so that nothing in it ends the element."""
    text = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace("\u2028", "\\u2028").replace("\u2029", "\\u2029")
