"""A plan for the terminal: two characters a tile, wires as lines, devices as letters.

A tile with wire of one colour shows a line in that colour's style; with wire of several colours their number.
With `only` one colour is drawn, so that every wire can be followed.
"""

from __future__ import annotations

from collections.abc import Mapping

from hdl2grid.base.errors import InputError, nearest
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show.parts_list import stroke_tiles

Tile = tuple[int, int]

MAX_TILES = 40_000
"""Larger plans are no use in a terminal. Guessed."""

_LINES = (
    "━┃┏┓┗┛┣┫┳┻╋╸",
    "─│┌┐└┘├┤┬┴┼╴",
    "┄┆╭╮╰╯├┤┬┴┼╴",
    "═║╔╗╚╝╠╣╦╩╬╴",
)
"""For each colour: west-east, north-south, the four bends, the four tees, all four ways, and an end."""

_ASCII = "-|++++++++++"
_WAYS = ("WE", "NS", "ES", "SW", "EN", "NW", "ENS", "NSW", "ESW", "ENW", "ENSW")
_ANSI = {"black": "1", "orange": "33", "blue": "34", "violet": "35", "red": "31", "green": "32", "turquoise": "36"}

LETTERS = {
    "gate AND": "&",
    "gate NAND": "n",
    "gate OR": "O",
    "gate NOR": "o",
    "gate XOR": "X",
    "gate XNOR": "x",
    "toggle 0": "0",
    "toggle 1": "1",
    "strobe": ">",
    "pixel lit": "#",
    "pixel dark": ".",
    "ticker": "@",
    "button": "B",
    "switch": "S",
    "delay": "D",
    "crossover": "%",
}


def plan_text(plan: Plan, *, only: str | None = None, ascii_only: bool = False, ansi: bool = False) -> str:
    """The drawing with coordinates on its left and top and a legend below; ends with a newline.

    `only` names the one colour to draw; `ascii_only` keeps to ASCII; `ansi` colours the wires with the escape
    sequences of ECMA-48. Raises InputError (W003) for a colour that the plan has not, or a plan of more than
    40,000 tiles.
    """
    if only is not None and only not in plan.colours:
        raise InputError("W003", f"the plan has no colour '{only}'", hint=nearest(only, plan.colours))
    if plan.width * plan.height > MAX_TILES:
        what = f"a plan of {plan.width} x {plan.height} tiles is too large for a terminal"
        raise InputError("W003", what, hint="Draw it as SVG.")
    wires = [stroke_tiles(s) if only in (None, c) else set() for c, s in zip(plan.colours, plan.wires, strict=True)]
    canvas = _Canvas(plan, wires, ascii_only, ansi)
    digits = len(str(plan.height - 1))
    margin = " " * (digits + 1)
    head = [margin + "".join(f"{x:<10}" for x in range(0, plan.width, 5)).rstrip()]
    rows = [f"{y:>{digits}} {canvas.row(y)}" for y in range(plan.height)]
    return "\n".join([*head, *rows, "", *_legend(plan, canvas)]) + "\n"


class _Canvas:
    """What stands on each tile, as characters."""

    def __init__(self, plan: Plan, wires: list[set[Tile]], ascii_only: bool, ansi: bool) -> None:
        self.plan, self.wires, self.ansi = plan, wires, ansi
        self.lines = [_ASCII if ascii_only else _LINES[i % len(_LINES)] for i in range(len(plan.colours))]
        self.devices: dict[Tile, Device] = {(d.x, d.y): d for d in plan.devices}

    def row(self, y: int) -> str:
        """A row of tiles, each as its character and what joins it to the next."""
        return "".join(self._tile(x, y) + self._between(x, y) for x in range(self.plan.width)).rstrip()

    def _tile(self, x: int, y: int) -> str:
        device = self.devices.get((x, y))
        if device is not None:
            return device_letter(device)
        here = [colour for colour, tiles in enumerate(self.wires) if (x, y) in tiles]
        if len(here) > 1:
            return str(len(here)) if len(here) < 10 else "*"
        return self._line(here[0], x, y) if here else " "

    def _line(self, colour: int, x: int, y: int) -> str:
        tiles = self.wires[colour]
        steps: Mapping[str, Tile] = {"E": (x + 1, y), "N": (x, y - 1), "S": (x, y + 1), "W": (x - 1, y)}
        ways = "".join(way for way, tile in steps.items() if tile in tiles)
        ways = {"EW": "WE", "W": "WE", "E": "WE", "N": "NS", "S": "NS"}.get(ways, ways)
        lines = self.lines[colour]
        return self._coloured(colour, lines[_WAYS.index(ways)] if ways else lines[11])

    def _between(self, x: int, y: int) -> str:
        joined = [c for c, tiles in enumerate(self.wires) if (x, y) in tiles and (x + 1, y) in tiles]
        if not joined:
            return " "
        return self._coloured(joined[0], self.lines[joined[0]][0]) if len(joined) == 1 else "="

    def _coloured(self, colour: int, text: str) -> str:
        code = _ANSI.get(self.plan.colours[colour]) if self.ansi else None
        return f"\x1b[{code}m{text}\x1b[0m" if code else text

    def sample(self, colour: int) -> str:
        """A piece of wire for the legend."""
        return self._coloured(colour, self.lines[colour][0] * 3)


def device_letter(device: Device) -> str:
    """The character of a device: its kind, and what it bears."""
    state = {
        "gate": device.function,
        "toggle": device.bit,
        "pixel": "lit" if device.lit else "dark",
    }.get(device.kind)
    return LETTERS[device.kind if state is None else f"{device.kind} {state}"]


def _legend(plan: Plan, canvas: _Canvas) -> list[str]:
    """The letters that occur, and the lines of the colours that are drawn."""
    used = {device_letter(device) for device in plan.devices}
    devices = [f"{letter} {word}" for word, letter in LETTERS.items() if letter in used]
    drawn = [i for i, tiles in enumerate(canvas.wires) if tiles]
    wires = [f"{canvas.sample(i)} {plan.colours[i]}" for i in drawn]
    several = ["2 3 4 wires of that many colours"] if len(drawn) > 1 else []
    names = [f"{device_letter(d)} ({d.x},{d.y}) {d.name}" for d in plan.devices if d.name and d.kind != "gate"]
    return [_listed("Devices", devices), _listed("Wires", [*wires, *several]), _listed("Sources", names)]


def _listed(head: str, parts: list[str]) -> str:
    return f"{head}: {', '.join(parts)}" if parts else f"{head}: none"
