"""Steps that repeat an earlier one somewhere else: 'as step 3.2, 9 tiles right'."""

from __future__ import annotations

from dataclasses import replace

from hdl2grid.guide.model import Action, Section, Step, Tile
from hdl2grid.guide.sentences import Words

LEAST = 3
"""Fewest things in a step that refers to an earlier one: fewer are read more quickly than compared. Guessed."""

_Shape = tuple[tuple[object, ...], ...]


def with_likeness(sections: tuple[Section, ...], words: Words) -> tuple[Section, ...]:
    """The sections with `like` set on every step that lays the same shape as one before it, and a word on it where
    all steps of a section repeat those of an earlier one."""
    known: dict[_Shape, tuple[Step, Tile]] = {}
    made = []
    for section in sections:
        steps = []
        shifts: list[tuple[str, str, Tile] | None] = []
        for step in section.steps:
            shape, origin = _shape(step)
            shift = None
            if shape:
                first = known.setdefault(shape, (step, origin))
                if first[0] is not step:
                    away = origin[0] - first[1][0], origin[1] - first[1][1]
                    shift = (*_parts(first[0].number), away)
                    if len(step.actions) >= LEAST and away != (0, 0):
                        told = words.say(
                            "As step {number}, {where}.", number=first[0].number, where=_where(away, words)
                        )
                        step = replace(step, like=told)
            shifts.append(shift)
            steps.append(step)
        made.append(replace(section, steps=tuple(steps), why=_why(section, shifts, words)))
    return tuple(made)


def _parts(number: str) -> tuple[str, str]:
    section, _, step = number.partition(".")
    return section, step


def _why(section: Section, shifts: list[tuple[str, str, Tile] | None], words: Words) -> str:
    """The section's opening words, with the chapter that it repeats step by step, if it does."""
    first = shifts[0] if shifts else None
    alike = first is not None and all(
        s is not None and (s[0], s[2]) == (first[0], first[2]) and s[1] == str(place)
        for place, s in enumerate(shifts, 1)
    )
    if first is None or not alike or first[2] == (0, 0):
        return section.why
    told = words.say(
        "Step by step this is chapter {number} once more, {where}.", number=first[0], where=_where(first[2], words)
    )
    return f"{section.why} {told}"


def _shape(step: Step) -> tuple[_Shape, Tile]:
    """What a step does, relative to its first tile; empty where it lets a ticker tick, or has no place."""
    if not step.actions or any(a.do in ("tick", "backdrop") for a in step.actions):
        return (), (0, 0)
    x, y = _start(step.actions[0])
    return tuple(_part(action, x, y) for action in step.actions), (x, y)


def _start(action: Action) -> Tile:
    if action.device is not None:
        return action.device.x, action.device.y
    if action.stroke is not None:
        return action.stroke[0], action.stroke[1]
    return action.tile or (0, 0)


def _part(action: Action, x: int, y: int) -> tuple[object, ...]:
    if action.device is not None:
        d = action.device
        return d.kind, d.x - x, d.y - y, d.function, d.bit, d.to and (d.to[0] - x, d.to[1] - y), d.seconds, d.form
    if action.stroke is not None:
        a, b, c, e = action.stroke
        return action.do, action.colour, a - x, b - y, c - x, e - y
    tile = action.tile or (0, 0)
    return action.do, tile[0] - x, tile[1] - y, action.times, action.hand


def _where(away: Tile, words: Words) -> str:
    dx, dy = away
    parts = []
    if dx:
        parts.append(words.say("{n} right" if dx > 0 else "{n} left", n=_tiles(abs(dx), words)))
    if dy:
        parts.append(words.say("{n} down" if dy > 0 else "{n} up", n=_tiles(abs(dy), words)))
    return words.listed(parts)


def _tiles(number: int, words: Words) -> str:
    return words.say("1 tile") if number == 1 else words.say("{number} tiles", number=number)
