"""Cover the tiles of a net by few straight strokes."""

from __future__ import annotations

from collections.abc import Mapping

from hdl2grid.plan.model import Stroke

Tile = tuple[int, int]


def strokes_of(tiles: Mapping[Tile, bool | None]) -> tuple[Stroke, ...]:
    """Strokes that cover `tiles` and no other, in reading order.

    A tile maps to None, or to a claim that the net passes it straight along x (True) or y (False): at a
    crossover a stroke must go that way. Takes the longest run that covers most of what is still bare, again
    and again; a net of one tile is a stroke of one tile.
    """
    runs = _runs(tiles, along_x=True) + _runs(tiles, along_x=False)
    bare = set(tiles)
    chosen: list[Stroke] = []
    needed = [run for run in runs if any(tiles[t] is (run[0][1] == run[-1][1]) for t in run if tiles[t] is not None)]
    for run in needed:
        if len(run) > 1:
            chosen.append(_stroke(run))
            bare -= set(run)
    while bare:
        best = max(runs, key=lambda run: (sum(t in bare for t in run), len(run), [-v for v in _stroke(run)]))
        chosen.append(_stroke(best))
        bare -= set(best)
    return tuple(sorted(set(chosen), key=lambda s: (s[1], s[0], s[3], s[2])))


def _stroke(run: list[Tile]) -> Stroke:
    return (*run[0], *run[-1])


def _runs(tiles: Mapping[Tile, bool | None], along_x: bool) -> list[list[Tile]]:
    """Maximal straight runs along one axis; a tile that is passed along the other axis ends a run before
    it."""
    dx, dy = (1, 0) if along_x else (0, 1)
    usable = {t for t, way in tiles.items() if way is None or way is along_x}
    runs = []
    for x, y in sorted(usable, key=lambda t: (t[1], t[0])):
        if (x - dx, y - dy) in usable:
            continue
        run = [(x, y)]
        while (x + dx * len(run), y + dy * len(run)) in usable:
            run.append((x + dx * len(run), y + dy * len(run)))
        runs.append(run)
    return runs
