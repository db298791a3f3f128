"""The picture of a step: a cut-out of the machine as it then is, new things bright, older ones grey.

new wire and devices      in their colours, devices black on white
older ones                grey; the lanes still tell the wire colours apart
keep clear                older wire of the step's colour, hatched
pressed                   a ring;  taken away: a cross;  changed: a frame
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import cache

from hdl2grid.base.target import Target
from hdl2grid.guide.model import Guide, Step, Tile
from hdl2grid.guide.world import World, tiles_of
from hdl2grid.plan.model import Device, Plan, Rect
from hdl2grid.show import look as hues
from hdl2grid.show.clip import clipped
from hdl2grid.show.devices import device_shape
from hdl2grid.show.look import Look, colours_of
from hdl2grid.show.scene import Box, Disc, Group, Line, Polyline, Shape, Text
from hdl2grid.show.transform import shifted
from hdl2grid.show.wires import wire_shapes

TILE = 20.0
"""Pixels to a tile. In print a tile is 5 mm. Guessed."""

RULER = 16.0
"""Pixels for the coordinates on the left and above. Guessed."""

OLD_WIRE = "#B4B4B4"
_FADE = 0.62
"""Share of white in the hues of older things. Guessed."""


@dataclass(frozen=True)
class Picture:
    """A picture of `width` x `height` pixels; `words` say what it shows, and `caption` what its marks mean."""

    width: float
    height: float
    words: str
    caption: str
    shapes: tuple[Shape, ...]


Pictured = tuple[Step, Picture | None]
"""A step and its picture; None where nothing is laid, pressed or seen."""


def step_pictures(guide: Guide, target: Target) -> Iterator[Pictured]:
    """Each step with its picture. The guide must have its plan."""
    assert guide.plan is not None
    plan = guide.plan
    look = Look(TILE, colours_of(plan.colours, target))
    world = World(guide.fresh)
    for step in guide.steps():
        before = {colour: set(tiles) for colour, tiles in world.wires.items()}
        for action in step.actions:
            world.do(action)
        yield step, _picture(plan, step, world, before, look) if step.area else None


def _picture(plan: Plan, step: Step, world: World, before: dict[str, set[Tile]], look: Look) -> Picture:
    assert step.area is not None
    area = step.area
    near = _grown(area)
    devices = [_as_it_is(world, tile) for tile in sorted(world.things) if _inside(tile, near)]
    new_devices = {(a.device.x, a.device.y) for a in step.actions if a.device}
    old = [{t for t in world.wires.get(c, ()) if _inside(t, near)} for c in plan.colours]
    new = [_new_tiles(step, colour, near) & old[i] - before.get(colour, set()) for i, colour in enumerate(plan.colours)]
    grey = Look(look.tile, tuple(replace(colour, hue=OLD_WIRE) for colour in look.colours))
    shapes = _ground(area, world.backdrop, look)
    shapes += _wires(plan, devices, old, grey)
    shapes += _hatches(step, area, look)
    shapes += [faded(device_shape(d, look)) for d in devices if (d.x, d.y) not in new_devices]
    shapes += _wires(plan, devices, new, look)
    shapes += [device_shape(d, look) for d in devices if (d.x, d.y) in new_devices]
    shapes += _marks(step, look)
    x0, y0, x1, y1 = area
    window = (x0 * look.tile, y0 * look.tile, (x1 + 1) * look.tile, (y1 + 1) * look.tile)
    cut = shifted(clipped(shapes, window), RULER - window[0], RULER - window[1])
    return Picture(
        width=RULER + window[2] - window[0] + 2,
        height=RULER + window[3] - window[1] + 2,
        words=f"{step.title}, tiles ({x0},{y0}) to ({x1},{y1})",
        caption=_caption(step, area),
        shapes=(*cut, *_rulers(area, look)),
    )


def _as_it_is(world: World, tile: Tile) -> Device:
    thing = world.things[tile]
    match thing.kind:
        case "toggle":
            return replace(thing.device, bit=thing.value)
        case "pixel":
            return replace(thing.device, lit=bool(thing.value))
        case "switch":
            return replace(thing.device, on=bool(thing.value))
        case "ticker":
            return replace(thing.device, running=bool(thing.value))
    return thing.device


def _grown(area: Rect) -> Rect:
    return area[0] - 1, area[1] - 1, area[2] + 1, area[3] + 1


def _inside(tile: Tile, area: Rect) -> bool:
    return area[0] <= tile[0] <= area[2] and area[1] <= tile[1] <= area[3]


def _new_tiles(step: Step, colour: str, area: Rect) -> set[Tile]:
    strokes = [a.stroke for a in step.actions if a.do == "wire" and a.colour == colour and a.stroke]
    return {tile for stroke in strokes for tile in tiles_of(stroke) if _inside(tile, area)}


def _wires(plan: Plan, devices: list[Device], tiles: list[set[Tile]], look: Look) -> list[Shape]:
    strokes = tuple(tuple((x, y, x, y) for x, y in sorted(part)) for part in tiles)
    return wire_shapes(replace(plan, devices=tuple(devices), wires=strokes), look)


def _ground(area: Rect, backdrop: Iterable[Rect], look: Look) -> list[Shape]:
    """Backdrop, and the lines between tiles, every fifth of them stronger."""
    x0, y0, x1, y1 = area
    tile = look.tile
    shapes: list[Shape] = [
        Box(a * tile, b * tile, (c - a + 1) * tile, (d - b + 1) * tile, hues.BACKDROP) for a, b, c, d in backdrop
    ]
    for x in range(x0, x1 + 2):
        hue = hues.GRID_FIFTH if x % 5 == 0 else hues.GRID
        shapes.append(Line(x * tile, y0 * tile, x * tile, (y1 + 1) * tile, hue, 0.7))
    for y in range(y0, y1 + 2):
        hue = hues.GRID_FIFTH if y % 5 == 0 else hues.GRID
        shapes.append(Line(x0 * tile, y * tile, (x1 + 1) * tile, y * tile, hue, 0.7))
    return shapes


def _rulers(area: Rect, look: Look) -> Iterator[Shape]:
    x0, y0, x1, y1 = area
    for x in range(x0, x1 + 1):
        hue = hues.INK if x % 5 == 0 else hues.GREY_TEXT
        yield Text(RULER + look.middle(x - x0), RULER - 4, str(x), 8, hue, "middle", bold=x % 5 == 0)
    for y in range(y0, y1 + 1):
        hue = hues.INK if y % 5 == 0 else hues.GREY_TEXT
        yield Text(RULER - 3, RULER + look.middle(y - y0) + 3, str(y), 8, hue, "end", bold=y % 5 == 0)


def _hatches(step: Step, area: Rect, look: Look) -> Iterator[Shape]:
    """Older wire of the step's colour that it comes near: hatched."""
    tile = look.tile
    for clear in step.keep_clear:
        if _inside(clear.tile, area):
            x, y = clear.tile[0] * tile, clear.tile[1] * tile
            for part in (0.25, 0.5, 0.75):
                a, b = part * tile, 0.12 * tile
                yield Polyline(((x + a - b, y + a + b), (x + a + b, y + a - b)), hues.GREY_TEXT, 1.1)
            yield Box(x + 1, y + 1, tile - 2, tile - 2, None, hues.GREY_TEXT, 0.7)


def _marks(step: Step, look: Look) -> Iterator[Shape]:
    """Rings around what is pressed, crosses over what is taken away, frames around what changes."""
    tile = look.tile
    for action in step.actions:
        if action.tile is None:
            continue
        x, y = look.middle(action.tile[0]), look.middle(action.tile[1])
        if action.do in ("press", "tick"):
            yield Disc(x, y, tile * 0.48, None, hues.INK, 1.8)
        elif action.do == "remove" and action.tile not in _placed(step):
            half = tile * 0.4
            yield Polyline(((x - half, y - half), (x + half, y + half)), hues.INK, 1.6)
            yield Polyline(((x - half, y + half), (x + half, y - half)), hues.INK, 1.6)
    for expectation in step.expect[: step.changes]:
        if expectation.tile is not None and any(a.do in ("press", "tick") for a in step.actions):
            left, top = expectation.tile[0] * tile, expectation.tile[1] * tile
            yield Box(left + 1, top + 1, tile - 2, tile - 2, None, hues.INK, 1.6, 3)


def _placed(step: Step) -> set[Tile]:
    """Where something is put that stands there after the step."""
    placed: set[Tile] = set()
    for action in step.actions:
        if action.device is not None:
            placed.add((action.device.x, action.device.y))
        elif action.do == "remove" and action.tile is not None:
            placed.discard(action.tile)
    return placed


def _caption(step: Step, area: Rect) -> str:
    """What the marks that are in the picture mean."""
    pressed = [a.tile for a in step.actions if a.tile and a.do in ("press", "tick")]
    changed = [e.tile for e in step.expect[: step.changes] if e.tile and pressed]
    gone = [a.tile for a in step.actions if a.tile and a.do == "remove" and a.tile not in _placed(step)]
    clear = [c.tile for c in step.keep_clear]
    colour = step.keep_clear[0].colour if step.keep_clear else ""
    said = (
        (pressed, "ring: press here"),
        (changed, "frame: changes"),
        (gone, "cross: take away"),
        (clear, f"hatched: keep clear of {colour}"),
    )
    return "; ".join(text for tiles, text in said if any(_inside(tile, area) for tile in tiles))


def faded(shape: Shape) -> Shape:
    """A shape in paler greys, for what was laid earlier."""
    if isinstance(shape, Group):
        return Group(shape.title, tuple(faded(part) for part in shape.shapes))
    if isinstance(shape, Line):
        return replace(shape, stroke=_pale(shape.stroke))
    if isinstance(shape, Text):
        return replace(shape, fill=_pale(shape.fill))
    return replace(shape, fill=shape.fill and _pale(shape.fill), stroke=shape.stroke and _pale(shape.stroke))


@cache
def _pale(hue: str) -> str:
    channels = (int(hue[i : i + 2], 16) for i in (1, 3, 5))
    return "#" + "".join(f"{round(255 - (255 - c) * (1 - _FADE)):02X}" for c in channels)


def unplaced(shapes: Iterable[Shape]) -> tuple[float, float]:
    """The place of a group: the middle of its first shape, by which equal groups are known again."""
    first = next(iter(shapes))
    if isinstance(first, Group):
        return unplaced(first.shapes)
    if isinstance(first, Box):
        return first.x, first.y
    if isinstance(first, Disc | Text):
        return first.x, first.y
    if isinstance(first, Line):
        return first.x0, first.y0
    return first.points[0]
