"""Dials: hands that point along rays from a centre."""

from __future__ import annotations

import math
from itertools import count

from hdl2grid.base.errors import InputError, SourceLine
from hdl2grid.base.ports import bit_name
from hdl2grid.base.sources import short
from hdl2grid.base.userline import user_line
from hdl2grid.panel.panel import Panel, check_whole, of_pixels

RAYS_LIMIT = 360
"""Rays of a dial: one a degree. Guessed."""
Tile = tuple[int, int]


def dial(*ports: str, rays: int = 12, lengths: tuple[int, ...] | None = None, start: int | None = None) -> Panel:
    """A dial of `rays` rays: ray 0 points up, and they go round clockwise.

    Each port has one bit a ray and is one ring of the dial, from the centre outward: ring i is `lengths[i]`
    pixels long on each ray (2 if left out). A hand as long as the first ring lights one bit of the first
    port; a longer hand lights the same bit of the second port too. So with two hands the design computes, for
    each ray, `inner = hour | minute` and `outer = minute`, and where both point the same way the shared
    pixels stay lit. `start` is the first pixel's distance from the centre; left out, it is the least at which
    no two rays touch. `dial("inner", "outer", lengths=(2, 1))`, the first ring as i, the second as o:

        ..o..o..o..
        ...i.i.i...
        o..i.i.i..o
        .ii.....ii.
        ...........
        oii.....iio
        ...........
        .ii.....ii.
        o..i.i.i..o
        ...i.i.i...
        ..o..o..o..

    Raises InputError M033 for a bad number, or a `start` at which two rays want the same tile.
    """
    where = user_line()
    rings = _rings(ports, lengths, where)
    check_whole("the number of rays", rays, 1, RAYS_LIMIT, where)
    total = sum(rings)
    if start is None:
        start = next(r for r in count(1) if _rays_apart(rays, r, total))
    check_whole("a dial's start", start, 0, 10_000, where)
    pixels: dict[Tile, str] = {}
    for ray in range(rays):
        tiles = iter(ray_tiles(ray, rays, start, total))
        for port, length in zip(ports, rings, strict=True):
            for _ in range(length):
                tile = next(tiles)
                if tile in pixels:
                    raise InputError(
                        "M033",
                        f"at start={start} two rays of the dial want the same tile",
                        where=where,
                        hint="Leave start= out, or make it larger.",
                    )
                pixels[tile] = bit_name(port, rays, ray)
    reach = max(max(abs(x), abs(y)) for x, y in pixels)
    placed = [(x + reach, y + reach, signal) for (x, y), signal in pixels.items()]
    return of_pixels(placed, where, (2 * reach + 1, 2 * reach + 1))


def ray_tiles(ray: int, rays: int, start: int, length: int) -> list[Tile]:
    """`length` tiles along a ray, (0, 0) being the centre and y downward: one tile for each step of the
    longer coordinate (a digital line), from the step nearest to the distance `start`."""
    angle = 2 * math.pi * ray / rays
    x, y = math.sin(angle), -math.cos(angle)
    longer = max(abs(x), abs(y))
    first = _round(start * longer)
    return [(_round(x / longer * step), _round(y / longer * step)) for step in range(first, first + length)]


def _round(value: float) -> int:
    """To the nearest whole number, halves away from 0, so that a dial is as symmetric as its rays."""
    return int(math.copysign(math.floor(abs(value) + 0.5 + 1e-9), value))


def _rays_apart(rays: int, start: int, length: int) -> bool:
    owner: dict[Tile, int] = {}
    for ray in range(rays):
        for tile in ray_tiles(ray, rays, start, length):
            if owner.setdefault(tile, ray) != ray:
                return False
    return all(owner.get(near, ray) == ray for (x, y), ray in owner.items() for near in ((x + 1, y), (x, y + 1)))


def _rings(ports: tuple[str, ...], lengths: object, where: SourceLine | None) -> tuple[int, ...]:
    if not ports or not all(isinstance(port, str) for port in ports):
        raise InputError(
            "M033", "a dial shows the ports that are named, one for each ring", where=where,
            hint='For example dial("inner", "outer", lengths=(2, 3)).',
        )  # fmt: skip
    if lengths is None:
        return (2,) * len(ports)
    if not isinstance(lengths, (tuple, list)) or len(lengths) != len(ports):
        raise InputError(
            "M033",
            f"lengths= gives one number for each of {len(ports)} ports, unlike {short(lengths)}",
            where=where,
        )
    for length in lengths:
        check_whole("a ring's length", length, 1, 1000, where)
    return tuple(lengths)
