"""What the print editions say at each step, the same in HTML and PDF."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.guide.model import Guide, Step
from hdl2grid.guide.words import Words


@dataclass(frozen=True)
class Told:
    """One step in words: what to do line by line, what must be seen, and the likeliest mistakes with their cures."""

    number: str
    title: str
    text: str
    lines: tuple[str, ...]
    seen: tuple[str, ...]
    mistakes: tuple[str, ...]


def told(step: Step, words: Words) -> Told:
    """A step as it is told. Its lines stand in for the sentence where there are several things to do."""
    several = len(step.actions) > 1
    return Told(
        number=step.number,
        title=step.title,
        text=step.text,
        lines=tuple(words.done(action) for action in step.actions) if several else (),
        seen=seen_words(step, words),
        mistakes=tuple(f"If {m.looks}: {m.what}; {m.cure}." for m in step.mistakes),
    )


def seen_words(step: Step, words: Words) -> tuple[str, ...]:
    """What must be seen: what the panel reads, what changes, and what stays."""
    found = [f"The panel reads {e.text}." for e in step.expect if e.tile is None]
    changed = words.seen(step.expect[: step.changes])
    same = words.seen(e for e in step.expect[step.changes :] if e.tile is not None)
    if changed:
        found.append(f"See: {changed}.")
    if same:
        found.append(f"Unchanged: {same}." if changed else f"See: {same}.")
    return tuple(found)


INTRODUCTION = (
    "Tick the box of each step when it is done and seen. Never go on from a check that does not show what it says: the "
    "lines that begin with 'If' tell the likeliest mistakes, what they look like, and the cure.",
    "A tile is written (x,y): column x, row y, both from 0. A stroke is told by its two ends. In the pictures new "
    "things are bright and older ones grey.",
)


def look_rows(guide: Guide) -> list[tuple[str, str]]:
    """The looks at the running machine: when, and what it must read."""
    return [(f"after {look.ticks:,} ticks of {guide.look_source}", look.reading) for look in guide.looks]


def restore_rows(guide: Guide) -> list[tuple[str, str, str]]:
    """The restore sheet: what, as it must be, and the numbers of its nets."""
    return [(row.what, row.state, ", ".join(str(n) for n in row.nets) or "none") for row in guide.restore]


def from_to_rows(guide: Guide) -> list[tuple[str, str, str, str, str]]:
    """The from-to list: net, colour and length, from, to, steps."""
    return [
        (
            f"{row.number} {row.name}",
            f"{row.colour}, {row.length} tiles",
            "; ".join(row.drivers),
            "; ".join(row.sinks),
            ", ".join(row.steps),
        )
        for row in guide.from_to
    ]
