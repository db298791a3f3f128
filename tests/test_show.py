"""Drawings and the parts list, on plans made by hand."""

from __future__ import annotations

import csv
import io
from collections import Counter
from xml.etree import ElementTree as ET

import pytest
from PIL import Image

from hdl2grid.base.colours import contrast
from hdl2grid.base.errors import InputError
from hdl2grid.base.target import load_target
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show import look as hues
from hdl2grid.show.drawing import draw_png, draw_scene, draw_svg
from hdl2grid.show.look import Look, colours_of
from hdl2grid.show.parts_list import count_devices, parts_csv, wire_tile_counts
from hdl2grid.show.png import dashes
from hdl2grid.show.scene import Disc, Group, Line, Scene, Shape, Text
from hdl2grid.show.wires import runs, wire_shapes

TARGET = load_target()
COLOURS = TARGET.colour_names
SVG = "{http://www.w3.org/2000/svg}"


def plan_of(devices: list[Device], wires: dict[int, list[tuple[int, int, int, int]]], size=(12, 10)) -> Plan:
    strokes = tuple(tuple(wires.get(i, ())) for i in range(4))
    return Plan("sandglass", "default", COLOURS, *size, tuple(devices), strokes)


def every_device() -> Plan:
    devices = [
        Device("gate", i, 9, function=function, name=f"s{i}")
        for i, function in enumerate(("AND", "OR", "NAND", "NOR", "XOR", "XNOR"))
    ]
    devices += [Device("toggle", i, 8, bit=i % 2) for i in range(6)]
    devices += [
        Device("strobe", 1, 7),
        Device("pixel", 8, 8, lit=True, signal="a"),
        Device("pixel", 9, 8, lit=False, signal="b"),
        Device("ticker", 8, 1, name="sync", period_s=60, running=True),
        Device("ticker", 8, 3, name="other", period_s=0.5, running=False),
        Device("button", 1, 1, name="reset"),
        Device("switch", 1, 3, name="hold", on=True),
        Device("switch", 1, 5, name="word[0]", on=False),
        Device("delay", 4, 1, to=(6, 1), seconds=2),
        Device("crossover", 4, 4, form="straight"),
    ]
    return plan_of(devices, {0: [(2, 4, 6, 4), (4, 2, 4, 6)], 1: [(2, 4, 6, 4)], 3: [(0, 9, 0, 9)]})


def flat(shapes: tuple[Shape, ...] | list[Shape]) -> list[Shape]:
    found: list[Shape] = []
    for shape in shapes:
        found += flat(shape.shapes) if isinstance(shape, Group) else [shape]
    return found


def texts(scene: Scene) -> list[str]:
    return [shape.text for shape in flat(scene.shapes) if isinstance(shape, Text)]


def test_every_device_is_drawn_with_a_title_and_in_the_legend():
    plan = every_device()
    scene = draw_scene(plan, TARGET)
    titles = [shape.title for shape in scene.shapes if isinstance(shape, Group)]
    assert len(titles) == len(set(titles)) == len(plan.devices)
    assert "gate NAND s2 (2,9)" in titles and "pixel b, dark (9,8)" in titles
    words = texts(scene)
    for sort, number in count_devices(plan).items():
        assert number >= 1 and any(word.startswith(f"{number} x ") for word in words), sort
    for name in ("sync", "other", "reset", "hold", "word[0]"):
        assert name in words
    for colour, number in wire_tile_counts(plan).items():
        assert any(word.startswith(colour) and f"{number} tiles" in word for word in words)


def test_gates_bear_the_qualifying_symbols_of_iec_60617_12():
    # & for AND, =1 for exactly one; 'at least one' is drawn as the sign and a 1; a circle negates the output.
    scene = draw_scene(every_device(), TARGET)
    gates = {s.title.split()[1]: s.shapes for s in scene.shapes if isinstance(s, Group) and "gate" in s.title}
    words = {f: [s.text for s in shapes if isinstance(s, Text)] for f, shapes in gates.items()}
    assert words == {"AND": ["&"], "NAND": ["&"], "OR": ["1"], "NOR": ["1"], "XOR": ["=1"], "XNOR": ["=1"]}
    negated = {f for f, shapes in gates.items() if any(isinstance(s, Disc) for s in shapes)}
    assert negated == {"NAND", "NOR", "XNOR"}


def test_coordinates_stand_on_all_four_sides():
    words = Counter(texts(draw_scene(every_device(), TARGET)))
    assert words["11"] == 2 and words["7"] == 4  # 12 columns and 10 rows: 7 is in both


def test_four_colours_on_one_tile_have_four_lanes_and_four_dashes():
    plan = plan_of([], {i: [(1, 1, 5, 1), (3, 0, 3, 4)] for i in range(4)})
    look = Look(26, colours_of(COLOURS, TARGET))
    lines = [s for s in wire_shapes(plan, look) if isinstance(s, Line)]
    across = [line for line in lines if line.y0 == line.y1]
    down = [line for line in lines if line.x0 == line.x1]
    assert len(across) == len(down) == 4
    for kind, axis in ((across, "y0"), (down, "x0")):
        lanes = sorted(getattr(line, axis) for line in kind)
        assert all(b - a > look.wire * 1.5 for a, b in zip(lanes, lanes[1:], strict=False)), "lanes must be apart"
        assert len({line.dash for line in kind}) == len({line.stroke for line in kind}) == 4
    for line in across:
        assert 26 < line.y0 < 52, "a lane stays in its tile"


def test_runs_join_tiles_whatever_strokes_they_come_from():
    assert list(runs({(0, 0), (1, 0), (2, 0), (2, 1), (5, 5)}, horizontal=True)) == [(0, 0, 2, 0)]
    assert list(runs({(0, 0), (1, 0), (2, 0), (2, 1), (5, 5)}, horizontal=False)) == [(2, 0, 2, 1)]


def test_a_joint_is_marked_and_a_crossover_is_not():
    look = Look(26, colours_of(COLOURS, TARGET))
    cross = {0: [(0, 2, 4, 2), (2, 0, 2, 4)]}
    joined = [s for s in wire_shapes(plan_of([], cross), look) if isinstance(s, Disc)]
    crossover = Device("crossover", 2, 2, form="straight")
    crossing = [s for s in wire_shapes(plan_of([crossover], cross), look) if isinstance(s, Disc)]
    assert len(joined) == 5 and len(crossing) == 4
    assert max(d.radius for d in joined) > max(d.radius for d in crossing)
    bridges = [s for s in wire_shapes(plan_of([crossover], cross), look) if isinstance(s, Line)]
    assert len(bridges) == 3, "the north-south wire passes over a gap"


def test_svg_is_well_formed_self_contained_and_described():
    root = ET.fromstring(draw_svg(every_device(), TARGET))
    assert root.tag == f"{SVG}svg"
    assert root.find(f"{SVG}title") is not None and root.find(f"{SVG}desc") is not None
    allowed = {"svg", "title", "desc", "metadata", "rect", "line", "polyline", "circle", "text", "g"}
    assert {element.tag.removeprefix(SVG) for element in root.iter()} <= allowed
    for element in root.iter():
        assert not any("href" in key or "url(" in value for key, value in element.attrib.items())


def test_names_are_escaped():
    plan = plan_of([Device("button", 1, 1, name="<b>&\"'")], {})
    root = ET.fromstring(draw_svg(plan, TARGET))
    assert any(text.text == "<b>&\"'" for text in root.iter(f"{SVG}text"))
    assert draw_png(plan_of([Device("button", 1, 1, name="Kn\u00f6pfe \u2603")], {}), TARGET)


def test_png_has_the_size_of_the_svg_and_shows_each_wire_in_its_hue():
    plan = plan_of([], {i: [(1, 2 * i + 1, 9, 2 * i + 1)] for i in range(4)})
    scene = draw_scene(plan, TARGET)
    image = Image.open(io.BytesIO(draw_png(plan, TARGET)))
    assert image.size == (scene.width, scene.height)
    seen = {rgb: number for number, rgb in image.getcolors(1 << 20) or ()}
    for colour in TARGET.colours:
        rgb = tuple(int(colour.hue[i : i + 2], 16) for i in (1, 3, 5))
        assert seen[rgb] > 100, colour.name


def test_png_and_svg_put_the_same_thing_at_the_same_place():
    plan = every_device()
    scene = draw_scene(plan, TARGET)
    image = Image.open(io.BytesIO(draw_png(plan, TARGET)))
    lit = next(s for s in scene.shapes if isinstance(s, Group) and s.title.startswith("pixel a"))
    disc = next(s for s in lit.shapes if isinstance(s, Disc))
    point = (round(disc.x + disc.radius * 0.6), round(disc.y))
    assert image.getpixel(point) == tuple(int(hues.PIXEL_LIT[i : i + 2], 16) for i in (1, 3, 5))


def test_lit_and_dark_can_be_told_apart_in_grey():
    # WCAG 2.2, success criterion 1.4.11: 3:1 between states that must be told apart.
    assert contrast(hues.PIXEL_LIT, hues.PIXEL_DARK) >= 3
    assert contrast(hues.INK, hues.PAPER) >= 4.5 and contrast(hues.GREY_TEXT, hues.PAPER) >= 4.5


def test_the_same_plan_gives_the_same_bytes():
    assert draw_svg(every_device(), TARGET) == draw_svg(every_device(), TARGET)
    assert draw_png(every_device(), TARGET) == draw_png(every_device(), TARGET)


def test_a_large_plan_is_drawn_smaller_or_refused():
    big = plan_of([Device("pixel", 5, 5, lit=True, signal="a")], {}, size=(400, 300))
    assert Image.open(io.BytesIO(draw_png(big, TARGET))).size[0] < 400 * 26
    with pytest.raises(InputError) as caught:
        draw_png(plan_of([], {}, size=(10_000, 10_000)), TARGET)
    assert caught.value.code == "C006"
    for tile in (3, 201, float("nan")):
        with pytest.raises(InputError) as caught:
            draw_svg(every_device(), TARGET, tile)
        assert caught.value.code == "C007"


def test_plans_in_other_colours_are_drawn_by_their_names():
    colours = colours_of(("copper", "red", "black", "jade"), TARGET)
    assert [colour.name for colour in colours] == ["copper", "red", "black", "jade"]
    assert len({colour.hue for colour in colours}) == 4
    assert colours[2].hue == "#000000"


def test_dashes_cover_what_svg_would_draw():
    line = Line(0, 0, 10, 0, "#000000", 1, (4, 2))
    assert list(dashes(line)) == [((0, 0), (4, 0)), ((6, 0), (10, 0))]
    assert list(dashes(Line(0, 0, 0, 3, "#000000", 1))) == [((0, 0), (0, 3))]


def test_the_parts_list_counts_every_device_and_wire_tile_once():
    plan = every_device()
    rows = list(csv.DictReader(io.StringIO(parts_csv(plan))))
    devices = sum(int(row["number"]) for row in rows if row["part"] != "wire")
    assert devices == len(plan.devices)
    wires = {row["state"]: int(row["number"]) for row in rows if row["part"] == "wire"}
    assert wires == {"black": 9, "orange": 5, "blue": 0, "violet": 1}
    assert {"part": "toggle", "state": "1", "number": "3"} in rows
    assert {"part": "pixel", "state": "lit", "number": "1"} in rows
