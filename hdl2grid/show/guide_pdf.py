"""The print edition of a guide as PDF: A4 pages made of the same pictures and words as the HTML.

A page is a scene like any other drawing, in quarters of a millimetre, so that a tile is 5 mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain

from reportlab.pdfbase.pdfmetrics import stringWidth

from hdl2grid.base.target import Target
from hdl2grid.guide.model import Guide, Step
from hdl2grid.guide.sentences import Words
from hdl2grid.show import look as hues
from hdl2grid.show.drawing import draw_scene
from hdl2grid.show.guide_picture import Picture, Pictured, step_pictures
from hdl2grid.show.guide_story import INTRODUCTION, from_to_rows, look_rows, restore_rows, told
from hdl2grid.show.pdf import pdf_bytes
from hdl2grid.show.scene import Box, Line, Scene, Shape, Text
from hdl2grid.show.transform import scaled, shifted

UNITS_A_MM = 4.0
"""Units of a page to a millimetre, so that a tile of 20 units is 5 mm."""

WIDTH, HEIGHT = 840, 1188
"""A4 (ISO 216) in quarters of a millimetre."""

MARGIN = 48.0
"""The margin of a page in units: 12 mm. Guessed."""

SIZE, SMALL = 13.0, 11.5
"""Sizes of letters in units, near 9 and 8 points. Guessed."""

LEADING = 1.35
"""Line height as a multiple of the letters' size. 1.2 to 1.45 is common practice, no source."""

GAP = 14.0
"""Room between picture and words, and below titles, in units. Guessed."""

BESIDE = 300.0
"""Words stand beside a picture if they have so much room there, else below it. Guessed."""

FACTORS = (1.0, 0.9, 0.8)
"""Pictures are drawn at 5 mm a tile, or so much smaller where a step then fits on the page. Guessed."""

BELOW = 8.0
"""Room below a step. Guessed."""

_ABOVE = (6.0, 4.0, 3.0)
"""Room above the line of a step, between it and the title, and between the title and the picture. Guessed."""

_WIDER = {"Helvetica": 1.16, "Helvetica-Bold": 1.3}
"""Vera, in which pages are set, is at most so much wider than Helvetica, by which lines are broken."""


@dataclass(frozen=True)
class _Line:
    text: str
    size: float = SIZE
    bold: bool = False
    hue: str = hues.INK
    indent: float = 0.0

    @property
    def height(self) -> float:
        return self.size * LEADING


@dataclass
class _Pages:
    """Pages that are filled from top to bottom."""

    title: str
    done: list[list[Shape]] = field(default_factory=lambda: [[]])
    y: float = MARGIN

    @property
    def room(self) -> float:
        return HEIGHT - MARGIN - 20 - self.y

    def turn(self) -> None:
        """Goes on on a new page."""
        self.done.append([])
        self.y = MARGIN

    def add(self, shapes: Iterable[Shape]) -> None:
        self.done[-1] += shapes

    def lines(self, lines: Sequence[_Line], left: float = MARGIN) -> None:
        """Lines one below the other; they go on on the next page where they must."""
        for line in lines:
            if self.room < line.height:
                self.turn()
            self.y += line.height
            where = left + line.indent
            self.add([Text(where, self.y - 0.3 * line.size, line.text, line.size, line.hue, bold=line.bold)])

    def scenes(self) -> list[Scene]:
        made = []
        for number, shapes in enumerate(self.done, 1):
            foot = Text(WIDTH / 2, HEIGHT - 28, f"{number} / {len(self.done)}", 10, hues.GREY_TEXT, "middle")
            made.append(Scene(WIDTH, HEIGHT, self.title, "The guide of a plan, to print.", (*shapes, foot)))
        return made


def guide_pdf(guide: Guide, target: Target, pictures: Iterable[Pictured] | None = None) -> bytes:
    """The whole guide on A4, one picture a step, `pictures` where they are drawn already; the same guide gives the
    same bytes. The guide must have its plan."""
    assert guide.plan is not None
    pages = _Pages(f"{guide.plan_name}: guide")
    _cover(pages, guide, target)
    words = Words()
    drawn = iter(pictures or step_pictures(guide, target))
    for number, section in enumerate(guide.sections, 1):
        steps = [next(drawn) for _ in section.steps]
        smallest = min((box.height for box in _sizes(*steps[0], words)), default=0.0) if steps else 0.0
        _heading(pages, f"{number}. {section.title}", section.why, smallest)
        for step, picture in steps:
            _step(pages, _fitting(_sizes(step, picture, words), pages.room))
    _tables(pages, guide)
    return pdf_bytes(pages.scenes(), 72 / 25.4 / UNITS_A_MM)


def _cover(pages: _Pages, guide: Guide, target: Target) -> None:
    assert guide.plan is not None
    plan = guide.plan
    wide = WIDTH - 2 * MARGIN
    pages.lines(_broken(f"{guide.plan_name}: guide", wide, 24, bold=True))
    for text in INTRODUCTION:
        pages.lines(_broken(text, wide))
        pages.y += 6
    steps = sum(len(s.steps) for s in guide.sections)
    colours = ", ".join(plan.colours)
    pages.lines(_broken(f"{plan.width} x {plan.height} tiles, {steps} steps. Wire colours: {colours}.", wide))
    pages.y += GAP
    for tile in (18.0, 14.0, 11.0, 8.0, 6.0, 4.0):
        scene = draw_scene(plan, target, tile)
        if scene.width <= wide and scene.height <= pages.room:
            break
    else:
        return
    pages.add(shifted(scene.shapes, MARGIN, pages.y))
    pages.y += scene.height + GAP


def _heading(pages: _Pages, title: str, why: str, following: float = 180.0) -> None:
    """A heading, on the page of what follows it."""
    wide = WIDTH - 2 * MARGIN
    head = _broken(title, wide, 17, bold=True)
    text = _broken(why, wide, SIZE, hue=hues.GREY_TEXT)
    needed = sum(line.height for line in (*head, *text)) + GAP + 20
    if pages.room < needed + min(following, HEIGHT - 2 * MARGIN - 20 - needed):
        pages.turn()
    elif pages.y > MARGIN:
        pages.y += GAP
    pages.lines(head)
    pages.add([Line(MARGIN, pages.y + 3, WIDTH - MARGIN, pages.y + 3, hues.GREY_TEXT, 1.4)])
    pages.y += 8
    pages.lines(text)


@dataclass(frozen=True)
class _Box:
    """A step as it will stand on a page: its words beside (`left` > 0) or below the picture."""

    title: list[_Line]
    picture: Picture | None
    caption: list[_Line]
    lines: list[_Line]
    left: float
    height: float


def _sizes(step: Step, picture: Picture | None, words: Words) -> Iterator[_Box]:
    """A step with its picture as large as it may be, and smaller, for what is left of a page. A picture beside which
    words have room is better than one above them."""
    if picture is None:
        yield _measured(step, picture, words)
        return
    for factor in [f for f in FACTORS if _room_beside(picture.width * f)] or FACTORS:
        width, height = picture.width * factor, picture.height * factor
        small = replace(picture, width=width, height=height, shapes=tuple(scaled(picture.shapes, factor)))
        yield _measured(step, small, words)


def _fitting(sizes: Iterator[_Box], room: float) -> _Box:
    """The largest that fits, else the largest of all."""
    largest = next(sizes)
    return next((box for box in chain([largest], sizes) if box.height <= room), largest)


def _room_beside(width: float) -> float:
    """What is left for words beside a picture that is so wide; 0 where it is too little."""
    room = WIDTH - 2 * MARGIN - width - GAP
    return room if room >= BESIDE else 0.0


def _measured(step: Step, picture: Picture | None, words: Words) -> _Box:
    wide = WIDTH - 2 * MARGIN
    left = picture.width + GAP if picture is not None and _room_beside(picture.width) else 0.0
    caption = (
        _broken(picture.caption, picture.width if left else max(picture.width, 300), 10, hue=hues.GREY_TEXT)
        if picture
        else []
    )
    lines = _words(step, words, wide - left)
    drawn = (picture.height if picture else 0.0) + sum(line.height for line in caption)
    text = sum(line.height for line in lines)
    title = _broken(f"{step.number}  {step.title}", wide - 26, SIZE, bold=True)
    head = sum(line.height for line in title) + sum(_ABOVE)
    return _Box(title, picture, caption, lines, left, head + (max(drawn, text) if left else drawn + text))


def _step(pages: _Pages, step: _Box) -> None:
    """A step: a box to tick and its title, the picture, and beside or below it the words."""
    if pages.room < min(step.height, HEIGHT - 2 * MARGIN - 20) and pages.y > MARGIN:
        pages.turn()
    above_line, below_line, above_picture = _ABOVE
    pages.y += above_line
    pages.add([Line(MARGIN, pages.y, WIDTH - MARGIN, pages.y, hues.GRID_FIFTH, 0.8)])
    pages.add([Box(MARGIN, pages.y + 5, 15, 15, None, hues.INK, 1.2)])
    pages.y += below_line
    pages.lines(step.title, MARGIN + 26)
    top = pages.y + above_picture
    if step.picture is not None:
        pages.add(shifted(step.picture.shapes, MARGIN, top))
        pages.y = top + step.picture.height
        pages.lines(step.caption)
    bottom = pages.y
    page = len(pages.done)
    if step.left:
        pages.y = top
    pages.lines(step.lines, MARGIN + step.left)
    if len(pages.done) == page:
        pages.y = max(pages.y, bottom)
    pages.y += BELOW


def _words(step: Step, words: Words, wide: float) -> list[_Line]:
    said = told(step, words)
    found: list[_Line] = []
    if step.like:
        found += _broken(step.like, wide)
    if said.lines:
        for text in said.lines:
            found += _broken(f"- {text}", wide, hang=10)
    else:
        found += _broken(said.text, wide)
    for text in said.seen:
        found += _broken(text, wide, bold=True)
    if said.same:
        found += _broken(said.same, wide, SMALL)
    for text in said.mistakes:
        found += _broken(text, wide, SMALL, hue="#333333")
    return found


def _tables(pages: _Pages, guide: Guide) -> None:
    """Looks, restore sheet and from-to list, each from a new page on."""
    rows = look_rows(guide)
    if rows:
        pages.turn()
        _heading(pages, "When to look at the running machine", "Tick what you have seen.")
        _table(pages, (420.0, 280.0), [(f"[  ] {when}", reading) for when, reading in rows])
    pages.turn()
    why = (
        "After a repair every toggle and pixel must be as here before the ticker is started again; then test the nets "
        "that are named, by the steps of the from-to list."
    )
    _heading(pages, "Restore sheet", why)
    _table(pages, (180.0, 400.0, 164.0), [("what", "as it must be", "nets to test"), *restore_rows(guide)])
    pages.turn()
    _heading(pages, "From-to list", "Each net from its drivers to its sinks.")
    _table(pages, (110.0, 90.0, 170.0, 280.0, 94.0), [("net", "wire", "from", "to", "steps"), *from_to_rows(guide)])


def _table(pages: _Pages, widths: Sequence[float], rows: Sequence[Sequence[str]]) -> None:
    """Rows one below the other; the first is a head where there are more than two columns, and is told again on each
    page."""
    head: list[list[_Line]] | None = None
    for number, row in enumerate(rows):
        bold = number == 0 and len(widths) > 2
        cells = [_broken(text, width - 8, 10.5, bold=bold) for text, width in zip(row, widths, strict=True)]
        height = max(sum(line.height for line in cell) for cell in cells) + 5
        if pages.room < height and height < HEIGHT - 2 * MARGIN - 40:
            pages.turn()
            if number and head is not None:
                _row(pages, widths, head)
        _row(pages, widths, cells)
        if bold:
            head = cells


def _row(pages: _Pages, widths: Sequence[float], cells: Sequence[Sequence[_Line]]) -> None:
    height = max(sum(line.height for line in cell) for cell in cells) + 5
    pages.add([Line(MARGIN, pages.y, WIDTH - MARGIN, pages.y, hues.GRID_FIFTH, 0.7)])
    top, left = pages.y + 2, MARGIN
    for cell, width in zip(cells, widths, strict=True):
        pages.y = top
        pages.lines(cell, left)
        left += width
    pages.y = top + height


def _broken(
    text: str, wide: float, size: float = SIZE, *, bold: bool = False, hue: str = hues.INK, hang: float = 0.0
) -> list[_Line]:
    """A text in lines that are at most `wide`; words too long for a line are cut. Later lines hang by `hang`."""
    font = "Helvetica-Bold" if bold else "Helvetica"
    lines: list[_Line] = []
    line = ""
    for word in text.split():
        room = wide - (hang if lines else 0.0)
        longer = f"{line} {word}" if line else word
        if _width(longer, font, size) <= room:
            line = longer
            continue
        if line:
            lines.append(_Line(line, size, bold, hue, hang if lines else 0.0))
        while _width(word, font, size) > wide:
            cut = max(1, int(len(word) * wide / _width(word, font, size)))
            lines.append(_Line(word[:cut], size, bold, hue, hang if lines else 0.0))
            word = word[cut:]
        line = word
    if line:
        lines.append(_Line(line, size, bold, hue, hang if lines else 0.0))
    return lines


def _width(text: str, font: str, size: float) -> float:
    return float(stringWidth(text, font, size)) * _WIDER[font]
