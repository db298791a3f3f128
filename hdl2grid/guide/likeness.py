"""Steps that repeat an earlier one somewhere else: 'as step 3.2, 9 tiles right'."""

from __future__ import annotations

from dataclasses import replace

from hdl2grid.guide.model import Action, Section, Step, Tile
from hdl2grid.guide.words import Words

LEAST = 3
"""Fewer things are quicker read than compared."""

_Shape = tuple[tuple[object, ...], ...]


def with_likeness(sections: tuple[Section, ...], words: Words) -> tuple[Section, ...]:
    """The sections with `like` set on every step that lays the same shape as one before it."""
    known: dict[_Shape, tuple[Step, Tile]] = {}
    made = []
    for section in sections:
        steps = []
        for step in section.steps:
            shape, origin = _shape(step)
            if shape:
                first = known.setdefault(shape, (step, origin))
                if first[0] is not step:
                    step = replace(step, like=_words(first[0], first[1], origin, words))
            steps.append(step)
        made.append(replace(section, steps=tuple(steps)))
    return tuple(made)


def _shape(step: Step) -> tuple[_Shape, Tile]:
    """What a step lays, relative to its first tile; empty for steps that do not only lay."""
    if len(step.actions) < LEAST or any(a.do not in ("place", "wire") for a in step.actions):
        return (), (0, 0)
    x, y = _start(step.actions[0])
    return tuple(_part(action, x, y) for action in step.actions), (x, y)


def _start(action: Action) -> Tile:
    if action.device is not None:
        return action.device.x, action.device.y
    assert action.stroke is not None
    return action.stroke[0], action.stroke[1]


def _part(action: Action, x: int, y: int) -> tuple[object, ...]:
    if action.device is not None:
        d = action.device
        return d.kind, d.x - x, d.y - y, d.function, d.bit, d.to and (d.to[0] - x, d.to[1] - y), d.seconds, d.form
    assert action.stroke is not None
    a, b, c, e = action.stroke
    return action.colour, a - x, b - y, c - x, e - y


def _words(first: Step, origin: Tile, here: Tile, words: Words) -> str:
    dx, dy = here[0] - origin[0], here[1] - origin[1]
    parts = []
    if dx:
        parts.append(words.say("{n} right" if dx > 0 else "{n} left", n=_tiles(abs(dx), words)))
    if dy:
        parts.append(words.say("{n} down" if dy > 0 else "{n} up", n=_tiles(abs(dy), words)))
    return words.say("As step {number}, {where}.", number=first.number, where=words.listed(parts))


def _tiles(number: int, words: Words) -> str:
    return words.say("1 tile") if number == 1 else words.say("{number} tiles", number=number)
