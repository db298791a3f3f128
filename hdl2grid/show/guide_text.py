"""The plain-text edition of a guide: 80 columns, one line a stroke or device, the step numbers of every edition.

`guide/text_in.py` reads it back. Lines that begin with `    - ` are what the hands do, with `    = ` where signals
can be read, and all others are for people.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence

from hdl2grid.base.strict_json import line as json_line
from hdl2grid.guide.model import FromTo, Guide, Mistake, Restore, Section, Step
from hdl2grid.guide.sentences import Words
from hdl2grid.guide.text_in import CONTINUED, MARK
from hdl2grid.guide.text_lines import action_line, quoted
from hdl2grid.plan.model import Plan
from hdl2grid.show.guide_story import look_rows, parted, says_nothing_else, stays_as_it_is

WIDTH = 80
"""Columns of a line: the width of common terminals (common practice, no source)."""


def guide_text(guide: Guide) -> str:
    """The whole guide as text; ends with a newline. The guide must have its plan."""
    assert guide.plan is not None
    lines = [*_head(guide, guide.plan)]
    for number, section in enumerate(guide.sections, 1):
        lines += section_lines(number, section)
    lines += [*_looks(guide), *restore_lines(guide.restore), *from_to_lines(guide.from_to), *_signals(guide.plan)]
    return "\n".join(lines).rstrip() + "\n"


def _head(guide: Guide, plan: Plan) -> Iterator[str]:
    yield MARK
    yield from _kept(f"name: {json_line(plan.name)}")
    yield from _kept(f"target: {json_line(plan.target)}")
    yield from _kept(f"colours: {json_line(list(plan.colours))}")
    yield f"size: {plan.width} x {plan.height}"
    yield f"plan sha256: {guide.plan_sha256}"
    yield ""
    yield from wrapped(
        "Tick the box of each step. Lines with a dash are what the hands do; 'See' is what must then be seen; 'If' "
        "tells the likeliest mistakes, what they look like, and what to do."
    )


def section_lines(number: int, section: Section) -> Iterator[str]:
    """A section with its steps."""
    yield ""
    yield from wrapped(f"{number}. {section.title}")
    yield "-" * min(WIDTH, len(f"{number}. {section.title}"))
    yield from wrapped(section.why)
    for step in section.steps:
        yield from _step(step)


def _step(step: Step) -> Iterator[str]:
    yield ""
    yield from wrapped(f"[ ] {step.number} {step.title}", "      ")
    if step.like:
        yield from wrapped(f"    {step.like}", "    ")
    if not step.actions:
        yield from wrapped(f"    {step.text}", "    ")
    for action in step.actions:
        yield from _kept(f"    - {action_line(action)}")
    if step.keep_clear:
        tiles = Words().tiles(dict.fromkeys(k.tile for k in step.keep_clear))
        yield from wrapped(f"    Keep clear of {step.keep_clear[0].colour}: {tiles}", "      ")
    if step.expect:
        yield from wrapped(f"    See: {_seen(step)}.", "      ")
    for mistake in step.mistakes:
        yield from _mistake(mistake)


def _seen(step: Step) -> str:
    readings, changed, stays = parted(step)
    read = [f"the panel shows {text}" for text in readings]
    shown, same = Words().seen(changed), Words().seen(stays)
    if stays_as_it_is(step):
        return f"nothing changes: {same}"
    if says_nothing_else(step):
        return "; ".join([*read, shown, f"nothing else changes: {same}" if same else "nothing else changes"])
    unchanged = [f"unchanged: {same}"] if same and shown else [same] if same else []
    return "; ".join([*read, *([shown] if shown else []), *unchanged])


def _mistake(mistake: Mistake) -> Iterator[str]:
    yield from wrapped(f"    If {mistake.looks}: {mistake.what}; {mistake.cure}.", "      ")


def _looks(guide: Guide) -> Iterator[str]:
    if not guide.looks:
        return
    yield from _heading("When to look at the running machine")
    yield from wrapped(
        "Count the ticks from the ticker's start in the first state, while no other ticker runs. These looks were "
        "chosen because together they show nearly every mistake that can be seen on the panel."
    )
    for when, reading in look_rows(guide):
        yield from wrapped(f"[ ] {when}: {reading}", "      ")


def restore_lines(rows: Sequence[Restore]) -> Iterator[str]:
    """The restore sheet."""
    if not rows:
        return
    yield from _heading("Restore sheet")
    yield from wrapped(
        "After a repair every toggle and pixel must be as here before the ticker is started again; then test the nets "
        "that are named (by the steps of the from-to list)."
    )
    for row in rows:
        numbers = ", ".join(str(n) for n in row.nets)
        nets = f"; net{'s' if len(row.nets) > 1 else ''} {numbers}" if row.nets else "; no net"
        yield from wrapped(f"  {row.what}: {row.state}{nets}", "      ")


def from_to_lines(rows: Sequence[FromTo], title: str = "From-to list") -> Iterator[str]:
    """The from-to list, or a part of it."""
    if not rows:
        return
    yield from _heading(title)
    for row in rows:
        steps = f", steps {', '.join(row.steps)}" if row.steps else ""
        yield from wrapped(f"  net {row.number}, {row.name}, {row.colour}, {row.length} tiles{steps}", "      ")
        yield from wrapped(f"      from {'; '.join(row.drivers)}", "        ")
        yield from wrapped(f"      to {'; '.join(row.sinks)}", "        ")


def _signals(plan: Plan) -> Iterator[str]:
    if not plan.signals:
        return
    yield from _heading("Where signals can be read")
    yield from wrapped("Signal, wire colour, tile, and its level in the first state.")
    for tap in plan.signals:
        yield from _kept(f"    = {quoted(tap.signal)} {tap.colour} ({tap.x},{tap.y}) {tap.initial}")


def _heading(title: str) -> Iterator[str]:
    yield ""
    yield title
    yield "-" * len(title)


def wrapped(text: str, indent: str = "") -> Iterator[str]:
    """Prose in lines of at most 80 columns; tiles are never parted."""
    start = text[: len(text) - len(text.lstrip())]
    yield from textwrap.wrap(
        text.strip(), WIDTH, initial_indent=start, subsequent_indent=indent, break_on_hyphens=False
    ) or [""]


def _kept(line: str) -> Iterator[str]:
    """A line that a program reads again: parted at 80 columns without a change."""
    yield line[:WIDTH]
    room = WIDTH - len(CONTINUED)
    for start in range(WIDTH, len(line), room):
        yield CONTINUED + line[start : start + room]
