"""A plan on several sheets of paper, to print and to lay by: each with coordinates, its letter, two tiles of
overlap and the letters of its neighbours, after a key map that says where each lies.

    key map   A  B         a sheet:        to A
              C  D                    +-----------+
                                      | overlap   |  to D
                                 ...
"""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.errors import InputError
from hdl2grid.base.target import Target
from hdl2grid.plan.model import Plan
from hdl2grid.show import look as hues
from hdl2grid.show.clip import clipped
from hdl2grid.show.drawing import MARGIN, MIN_TILE, TITLE_HEIGHT, draw_scene
from hdl2grid.show.legend import LEGEND_WIDTH, legend_height, legend_shapes, shortened
from hdl2grid.show.look import colours_of
from hdl2grid.show.scene import Box, Line, Scene, Shape, Text
from hdl2grid.show.transform import shifted

PIXELS_A_MM = 4.0
"""Sheets are drawn in quarters of a millimetre."""

POINTS_A_PIXEL = 72 / 25.4 / PIXELS_A_MM
"""Points of a PDF, 1/72 inch, to a pixel of a sheet."""

PAPERS = {"a4": (210, 297), "a3": (297, 420), "letter": (216, 279)}
"""Width and height in millimetres, upright (ISO 216; ANSI/ASME Y14.1 size A)."""

OVERLAP = 2
"""Tiles that a sheet shares with each of its neighbours. Guessed."""

LEAST_TILE_MM, MOST_TILE_MM = 5.0, 20.0
"""Millimetres to a tile: device symbols cannot be read below, and above a sheet holds hardly ten tiles. Guessed."""

MAX_SHEETS = 400
"""Most sheets of one plan. Guessed: a ream has 500."""

_EDGE_MM, _HEAD_MM, _RULER_MM = 10.0, 12.0, 7.0
"""Millimetres for the margin, the title and the coordinates. Guessed."""


@dataclass(frozen=True)
class Sheet:
    """One sheet: the tiles that it shows, ends included, its letter, and its place among the sheets."""

    letter: str
    column: int
    row: int
    x0: int
    y0: int
    x1: int
    y1: int


def sheet_letter(number: int) -> str:
    """A, B, .. Z, AA, AB, .. for 0, 1, .."""
    letters = ""
    number += 1
    while number:
        number, rest = divmod(number - 1, 26)
        letters = chr(ord("A") + rest) + letters
    return letters


@dataclass(frozen=True)
class Cutting:
    """How a plan is cut into `sheets` of paper, row by row, that lies on its side (`lying`) or stands."""

    sheets: tuple[Sheet, ...]
    lying: bool
    tile_mm: float


def cut_plan(plan: Plan, paper: str = "a4", tile_mm: float | None = None) -> Cutting:
    """The way of laying the paper that needs fewer sheets.

    Without `tile_mm`: as few sheets as tiles of 5 mm need, and then the largest tiles that they have room for.
    Raises InputError (W002) for an unknown paper, a tile that is not from 5 to 20 mm, or more than 400 sheets.
    """
    if paper not in PAPERS:
        raise InputError("W002", f"there is no paper '{paper}'", hint=f"There is: {', '.join(PAPERS)}.")
    if tile_mm is not None and not LEAST_TILE_MM <= tile_mm <= MOST_TILE_MM:
        limits = f"{LEAST_TILE_MM:g} to {MOST_TILE_MM:g}"
        raise InputError("W002", f"a tile of {tile_mm:g} mm is not from {limits} mm", hint="6 mm is easy to read.")
    steps = [LEAST_TILE_MM + i / 2 for i in range(int(2 * (MOST_TILE_MM - LEAST_TILE_MM)) + 1)]
    sizes = [tile_mm] if tile_mm is not None else steps
    ways = [Cutting(_cut(plan, paper, size, lying), lying, size) for size in sizes for lying in (False, True)]
    best = min(ways, key=lambda way: (len(way.sheets), -way.tile_mm))
    if len(best.sheets) > MAX_SHEETS:
        what = f"{len(best.sheets)} sheets would be needed; at most {MAX_SHEETS} are drawn"
        raise InputError("W002", what, hint="Take larger paper or smaller tiles.")
    return best


def _room(paper: str, tile_mm: float, lying: bool) -> tuple[int, int]:
    """Tiles across and down that a sheet has room for."""
    short, long = PAPERS[paper]
    width, height = (long, short) if lying else (short, long)
    around = 2 * (_EDGE_MM + _RULER_MM)
    return int((width - around) // tile_mm), int((height - around - _HEAD_MM) // tile_mm)


def _cut(plan: Plan, paper: str, tile_mm: float, lying: bool) -> tuple[Sheet, ...]:
    across, down = _room(paper, tile_mm, lying)
    columns, rows = _spans(plan.width, across), _spans(plan.height, down)
    places = [(row, column) for row in range(len(rows)) for column in range(len(columns))]
    return tuple(
        Sheet(sheet_letter(i), column, row, columns[column][0], rows[row][0], columns[column][1], rows[row][1])
        for i, (row, column) in enumerate(places)
    )


def _spans(size: int, room: int) -> list[tuple[int, int]]:
    """Spans of at most `room` tiles that cover `size` tiles with the overlap, all nearly equally long."""
    count = 1
    while count * room - (count - 1) * OVERLAP < size:
        count += 1
    total = size + (count - 1) * OVERLAP
    spans = []
    start = 0
    for i in range(count):
        length = total // count + (i < total % count)
        spans.append((start, start + length - 1))
        start += length - OVERLAP
    return spans


def sheet_scenes(plan: Plan, target: Target, paper: str = "a4", tile_mm: float | None = None) -> tuple[Scene, ...]:
    """The key map and then every sheet, each as a scene of the paper's size in quarters of a millimetre (see
    POINTS_A_PIXEL). Raises InputError (W002) as `cut_plan` does."""
    cutting = cut_plan(plan, paper, tile_mm)
    short, long = PAPERS[paper]
    width, height = (long, short) if cutting.lying else (short, long)
    size = (round(width * PIXELS_A_MM), round(height * PIXELS_A_MM))
    tile = cutting.tile_mm * PIXELS_A_MM
    machine = _grid_of(plan, target, tile)
    letters = {(sheet.column, sheet.row): sheet.letter for sheet in cutting.sheets}
    pages = [_sheet_scene(plan, sheet, machine, letters, size, tile) for sheet in cutting.sheets]
    return (_key_map(plan, target, cutting, size), *pages)


def _grid_of(plan: Plan, target: Target, tile: float) -> list[Shape]:
    """All shapes of the plan's drawing, with the grid's top left at (0, 0)."""
    return shifted(draw_scene(plan, target, tile).shapes, -MARGIN, -(TITLE_HEIGHT + MARGIN))


def _sheet_scene(
    plan: Plan,
    sheet: Sheet,
    machine: list[Shape],
    letters: dict[tuple[int, int], str],
    size: tuple[int, int],
    tile: float,
) -> Scene:
    left, top = sheet.x0 * tile, sheet.y0 * tile
    wide, high = (sheet.x1 - sheet.x0 + 1) * tile, (sheet.y1 - sheet.y0 + 1) * tile
    at_x = (size[0] - wide) / 2
    at_y = (_EDGE_MM + _HEAD_MM + _RULER_MM) * PIXELS_A_MM
    part = f"({sheet.x0},{sheet.y0}) to ({sheet.x1},{sheet.y1})"
    title = f"{shortened(plan.name, 40)}, sheet {sheet.letter} of {len(letters)}: {part}"
    shapes: list[Shape] = [
        Text(_EDGE_MM * PIXELS_A_MM, at_y - 68, title, 20, hues.INK, bold=True),
        *shifted(clipped(machine, (left, top, left + wide, top + high)), at_x - left, at_y - top),
        Box(at_x, at_y, wide, high, None, hues.INK, 1.2),
        *shifted(_rulers(sheet, tile), at_x, at_y),
        *shifted(_neighbours(sheet, letters, wide, high, tile), at_x, at_y),
    ]
    about = f"Part of the plan {plan.name}; two tiles at each inner edge are on the next sheet too."
    return Scene(*size, title, about, tuple(shapes))


def _rulers(sheet: Sheet, tile: float) -> list[Shape]:
    wide, high = (sheet.x1 - sheet.x0 + 1) * tile, (sheet.y1 - sheet.y0 + 1) * tile
    shapes: list[Shape] = []
    for x in range(sheet.x0, sheet.x1 + 1):
        middle = (x - sheet.x0 + 0.5) * tile
        for base in (-6.0, high + 16):
            shapes.append(Text(middle, base, str(x), 11, hues.INK, "middle", bold=x % 5 == 0))
    for y in range(sheet.y0, sheet.y1 + 1):
        base = (y - sheet.y0 + 0.5) * tile + 4
        shapes.append(Text(-6, base, str(y), 11, hues.INK, "end", bold=y % 5 == 0))
        shapes.append(Text(wide + 6, base, str(y), 11, hues.INK, bold=y % 5 == 0))
    return shapes


def _neighbours(
    sheet: Sheet, letters: dict[tuple[int, int], str], wide: float, high: float, tile: float
) -> list[Shape]:
    """At each inner edge a dashed line where the overlap begins, and the next sheet's letter."""
    shapes: list[Shape] = []
    inset = OVERLAP * tile
    dash = (8.0, 6.0)
    edges = {
        (-1, 0): ((inset, 0, inset, high), (-38, high / 2 + 7)),
        (1, 0): ((wide - inset, 0, wide - inset, high), (wide + 38, high / 2 + 7)),
        (0, -1): ((0, inset, wide, inset), (wide / 2, -30)),
        (0, 1): ((0, high - inset, wide, high - inset), (wide / 2, high + 42)),
    }
    for (dx, dy), (line, place) in edges.items():
        letter = letters.get((sheet.column + dx, sheet.row + dy))
        if letter:
            shapes.append(Line(*line, hues.GREY_TEXT, 1.4, dash))
            shapes.append(Text(*place, letter, 20, hues.INK, "middle", bold=True))
    return shapes


def _key_map(plan: Plan, target: Target, cutting: Cutting, size: tuple[int, int]) -> Scene:
    """The whole plan, small, with the outline and letter of every sheet, and the legend where it has room."""
    left, top = _EDGE_MM * PIXELS_A_MM, _EDGE_MM * PIXELS_A_MM + 70
    beside = LEGEND_WIDTH + 20 if cutting.lying else 0
    room = (size[0] - 2 * left - beside, size[1] - top - left)
    tile = min(20.0, room[0] / plan.width, room[1] / plan.height)
    number = len(cutting.sheets)
    title = f"{shortened(plan.name, 40)}: key map of {number} {'sheet' if number == 1 else 'sheets'}"
    about = f"{cutting.tile_mm:g} mm a tile; sheets overlap by {OVERLAP} tiles"
    shapes: list[Shape] = [
        Text(left, top - 46, title, 22, hues.INK, bold=True),
        Text(left, top - 22, about, 13, hues.GREY_TEXT),
    ]
    grid = (plan.width * tile, plan.height * tile)
    if tile >= MIN_TILE:
        shapes += shifted(clipped(_grid_of(plan, target, tile), (0, 0, *grid)), left, top)
    else:
        shapes.append(Box(left, top, *grid, hues.STACK, hues.GREY_TEXT, 1))
    if number > 1:
        shapes += shifted(_outlines(cutting.sheets, tile), left, top)
    legend_at = (size[0] - left - LEGEND_WIDTH, top) if cutting.lying else (left, top + grid[1] + 30)
    if legend_at[1] + legend_height(plan) < size[1] - left:
        shapes += legend_shapes(plan, colours_of(plan.colours, target), *legend_at)
    return Scene(*size, title, f"Where each sheet of the plan {plan.name} lies.", tuple(shapes))


def _outlines(sheets: tuple[Sheet, ...], tile: float) -> list[Shape]:
    shapes: list[Shape] = []
    for sheet in sheets:
        x, y = sheet.x0 * tile, sheet.y0 * tile
        wide, high = (sheet.x1 - sheet.x0 + 1) * tile, (sheet.y1 - sheet.y0 + 1) * tile
        big = min(60.0, wide / 2, high / 2)
        shapes.append(Box(x + 1, y + 1, wide - 2, high - 2, None, hues.INK, 2))
        base = y + high / 2 + big * 0.36
        shapes.append(Text(x + wide / 2, base, sheet.letter, big, hues.INK, "middle", True, hues.PAPER))
    return shapes
