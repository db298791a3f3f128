"""A scene as SVG 1.1 text: one self-contained file, the same bytes for the same scene."""

from __future__ import annotations

from collections.abc import Iterable
from xml.etree import ElementTree as ET

from hdl2grid.show import look as hues
from hdl2grid.show.scene import Box, Disc, Group, Line, Polyline, Scene, Shape, Text

FONT = "DejaVu Sans, Verdana, Helvetica, Arial, sans-serif"


def svg_text(scene: Scene) -> str:
    """The scene as an SVG document with a title and a description for screen readers; ends with a newline."""
    root = ET.Element(
        "svg",
        {
            "xmlns": "http://www.w3.org/2000/svg",
            "viewBox": f"0 0 {scene.width} {scene.height}",
            "width": str(scene.width),
            "height": str(scene.height),
            "role": "img",
            "aria-labelledby": "title desc",
            "font-family": FONT,
        },
    )
    ET.SubElement(root, "title", {"id": "title"}).text = scene.title
    ET.SubElement(root, "desc", {"id": "desc"}).text = scene.description
    ET.SubElement(root, "metadata").text = "hdl2grid"
    ET.SubElement(root, "rect", {"width": "100%", "height": "100%", "fill": hues.PAPER})
    _add(root, scene.shapes)
    ET.indent(root, space=" ")
    return ET.tostring(root, encoding="unicode") + "\n"


def _add(parent: ET.Element, shapes: Iterable[Shape]) -> None:
    for shape in shapes:
        if isinstance(shape, Group):
            group = ET.SubElement(parent, "g")
            ET.SubElement(group, "title").text = shape.title
            _add(group, shape.shapes)
        else:
            _add_one(parent, shape)


def _add_one(parent: ET.Element, shape: Line | Polyline | Box | Disc | Text) -> None:
    if isinstance(shape, Line):
        ends = {"x1": shape.x0, "y1": shape.y0, "x2": shape.x1, "y2": shape.y1}
        made = ET.SubElement(parent, "line", {key: _number(value) for key, value in ends.items()})
        _paint(made, None, shape.stroke, shape.width)
        del made.attrib["fill"]
        if shape.dash:
            made.set("stroke-dasharray", " ".join(_number(length) for length in shape.dash))
    elif isinstance(shape, Polyline):
        points = " ".join(f"{_number(x)},{_number(y)}" for x, y in shape.points)
        made = ET.SubElement(parent, "polygon" if shape.closed else "polyline", {"points": points})
        _paint(made, shape.fill, shape.stroke, shape.width)
    elif isinstance(shape, Box):
        sides = {"x": shape.x, "y": shape.y, "width": shape.width, "height": shape.height, "rx": shape.radius}
        made = ET.SubElement(parent, "rect", {key: _number(value) for key, value in sides.items()})
        _paint(made, shape.fill, shape.stroke, shape.line)
    elif isinstance(shape, Disc):
        place = {"cx": shape.x, "cy": shape.y, "r": shape.radius}
        made = ET.SubElement(parent, "circle", {key: _number(value) for key, value in place.items()})
        _paint(made, shape.fill, shape.stroke, shape.line)
    else:
        _add_text(parent, shape)


def _add_text(parent: ET.Element, shape: Text) -> None:
    made = ET.SubElement(
        parent,
        "text",
        {"x": _number(shape.x), "y": _number(shape.y), "font-size": _number(shape.size), "fill": shape.fill},
    )
    if shape.anchor != "start":
        made.set("text-anchor", shape.anchor)
    if shape.bold:
        made.set("font-weight", "bold")
    if shape.halo:
        made.set("paint-order", "stroke")
        made.set("stroke", shape.halo)
        made.set("stroke-width", _number(shape.size / 4))
    made.text = shape.text


def _paint(made: ET.Element, fill: str | None, stroke: str | None, width: float) -> None:
    made.set("fill", fill or "none")
    if stroke and width:
        made.set("stroke", stroke)
        made.set("stroke-width", _number(width))


def _number(value: float) -> str:
    text = f"{value:.2f}".rstrip("0").rstrip(".")
    return "0" if text == "-0" else text
