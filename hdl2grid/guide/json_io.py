"""guide.json out and in: docs/guide.schema.json says its shape; here each mistake gets its place."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from hdl2grid.base.strict_json import Reader, line, lines, parse, read_text
from hdl2grid.guide.model import Action, Expectation, Guide, Section, Step
from hdl2grid.plan.json_io import DEVICE_KEYS, MAX_SIDE
from hdl2grid.plan.json_io import read_device as read_plan_device
from hdl2grid.plan.model import Device

FORMAT = "hdl2grid guide"
VERSION = 1
"""The version of the format, written into each file; another one is refused."""

MAX_TIMES = 1_000_000
"""Most presses or ticks that one action may ask for. Guessed: a bound on files that are read."""

DOES = ("place", "remove", "backdrop", "wire", "unwire", "press", "tick")


def dump_guide(guide: Guide) -> str:
    """The text of guide.json: one action or expectation a line; ends with a newline."""
    members = [
        f'"format": {line(FORMAT)}',
        f'"version": {VERSION}',
        f'"plan": {line(guide.plan_name)}',
        f'"plan_sha256": {line(guide.plan_sha256)}',
        f'"sections": [{lines((section_text(s) for s in guide.sections), "  ")}]',
    ]
    return "{" + lines(members, "") + "}\n"


def section_text(section: Section) -> str:
    """A section as in guide.json."""
    steps = lines((_step(step) for step in section.steps), "    ")
    return f'{{"title": {line(section.title)}, "why": {line(section.why)}, "steps": [{steps}]}}'


def _step(step: Step) -> str:
    actions = lines((line(action_json(a)) for a in step.actions), "      ")
    expect = lines((line(expectation_json(e)) for e in step.expect), "      ")
    return f'{{"text": {line(step.text)}, "actions": [{actions}], "expect": [{expect}]}}'


def action_json(action: Action) -> dict[str, Any]:
    """An action with the keys of guide.json."""
    made: dict[str, Any] = {"do": action.do}
    if action.device is not None:
        made |= {"kind": action.device.kind, "x": action.device.x, "y": action.device.y}
        for key in DEVICE_KEYS[action.device.kind]:
            value = getattr(action.device, key)
            made[key] = list(value) if isinstance(value, tuple) else value
        return made
    if action.tile is not None:
        made |= {"x": action.tile[0], "y": action.tile[1]}
    if action.area is not None:
        made["area"] = list(action.area)
    if action.stroke is not None:
        made |= {"colour": action.colour, "stroke": list(action.stroke)}
    if action.do in ("press", "tick"):
        made["times"] = action.times
    return made


def expectation_json(expectation: Expectation) -> dict[str, Any]:
    """An expectation with the keys of guide.json."""
    if expectation.tile is None:
        return {"see": expectation.see, "text": expectation.text}
    x, y = expectation.tile
    value: bool | int = expectation.value if expectation.see == "toggle" else bool(expectation.value)
    return {"see": expectation.see, "x": x, "y": y, "bit" if expectation.see == "toggle" else "lit": value}


def load_guide(source: str | Path, *, where: str | None = None) -> Guide:
    """The guide in a file (a Path) or in a text (a str, called `where` in messages), steps numbered from 1.

    Raises InputError with a J-code and the key's path for anything that docs/guide.schema.json does not allow.
    """
    text = read_text(source) if isinstance(source, Path) else source
    place = where or (str(source) if isinstance(source, Path) else "guide.json")
    top = Reader(parse(text, place), place)
    top.header(FORMAT, VERSION)
    members = top.record(("format", "version", "plan", "plan_sha256", "sections"))
    sections: list[Section] = []
    for item in members["sections"].items():
        keys = item.record(("title", "why", "steps"))
        steps: list[Step] = []
        for step in keys["steps"].items():
            steps.append(_read_step(step, f"{len(sections) + 1}.{len(steps) + 1}"))
        sections.append(Section(_sentence(keys["title"]), _sentence(keys["why"]), tuple(steps)))
    return Guide(members["plan"].name(), members["plan_sha256"].name(), tuple(sections))


def _sentence(reader: Reader) -> str:
    if type(reader.value) is not str:
        reader.fail("J009", "a text is wanted here")
    return str(reader.value)


def _read_step(reader: Reader, number: str) -> Step:
    keys = reader.record(("text", "actions", "expect"))
    actions = tuple(_read_action(item) for item in keys["actions"].items())
    expect = tuple(_read_expectation(item) for item in keys["expect"].items())
    return Step(_sentence(keys["text"]), actions, expect, number)


def _tile(members: dict[str, Reader]) -> tuple[int, int]:
    return members["x"].integer(0, MAX_SIDE - 1), members["y"].integer(0, MAX_SIDE - 1)


def _read_action(reader: Reader) -> Action:
    members = reader.members()
    if "do" not in members:
        reader.fail("J008", "the key 'do' is missing")
    do = members["do"].one_of(DOES)
    if do == "place":
        return Action(do, device=_read_device(reader))
    if do == "remove":
        return Action(do, tile=_tile(reader.record(("do", "x", "y"))))
    if do == "backdrop":
        area = reader.record(("do", "area"))["area"]
        return Action(do, area=_four(area))
    if do in ("wire", "unwire"):
        members = reader.record(("do", "colour", "stroke"))
        x0, y0, x1, y1 = stroke = _four(members["stroke"])
        if x0 != x1 and y0 != y1:
            members["stroke"].fail("J014", "a stroke is horizontal or vertical")
        return Action(do, colour=members["colour"].name(), stroke=stroke)
    members = reader.record(("do", "x", "y"), ("times",))
    times = members["times"].integer(1, MAX_TIMES) if "times" in members else 1
    return Action(do, tile=_tile(members), times=times)


def _four(reader: Reader) -> tuple[int, int, int, int]:
    a, b, c, d = (item.integer(0, MAX_SIDE - 1) for item in reader.items(4))
    return a, b, c, d


def _read_device(reader: Reader) -> Device:
    keys = {key: value for key, value in reader.value.items() if key != "do"}
    return read_plan_device(Reader(keys, reader.where, reader.path), MAX_SIDE, MAX_SIDE)


def _read_expectation(reader: Reader) -> Expectation:
    members = reader.members()
    if "see" not in members:
        reader.fail("J008", "the key 'see' is missing")
    see = members["see"].one_of(("pixel", "toggle", "digits"))
    if see == "digits":
        return Expectation(see, text=_sentence(reader.record(("see", "text"))["text"]))
    key = "bit" if see == "toggle" else "lit"
    members = reader.record(("see", "x", "y", key))
    value = members[key].integer(0, 1) if see == "toggle" else int(members[key].boolean())
    return Expectation(see, _tile(members), value)
