"""guide.txt read back: what its lines lay is the plan again, tile for tile."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass

from hdl2grid.base.errors import InputError
from hdl2grid.base.strict_json import line as json_line
from hdl2grid.guide.model import Action, Tile
from hdl2grid.guide.text_lines import parse_action
from hdl2grid.guide.world import tiles_of
from hdl2grid.plan.cover import fewest_strokes
from hdl2grid.plan.model import Device, Plan, Rect, SignalTap

MARK = "hdl2grid guide, text edition 1"
CONTINUED = "      ~ "
"""Begins the rest of a line that was too long."""

_STEP = re.compile(r"\[ \] (\d+\.\d+) ")
_SIGNAL = re.compile(r'("(?:[^"\\]|\\.)*") (.+) \((\d+),(\d+)\) ([01])$')


@dataclass(frozen=True)
class TextGuide:
    """A guide as its text edition tells it: the head, and each step's number with its actions."""

    name: str
    target: str
    colours: tuple[str, ...]
    width: int
    height: int
    plan_sha256: str
    steps: tuple[tuple[str, tuple[Action, ...]], ...]
    signals: tuple[SignalTap, ...]


def parse_text(text: str, where: str = "guide.txt") -> TextGuide:
    """The guide in the text edition. Raises InputError G002 (a line that is none of a guide), G003 (no guide)."""
    lines = list(_joined(text))
    if not lines or lines[0] != MARK:
        raise InputError("G003", "this is no text edition of a guide", where=where)
    head: dict[str, str] = {}
    steps: list[tuple[str, tuple[Action, ...]]] = []
    signals: list[SignalTap] = []
    for number, line in enumerate(lines, 1):
        place = f"{where}, line {number}"
        if match := re.match(r"(name|target|colours|size|plan sha256): (.*)$", line):
            head.setdefault(match[1], match[2])
        elif match := _STEP.match(line):
            steps.append((match[1], ()))
        elif line.startswith("    - ") and steps:
            action = parse_action(line[6:], place)
            if action.colour is not None and json_line(action.colour) not in head.get("colours", ""):
                raise InputError("G002", f"'{action.colour}' is no colour of this guide", where=place)
            steps[-1] = (steps[-1][0], (*steps[-1][1], action))
        elif line.startswith("    = "):
            signals.append(_signal(line[6:], place))
    try:
        width, height = (int(side) for side in head["size"].split(" x "))
        name, target, colours = (json.loads(head[key]) for key in ("name", "target", "colours"))
        sha = head["plan sha256"]
    except (KeyError, ValueError):
        raise InputError("G003", "the head of the guide is not whole", where=where) from None
    return TextGuide(
        name=name,
        target=target,
        colours=tuple(colours),
        width=width,
        height=height,
        plan_sha256=sha,
        steps=tuple(steps),
        signals=tuple(signals),
    )


def _joined(text: str) -> Iterator[str]:
    """The lines, with those that were too long made whole again."""
    pending: str | None = None
    for line in text.splitlines():
        if line.startswith(CONTINUED) and pending is not None:
            pending += line[len(CONTINUED) :]
            continue
        if pending is not None:
            yield pending
        pending = line
    if pending is not None:
        yield pending


def _signal(line: str, where: str) -> SignalTap:
    match = _SIGNAL.match(line)
    if not match:
        raise InputError("G002", f"this line is none of a guide: {line[:60]!r}", where=where)
    return SignalTap(json.loads(match[1]), match[2], int(match[3]), int(match[4]), int(match[5]))


def plan_of_text(guide: TextGuide) -> Plan:
    """The plan that the lines of a guide lay: devices in reading order, each colour in as few strokes as cover it."""
    devices: dict[Tile, Device] = {}
    wires: dict[str, set[Tile]] = {colour: set() for colour in guide.colours}
    backdrop: list[Rect] = []
    for _, actions in guide.steps:
        for action in actions:
            if action.device is not None:
                devices[action.device.x, action.device.y] = action.device
            elif action.do == "remove" and action.tile is not None:
                devices.pop(action.tile, None)
            elif action.stroke is not None:
                tiles = wires.setdefault(action.colour or "", set())
                covered = tiles_of(action.stroke)
                tiles.update(covered) if action.do == "wire" else tiles.difference_update(covered)
            elif action.area is not None:
                backdrop.append(action.area)
    return Plan(
        name=guide.name,
        target=guide.target,
        colours=guide.colours,
        width=guide.width,
        height=guide.height,
        devices=tuple(devices[tile] for tile in sorted(devices, key=lambda t: (t[1], t[0]))),
        wires=tuple(fewest_strokes(dict.fromkeys(sorted(wires[colour]))) for colour in guide.colours),
        backdrop=tuple(backdrop),
        signals=guide.signals,
    )
