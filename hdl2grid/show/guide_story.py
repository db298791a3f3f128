"""What the print editions say at each step, the same in HTML and PDF."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.guide.model import Expectation, Guide, Step
from hdl2grid.guide.sentences import Words


@dataclass(frozen=True)
class Told:
    """One step in words: what to do line by line, what must be seen, what must stay as it
    was, and the likeliest mistakes with their cures."""

    number: str
    title: str
    text: str
    lines: tuple[str, ...]
    seen: tuple[str, ...]
    same: str
    mistakes: tuple[str, ...]


def told(step: Step, words: Words) -> Told:
    """A step as it is told. Its lines stand in for the sentence where there are several things to do, or one press of
    which the sentence says only what must be seen as well."""
    first = step.actions[0] if step.actions else None
    is_press = first is not None and first.do == "press" and first.hand in ("", "flip")
    has_lines = len(step.actions) > 1 or (is_press and bool(step.expect))
    return Told(
        number=step.number,
        title=step.title,
        text=step.text,
        lines=tuple(words.done(action) for action in step.actions) if has_lines else (),
        seen=_seen(step, words),
        same=_same(step, words),
        mistakes=tuple(f"If {m.looks}: {m.what}; {m.cure}." for m in step.mistakes),
    )


def parted(step: Step) -> tuple[list[str], list[Expectation], list[Expectation]]:
    """What a step must show, for people: what the panel reads, what changes, and what stays. Where the panel can be
    read, its single pixels are left to the picture."""
    readings = [e.text for e in step.expect if e.tile is None]
    is_read = bool(readings) and not any("?" in text for text in readings)
    told = [e.tile is not None and not (is_read and e.see == "pixel") for e in step.expect]
    pairs = list(zip(step.expect, told, strict=True))
    changed = [e for e, is_told in pairs[: step.changes] if is_told]
    return readings, changed, [e for e, is_told in pairs[step.changes :] if is_told]


def _seen(step: Step, words: Words) -> tuple[str, ...]:
    """What the panel reads, and what changes."""
    readings, changed, _ = parted(step)
    found = [f"The panel shows {text}." for text in readings]
    if stays_as_it_is(step):
        return ("See: nothing changes.",)
    return (*found, f"See: {words.seen(changed)}.") if changed else tuple(found)


def _same(step: Step, words: Words) -> str:
    """What must stay as it was, also what a slip of the hand would change."""
    same = parted(step)[2]
    if says_nothing_else(step):
        return f"Nothing else changes: {words.seen(same)}." if same else "Nothing else changes."
    return f"Unchanged: {words.seen(same)}." if same else ""


def stays_as_it_is(step: Step) -> bool:
    """Whether something is pressed, and nothing may change."""
    readings, _, same = parted(step)
    is_pressed = any(a.do in ("press", "tick") for a in step.actions)
    return is_pressed and bool(same) and step.changes == 0 and not readings


def says_nothing_else(step: Step) -> bool:
    """Whether all that is not listed must stay as it is."""
    return step.changes > 0 and step.text.endswith("Nothing else may change.")


INTRODUCTION = (
    "Tick the box of each step when it is done and seen. Never go on from a check that does not show what it says: the "
    "lines that begin with 'If' tell the likeliest mistakes, what they look like, and the cure.",
    "A tile is written (x,y): column x, row y, both from 0. A stroke is told by its two ends. In the pictures new "
    "things are bright and older ones grey.",
)


def counted(ticks: int) -> str:
    """ "1 tick", "12 ticks"."""
    return f"{ticks:,} tick{'s' if ticks != 1 else ''}"


def look_rows(guide: Guide) -> list[tuple[str, str]]:
    """The looks at the running machine: when, and what it must read."""
    alone = " alone" if len({look.source for look in guide.looks}) > 1 else ""
    return [(f"after {counted(look.ticks)} of {look.source}{alone}", look.reading) for look in guide.looks]


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
