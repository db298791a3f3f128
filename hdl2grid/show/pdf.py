"""Scenes as the pages of a PDF, drawn with ReportLab from the same shapes as every other picture."""

from __future__ import annotations

import io
import unicodedata
from collections.abc import Iterable, Sequence
from functools import cache
from importlib import resources

from reportlab.lib.colors import Color, HexColor
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.pdfgen.canvas import Canvas

from hdl2grid.show.scene import Box, Disc, Group, Line, Polyline, Scene, Shape, Text

POINTS_A_PIXEL = 0.75
"""CSS pixels are 1/96 inch, points of a PDF 1/72 inch."""

_THEIR_MARK = b"ReportLab Generated PDF document (opensource)"
_OUR_MARK = b"hdl2grid drawing, made with ReportLab"
"""A comment in the head of the file, by which this tool knows its own drawings; no longer than theirs."""

_PLAIN, _BOLD = "Vera", "VeraBd"
_HALO = 0.25
"""Width of the light edge around words, as a share of the letters' size. Guessed."""


def pdf_bytes(scenes: Sequence[Scene], points_a_pixel: float = POINTS_A_PIXEL) -> bytes:
    """A PDF with one page for each scene, of the scene's size. The same scenes give the same bytes.

    The letters are those of Bitstream Vera, which comes with ReportLab and is embedded; others stand as `?`.
    """
    _register_fonts()
    buffer = io.BytesIO()
    canvas = Canvas(buffer, invariant=1, pageCompression=1, lang="en")
    canvas.setTitle(scenes[0].title)
    canvas.setSubject(scenes[0].description)
    canvas.setCreator("hdl2grid")
    for scene in scenes:
        canvas.setPageSize((scene.width * points_a_pixel, scene.height * points_a_pixel))
        canvas.transform(points_a_pixel, 0, 0, -points_a_pixel, 0, scene.height * points_a_pixel)
        _Pen(canvas).add(scene.shapes)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue().replace(_THEIR_MARK, _OUR_MARK.ljust(len(_THEIR_MARK)), 1)


@cache
def _register_fonts() -> None:
    folder = resources.files("reportlab") / "fonts"
    for name in (_PLAIN, _BOLD):
        pdfmetrics.registerFont(TTFont(name, io.BytesIO((folder / f"{name}.ttf").read_bytes())))


@cache
def _letters() -> frozenset[int]:
    return frozenset(pdfmetrics.getFont(_PLAIN).face.charToGlyph)


def _printable(text: str) -> str:
    """The text in letters that the font has: accents are dropped where need be, then `?` stands in."""
    known = _letters()
    made = []
    for letter in text:
        parts = letter if ord(letter) in known else unicodedata.normalize("NFKD", letter)
        made.append("".join(part for part in parts if ord(part) in known) or "?")
    return "".join(made)


@cache
def _hue(hue: str) -> Color:
    return HexColor(hue)


class _Pen:
    """Draws shapes on a canvas whose y goes downward."""

    def __init__(self, canvas: Canvas) -> None:
        self.canvas = canvas

    def add(self, shapes: Iterable[Shape]) -> None:
        for shape in shapes:
            if isinstance(shape, Group):
                self.add(shape.shapes)
            elif isinstance(shape, Line):
                self._line(shape)
            elif isinstance(shape, Polyline):
                self._polyline(shape)
            elif isinstance(shape, Box):
                fill = self._paint(shape.fill, shape.stroke, shape.line)
                radius = min(shape.radius, shape.width / 2, shape.height / 2)
                self.canvas.roundRect(shape.x, shape.y, shape.width, shape.height, radius, **fill)
            elif isinstance(shape, Disc):
                fill = self._paint(shape.fill, shape.stroke, shape.line)
                self.canvas.circle(shape.x, shape.y, shape.radius, **fill)
            else:
                self._text(shape)

    def _paint(self, fill: str | None, stroke: str | None, width: float) -> dict[str, int]:
        if fill:
            self.canvas.setFillColor(_hue(fill))
        if stroke and width:
            self.canvas.setStrokeColor(_hue(stroke))
            self.canvas.setLineWidth(width)
            self.canvas.setDash()
        return {"fill": int(bool(fill)), "stroke": int(bool(stroke and width))}

    def _line(self, line: Line) -> None:
        self._paint(None, line.stroke, line.width)
        if line.dash:
            self.canvas.setDash(list(line.dash))
        self.canvas.line(line.x0, line.y0, line.x1, line.y1)

    def _polyline(self, shape: Polyline) -> None:
        how = self._paint(shape.fill, shape.stroke, shape.width)
        path = self.canvas.beginPath()
        path.moveTo(*shape.points[0])
        for point in shape.points[1:]:
            path.lineTo(*point)
        if shape.closed:
            path.close()
        self.canvas.drawPath(path, **how)

    def _text(self, text: Text) -> None:
        font, letters = _BOLD if text.bold else _PLAIN, _printable(text.text)
        wide = pdfmetrics.stringWidth(letters, font, text.size)
        left = text.x - {"start": 0.0, "middle": wide / 2, "end": wide}[text.anchor]
        if text.halo:
            self._letters(letters, left, text, font, halo=True)
        self._letters(letters, left, text, font, halo=False)

    def _letters(self, letters: str, left: float, text: Text, font: str, halo: bool) -> None:
        self.canvas.saveState()
        self.canvas.transform(1, 0, 0, -1, left, text.y)
        written = self.canvas.beginText(0, 0)
        written.setFont(font, text.size)
        if halo:
            self._paint(text.halo, text.halo, text.size * _HALO)
            written.setTextRenderMode(2)
        else:
            self.canvas.setFillColor(_hue(text.fill))
        written.textOut(letters)
        self.canvas.drawText(written)
        self.canvas.restoreState()
