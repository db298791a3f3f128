"""One line of text for one stroke or device, and back: the plain-text edition can be read by a program again.

    place gate NAND (12,9) "ones.carry"
    place toggle 1 (12,8)
    wire blue (12,7) to (30,7), 19 tiles
    press (4,4) 3 times
    flip (6,4)

Names stand in double quotes, written as in JSON. `action_line` and `parse_action` are each other's inverse.
"""

from __future__ import annotations

import json
import re
from typing import Any

from hdl2grid.base.errors import InputError
from hdl2grid.guide.model import Action, Tile
from hdl2grid.guide.sentences import at, length_of
from hdl2grid.plan.model import Device

HANDS = ("flip", "start", "stop")
"""What a press is called where no button stands."""

_TILE = r"\((\d+),(\d+)\)"
_TIMES = re.compile(rf"(press|flip|start|stop|tick) {_TILE}(?: (\d+) times)?$")
_REMOVE = re.compile(rf"remove {_TILE}$")
_BACKDROP = re.compile(rf"backdrop {_TILE} to {_TILE}$")
_WIRE = re.compile(rf"(wire|unwire) (.+?) {_TILE}(?: to {_TILE})?, \d+ tiles?$")
_PLACE = re.compile(rf"place (\w+)(?: ([\w.+-]+))? {_TILE}(.*)$")
_QUOTED = re.compile(r'"(?:[^"\\]|\\.)*"')
_DELAY = re.compile(rf" to {_TILE}, (\S+) s$")
_PERIOD = re.compile(r", every (\S+) s, (to be started last|stays stopped)$")


def action_line(action: Action) -> str:
    """An action as one line (without an end of line)."""
    if action.device is not None:
        return f"place {_device(action.device)}"
    if action.stroke is not None:
        x0, y0, x1, y1 = action.stroke
        end = "" if (x0, y0) == (x1, y1) else f" to {at((x1, y1))}"
        count = length_of(action.stroke)
        return f"{action.do} {action.colour} {at((x0, y0))}{end}, {count} tile{'s' if count > 1 else ''}"
    if action.area is not None:
        return f"backdrop {at(action.area[:2])} to {at(action.area[2:])}"
    times = f" {action.times} times" if action.times > 1 else ""
    hand = action.do if action.do == "remove" else action.hand or action.do
    return f"{hand} {at(action.tile or (0, 0))}{times}"


def quoted(text: str) -> str:
    """A name in double quotes."""
    return json.dumps(text, ensure_ascii=False)


def _device(device: Device) -> str:
    tile, name = at((device.x, device.y)), quoted(device.name or "")
    match device.kind:
        case "gate":
            return f"gate {device.function} {tile} {name}"
        case "toggle":
            return f"toggle {device.bit} {tile}"
        case "pixel":
            return f"pixel {tile} {quoted(device.signal or '')}, starts {'lit' if device.lit else 'dark'}"
        case "ticker":
            starts = "to be started last" if device.running else "stays stopped"
            return f"ticker {tile} {name}, every {device.period_s!r} s, {starts}"
        case "switch":
            return f"switch {'on' if device.on else 'off'} {tile} {name}"
        case "button":
            return f"button {tile} {name}"
        case "delay":
            return f"delay {tile} to {at(device.to or (0, 0))}, {device.seconds!r} s"
        case "crossover":
            return f"crossover {device.form} {tile}"
    return f"{device.kind} {tile}"


def parse_action(line: str, where: str) -> Action:
    """The action that a line tells. Raises InputError G002, with `where` as its place."""
    line = line.strip()
    if match := _TIMES.match(line):
        tile, hand = (int(match[2]), int(match[3])), match[1] if match[1] in HANDS else ""
        return Action("press" if hand else match[1], tile=tile, times=int(match[4] or 1), hand=hand)
    if match := _REMOVE.match(line):
        return Action("remove", tile=(int(match[1]), int(match[2])))
    if match := _BACKDROP.match(line):
        x0, y0, x1, y1 = (int(n) for n in match.groups())
        return Action("backdrop", area=(x0, y0, x1, y1))
    if match := _WIRE.match(line):
        x0, y0 = int(match[3]), int(match[4])
        x1, y1 = (int(match[5]), int(match[6])) if match[5] else (x0, y0)
        return Action(match[1], colour=match[2], stroke=(x0, y0, x1, y1))
    device = _parse_device(line)
    if device is None:
        raise InputError("G002", f"this line is none of a guide: {line[:60]!r}", where=where)
    return Action("place", device=device)


def _parse_device(line: str) -> Device | None:
    match = _PLACE.match(line)
    if not match:
        return None
    kind, word, tile, rest = match[1], match[2], (int(match[3]), int(match[4])), match[5]
    quote = _QUOTED.search(rest)
    name = json.loads(quote[0]) if quote else None
    tail = rest[quote.end() :] if quote else rest
    keys = _keys(kind, word, name, tail)
    return None if keys is None else Device(kind, *tile, **keys)


def _keys(kind: str, word: str | None, name: str | None, tail: str) -> dict[str, Any] | None:
    """The keys of a device beside its kind and tile; None when the line is not one of that kind."""
    if kind == "gate" and word and name is not None:
        return {"function": word, "name": name}
    if kind == "toggle" and word in ("0", "1"):
        return {"bit": int(word)}
    if kind == "strobe":
        return {}
    if kind == "pixel" and name is not None and tail in (", starts lit", ", starts dark"):
        return {"signal": name, "lit": tail.endswith("lit")}
    if kind == "ticker" and (match := _PERIOD.match(tail)) and name is not None:
        return {"name": name, "period_s": _number(match[1]), "running": match[2] != "stays stopped"}
    if kind == "switch" and word in ("on", "off") and name is not None:
        return {"name": name, "on": word == "on"}
    if kind == "button" and name is not None:
        return {"name": name}
    if kind == "delay" and (match := _DELAY.match(tail)):
        return {"to": _tile(match[1], match[2]), "seconds": _number(match[3])}
    if kind == "crossover" and word:
        return {"form": word}
    return None


def _tile(x: str, y: str) -> Tile:
    return int(x), int(y)


def _number(text: str) -> int | float:
    return int(text) if text.lstrip("-").isdigit() else float(text)
