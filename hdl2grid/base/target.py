"""Targets: everything numeric about the game that a machine is laid in, read from TOML.

A target file states only what differs from the built-in target `default` (`base/targets/default.toml`, which is
also the documentation of every key). All errors carry a code T... and the file's name.
"""

from __future__ import annotations

import os
import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from importlib import resources
from pathlib import Path
from typing import Any

from hdl2grid.base.colours import IEC_60757, hue_of_name
from hdl2grid.base.errors import InputError, nearest

NUM_COLOURS = 4
"""Wire colours of the grid, a rule of its model: a tile bears at most one wire of each."""
MAX_FILE_BYTES = 1_000_000
"""Of a target file, which has about a hundred lines. Guessed."""
MAX_GRID_SIDE = 10_000
"""Tiles of a side of the grid: far more than a machine has that anybody lays by hand. Guessed."""
MAX_WEIGHT = 1000
"""Of a weight, in units of one wire tile. Guessed."""
MAX_NAME_LENGTH = 40
"""Characters of a name in a target: it must fit into a legend. Guessed."""


@dataclass(frozen=True)
class Colour:
    """A wire colour: its name in the game, its IEC 60757 code (None: it has none), and how drawings show it.

    `hue` is "#RRGGBB"; `dash` the lengths of lines and gaps in tenths of a tile, empty for an unbroken line.
    """

    name: str
    code: str | None
    hue: str
    dash: tuple[float, ...]


@dataclass(frozen=True)
class Laying:
    """What a device is like when it has just been placed."""

    fresh_pixel_lit: bool
    fresh_ticker_running: bool
    fresh_gate_output: int


@dataclass(frozen=True)
class Weights:
    """What a layout of one style costs: the price of a stroke, a bend, a tile of wire, a crossover, a tile of the
    grid, and of a stroke of a repeated block that is not laid as in the block's first copy."""

    stroke: float
    bend: float
    wire: float
    crossover: float
    area: float
    repeat: float


STYLES = ("tidy", "compact")
"""The styles of a layout, each with weights of its own; the first is the default."""


@dataclass(frozen=True)
class Target:
    """One game. `ticker_periods` in seconds, None: any; `max_width` and `max_height` in tiles; `tidy` and `compact`
    are the weights of the two styles."""

    name: str
    colours: tuple[Colour, Colour, Colour, Colour]
    ticker_periods: tuple[float, ...] | None
    max_width: int
    max_height: int
    laying: Laying
    tidy: Weights
    compact: Weights

    def weights(self, style: str) -> Weights:
        """Those of a style of STYLES."""
        return self.tidy if style == "tidy" else self.compact

    @property
    def colour_names(self) -> tuple[str, ...]:
        """The four names, in order."""
        return tuple(colour.name for colour in self.colours)


def target_names() -> tuple[str, ...]:
    """The names of the built-in targets, ascending."""
    folder = resources.files("hdl2grid.base") / "targets"
    return tuple(sorted(entry.name[:-5] for entry in folder.iterdir() if entry.name.endswith(".toml")))


def builtin_text(name: str = "default") -> str:
    """The TOML text of a built-in target; it can be edited and used as a target file of one's own."""
    return (resources.files("hdl2grid.base") / "targets" / f"{name}.toml").read_text(encoding="utf-8")


def load_target(name_or_path: str | Path = "default") -> Target:
    """The built-in target of that name, or the one in the file at that path.

    Raises InputError (T001 to T012).
    """
    text = str(name_or_path)
    if text in target_names():
        return parse_target(builtin_text(text), where=f"built-in target {text}")
    path = Path(text)
    if path.suffix != ".toml" and not os.path.exists(path):
        hint = nearest(text, target_names()) or "Give a built-in target's name or a .toml file."
        raise InputError("T001", f"there is no target '{text}'", hint=hint)
    return parse_target(_read_text(path), where=str(path))


def _read_text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(MAX_FILE_BYTES + 1)
    except OSError as error:
        raise InputError("T002", f"cannot read the target file: {error.strerror}", where=path) from error
    if len(data) > MAX_FILE_BYTES:
        raise InputError("T002", f"the target file is larger than {MAX_FILE_BYTES} bytes", where=path)
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise InputError("T002", f"the target file is not UTF-8 (byte {error.start})", where=path) from error


def parse_target(text: str, where: str) -> Target:
    """A target from its TOML `text`; `where` names the file in messages. Raises InputError (T003 to T010)."""
    try:
        data = tomllib.loads(text)
    except (tomllib.TOMLDecodeError, RecursionError, ValueError) as error:
        raise InputError("T003", f"this is not TOML: {error}", where=where) from error
    base = tomllib.loads(builtin_text())
    top = _Table(data, base, "", where)
    if "name" not in data:
        raise InputError("T005", "the target has no `name`", where=where, hint='Add a line: name = "mygame"')
    ticker, grid = top.table("ticker"), top.table("grid")
    laying, layout = top.table("laying"), top.table("layout")
    return Target(
        name=_checked_name(top.get("name"), "name", where),
        colours=_colours(top.get("colours"), where),
        ticker_periods=_periods(ticker.get("periods"), where),
        max_width=grid.integer("max_width", 1, MAX_GRID_SIDE),
        max_height=grid.integer("max_height", 1, MAX_GRID_SIDE),
        laying=Laying(
            fresh_pixel_lit=laying.choice("fresh_pixel", ("lit", "dark")) == "lit",
            fresh_ticker_running=laying.choice("fresh_ticker", ("stopped", "running")) == "running",
            fresh_gate_output=laying.integer("fresh_gate", 0, 1),
        ),
        tidy=_weights(layout.table("tidy")),
        compact=_weights(layout.table("compact")),
    )


def _weights(table: _Table) -> Weights:
    return Weights(*(table.number(field.name, 0, MAX_WEIGHT) for field in fields(Weights)))


class _Table:
    """One table of a target file, over the same table of the built-in target: what is left out is taken
    from there. `name` is the table's, for messages."""

    def __init__(self, data: object, base: dict[str, Any], name: str, where: str) -> None:
        self.name, self.where, self.base = name, where, base
        if not isinstance(data, dict):
            raise InputError("T006", f"`{name}` must be a table, as in [{name}]", where=where)
        self.data: dict[str, Any] = data
        for key in data:
            if key not in base:
                raise InputError("T004", f"unknown key `{self.path(key)}`", where=where, hint=nearest(key, base))

    def path(self, key: str) -> str:
        return f"{self.name}.{key}" if self.name else key

    def get(self, key: str) -> Any:
        return self.data.get(key, self.base[key])

    def table(self, key: str) -> _Table:
        return _Table(self.data.get(key, {}), self.base[key], self.path(key), self.where)

    def integer(self, key: str, low: int, high: int) -> int:
        value = self.get(key)
        if type(value) is not int:
            raise _wrong_type(self.path(key), f"a whole number from {low} to {high}", value, self.where)
        if not low <= value <= high:
            what = f"`{self.path(key)}` is {value}; it must be from {low} to {high}"
            raise InputError("T007", what, where=self.where)
        return value

    def number(self, key: str, low: float, high: float) -> float:
        value = self.get(key)
        if type(value) not in (int, float):
            raise _wrong_type(self.path(key), f"a number from {low} to {high}", value, self.where)
        if not low <= value <= high:
            what = f"`{self.path(key)}` is {value}; it must be from {low} to {high}"
            raise InputError("T007", what, where=self.where)
        return float(value)

    def choice(self, key: str, choices: tuple[str, ...]) -> str:
        value = self.get(key)
        if value not in choices:
            allowed = " or ".join(f'"{choice}"' for choice in choices)
            raise _wrong_type(self.path(key), allowed, value, self.where)
        return str(value)


def _wrong_type(path: str, wanted: str, value: object, where: str) -> InputError:
    return InputError("T006", f"`{path}` must be {wanted}, and is {_shown(value)}", where=where)


def _shown(value: object) -> str:
    text = repr(value)
    return text if len(text) <= 60 else text[:57] + "..."


def _checked_name(value: object, path: str, where: str) -> str:
    if not isinstance(value, str):
        raise _wrong_type(path, "a text", value, where)
    if not value.strip() or value != value.strip() or "," in value or not value.isprintable():
        what = f"`{path}` is {_shown(value)}: a name is printable, without commas or spaces at its ends"
        raise InputError("T009", what, where=where)
    if len(value) > MAX_NAME_LENGTH:
        raise InputError("T009", f"`{path}` is longer than {MAX_NAME_LENGTH} characters", where=where)
    return value


def _colours(value: object, where: str) -> tuple[Colour, Colour, Colour, Colour]:
    if not isinstance(value, list) or not all(isinstance(item, dict) for item in value):
        raise _wrong_type("colours", "four tables, each as in [[colours]]", value, where)
    found = [_colour(item, f"colours[{i}]", where) for i, item in enumerate(value)]
    _check_four(found, where)
    for what, values in (("code", [c.code for c in found]), ("hue", [c.hue for c in found])):
        known = [v for v in values if v is not None]
        if len(set(known)) != len(known):
            raise InputError("T008", f"two wire colours have the same {what}", where=where)
    return found[0], found[1], found[2], found[3]


def _check_four(colours: Sequence[Colour], where: str) -> None:
    if len(colours) != NUM_COLOURS:
        what = f"there are {len(colours)} wire colours; the grid has exactly {NUM_COLOURS}"
        raise InputError("T008", what, where=where)
    names = [colour.name for colour in colours]
    for name in names:
        if names.count(name) > 1:
            raise InputError("T008", f"two wire colours are called '{name}'", where=where)


def _colour(item: dict[str, Any], path: str, where: str) -> Colour:
    allowed = ("name", "code", "hue", "dash")
    for key in item:
        if key not in allowed:
            raise InputError("T004", f"unknown key `{path}.{key}`", where=where, hint=nearest(key, allowed))
    for key in ("name", "hue"):
        if key not in item:
            raise InputError("T005", f"`{path}` has no `{key}`", where=where)
    code, hue = item.get("code"), item["hue"]
    if code is not None and not (isinstance(code, str) and re.fullmatch("[A-Z]{2,4}", code)):
        raise _wrong_type(f"{path}.code", 'two to four capital letters, as in "BK"', code, where)
    if not (isinstance(hue, str) and re.fullmatch("#[0-9A-Fa-f]{6}", hue)):
        raise InputError("T010", f'`{path}.hue` must be as in "#0072B2", and is {_shown(hue)}', where=where)
    return Colour(
        name=_checked_name(item["name"], f"{path}.name", where),
        code=code,
        hue=hue.upper(),
        dash=_dash(item.get("dash", []), f"{path}.dash", where),
    )


def _dash(value: object, path: str, where: str) -> tuple[float, ...]:
    good = (
        isinstance(value, list)
        and len(value) % 2 == 0
        and len(value) <= 12
        and all(type(length) in (int, float) and 0.5 <= length <= 100 for length in value)
    )
    if not good:
        wanted = "a list of an even number of lengths from 0.5 to 100 (line, gap, ...)"
        raise _wrong_type(path, wanted, value, where)
    assert isinstance(value, list)
    return tuple(float(length) for length in value)


def _periods(value: object, where: str) -> tuple[float, ...] | None:
    if value == "any":
        return None
    good = isinstance(value, list) and 0 < len(value) <= 1000
    if not good or not all(type(p) in (int, float) and 0 < p <= 1e9 for p in _items(value)):
        wanted = '"any" or a list of periods in seconds, greater than 0'
        raise _wrong_type("ticker.periods", wanted, value, where)
    return tuple(sorted({float(period) for period in _items(value)}))


def _items(value: object) -> list[Any]:
    return value if isinstance(value, list) else []


def rename_colours(target: Target, names: Sequence[str]) -> Target:
    """`target` with its four colours called `names`.

    A name of IEC 60757 brings its code and a hue of its own; any other name takes the first hue that is still
    free and has no code. Dashes stay with their places. Raises InputError (T008, T009).
    """
    where = "--colours"
    cleaned = [_checked_name(name.strip(), "colour", where) for name in names]
    known = {hue_of_name(name) for name in cleaned} - {None}
    spare = [colour.hue for colour in target.colours if colour.hue not in known]
    renamed = []
    for index, name in enumerate(cleaned):
        old = target.colours[index % NUM_COLOURS]
        hue = hue_of_name(name) or (spare.pop(0) if spare else old.hue)
        renamed.append(replace(old, name=name, code=IEC_60757.get(name), hue=hue))
    _check_four(renamed, where)
    return replace(target, colours=(renamed[0], renamed[1], renamed[2], renamed[3]))


def check_period(target: Target, name: str, seconds: float) -> None:
    """Raises InputError (T011) when the ticker `name` may not have a period of `seconds` in `target`."""
    periods = target.ticker_periods
    if periods is None or any(abs(seconds - period) <= 1e-9 * period for period in periods):
        return
    closest = min(periods, key=lambda period: (abs(period - seconds), period))
    raise InputError(
        "T011",
        f"ticker '{name}' has a period of {seconds:g} s, which target '{target.name}' does not offer",
        hint=f"The nearest that it has is {closest:g} s.",
    )


def grid_limits(target: Target, width: int | None, height: int | None) -> tuple[int, int]:
    """The largest grid in tiles: what the user asks for, or else the target's own limit.

    Raises InputError (T012) when the target has no grid that large.
    """
    for side, asked, limit in (("width", width, target.max_width), ("height", height, target.max_height)):
        if asked is not None and not 1 <= asked <= limit:
            what = f"--{side} {asked} is not from 1 to {limit}, the limit of target '{target.name}'"
            raise InputError("T012", what)
    return width or target.max_width, height or target.max_height
