"""A scene as PNG, rasterised with Pillow from the same shapes as the SVG."""

from __future__ import annotations

import io
import math
import unicodedata
from collections.abc import Iterable, Iterator
from functools import lru_cache

from PIL import Image, ImageDraw, ImageFont, PngImagePlugin

from hdl2grid.show import look as hues
from hdl2grid.show.scene import Box, Disc, Group, Line, Point, Polyline, Scene, Shape, Text

MAX_PIXELS = 40_000_000
"""The largest picture, in pixels; larger scenes are drawn smaller by the caller. Guessed."""

_SUPERSAMPLED_PIXELS = 48_000_000
"""Most pixels that are painted before shrinking, which smooths edges: 144 MB at three bytes each. Guessed."""


def png_bytes(scene: Scene) -> bytes:
    """The scene as a PNG of exactly its own size, antialiased by drawing it larger and averaging.

    The bytes depend on the scene and on Pillow's version only.
    """
    area = scene.width * scene.height
    factor = 3 if area * 9 <= _SUPERSAMPLED_PIXELS else 2 if area * 4 <= _SUPERSAMPLED_PIXELS else 1
    image = Image.new("RGB", (scene.width * factor, scene.height * factor), hues.PAPER)
    brush = _Brush(ImageDraw.Draw(image), factor)
    brush.add(scene.shapes)
    if factor > 1:
        image = image.reduce(factor)
    buffer = io.BytesIO()
    made_by = PngImagePlugin.PngInfo()
    made_by.add_text("Software", "hdl2grid")
    made_by.add_text("Title", _ascii(scene.title))
    image.save(buffer, "PNG", optimize=True, pnginfo=made_by)
    return buffer.getvalue()


@lru_cache(maxsize=64)
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


def _ascii(text: str) -> str:
    """Pillow's own font, the one that is the same on every machine, has ASCII letters only."""
    return unicodedata.normalize("NFKD", text).encode("ascii", "replace").decode("ascii")


class _Brush:
    """Draws shapes on an image that is `factor` times as large as the scene."""

    def __init__(self, draw: ImageDraw.ImageDraw, factor: int) -> None:
        self.draw, self.factor = draw, factor

    def add(self, shapes: Iterable[Shape]) -> None:
        for shape in shapes:
            if isinstance(shape, Group):
                self.add(shape.shapes)
            elif isinstance(shape, Line):
                self._line(shape)
            elif isinstance(shape, Polyline):
                self._polyline(shape)
            elif isinstance(shape, Box):
                self._box(shape)
            elif isinstance(shape, Disc):
                self._disc(shape)
            else:
                self._text(shape)

    def _scaled(self, value: float) -> float:
        return value * self.factor

    def _width(self, value: float) -> int:
        return max(1, round(value * self.factor))

    def _stroke(self, start: Point, end: Point, hue: str, width: float) -> None:
        """One straight stroke as a filled polygon, so that its width and its ends are exact."""
        (x0, y0), (x1, y1) = start, end
        length = math.hypot(x1 - x0, y1 - y0)
        if length == 0:
            return
        across_x, across_y = (y1 - y0) / length * width / 2, (x0 - x1) / length * width / 2
        corners = [
            (x0 + across_x, y0 + across_y),
            (x1 + across_x, y1 + across_y),
            (x1 - across_x, y1 - across_y),
            (x0 - across_x, y0 - across_y),
        ]
        if y0 == y1 or x0 == x1:
            xs, ys = [x for x, _ in corners], [y for _, y in corners]
            box = [round(min(xs)), round(min(ys)), round(max(xs)) - 1, round(max(ys)) - 1]
            self.draw.rectangle([box[0], box[1], max(box[0], box[2]), max(box[1], box[3])], fill=hue)
        else:
            self.draw.polygon(corners, fill=hue)

    def _line(self, line: Line) -> None:
        width = max(1.0, self._scaled(line.width))
        for start, end in dashes(line):
            first = (self._scaled(start[0]), self._scaled(start[1]))
            last = (self._scaled(end[0]), self._scaled(end[1]))
            self._stroke(first, last, line.stroke, width)

    def _polyline(self, shape: Polyline) -> None:
        points = [(self._scaled(x), self._scaled(y)) for x, y in shape.points]
        if shape.fill:
            self.draw.polygon(points, fill=shape.fill)
        if shape.stroke:
            path = [*points, points[0]] if shape.closed else points
            self.draw.line(path, fill=shape.stroke, width=self._width(shape.width), joint="curve")

    def _box(self, box: Box) -> None:
        edge = box.line / 2 if box.stroke else 0.0
        corners = [
            round(self._scaled(box.x - edge)),
            round(self._scaled(box.y - edge)),
            round(self._scaled(box.x + box.width + edge)) - 1,
            round(self._scaled(box.y + box.height + edge)) - 1,
        ]
        corners[2], corners[3] = max(corners[0], corners[2]), max(corners[1], corners[3])
        self.draw.rounded_rectangle(
            corners,
            radius=self._scaled(box.radius),
            fill=box.fill,
            outline=box.stroke,
            width=self._width(box.line) if box.stroke else 0,
        )

    def _disc(self, disc: Disc) -> None:
        radius = disc.radius + (disc.line / 2 if disc.stroke else 0.0)
        corners = [self._scaled(disc.x - radius), self._scaled(disc.y - radius)]
        corners += [self._scaled(disc.x + radius), self._scaled(disc.y + radius)]
        width = self._width(disc.line) if disc.stroke else 0
        self.draw.ellipse(corners, fill=disc.fill, outline=disc.stroke, width=width)

    def _text(self, text: Text) -> None:
        size = max(1, round(self._scaled(text.size)))
        anchor = {"start": "ls", "middle": "ms", "end": "rs"}[text.anchor]
        place = (self._scaled(text.x), self._scaled(text.y))
        bold = size / 28 if text.bold else 0
        letters = _ascii(text.text)
        if text.halo:
            self.draw.text(place, letters, text.halo, _font(size), anchor, stroke_width=round(size / 8 + bold))
        self.draw.text(place, letters, text.fill, _font(size), anchor, stroke_width=bold)


def dashes(line: Line) -> Iterator[tuple[Point, Point]]:
    """The pieces of a dashed line that are drawn, as SVG's stroke-dasharray draws them."""
    length = math.hypot(line.x1 - line.x0, line.y1 - line.y0)
    if not line.dash or length == 0:
        yield (line.x0, line.y0), (line.x1, line.y1)
        return
    along_x, along_y = (line.x1 - line.x0) / length, (line.y1 - line.y0) / length
    position, index = 0.0, 0
    while position < length:
        end = min(length, position + line.dash[index % len(line.dash)])
        if index % 2 == 0:
            start_point = (line.x0 + along_x * position, line.y0 + along_y * position)
            yield start_point, (line.x0 + along_x * end, line.y0 + along_y * end)
        position, index = end, index + 1
