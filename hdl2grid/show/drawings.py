"""Every kind of drawing by its name, ready to be rendered as SVG, PNG or PDF."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from hdl2grid.base.errors import InputError
from hdl2grid.base.target import Target
from hdl2grid.circuit.model import Circuit, Origin
from hdl2grid.plan.model import Plan
from hdl2grid.show import pdf, sheets
from hdl2grid.show.drawing import draw_png, draw_scene
from hdl2grid.show.look import DEFAULT_TILE
from hdl2grid.show.png import MAX_PIXELS, png_bytes
from hdl2grid.show.scene import Scene
from hdl2grid.show.schematic import schematic_scene
from hdl2grid.show.states import states_scene
from hdl2grid.show.svg import svg_text
from hdl2grid.show.timing import timing_scene
from hdl2grid.sim.pulse_network import network_from_plan

KINDS = ("plan", "colours", "sheets", "circuit", "states", "timing")
FORMATS = (".svg", ".png", ".pdf")


@dataclass(frozen=True)
class DrawingOptions:
    """What the kinds of drawing can be told: pixels to a tile of the plan and of single colours (None: normal),
    the paper and millimetres to a tile of sheets (None: as large as fits), the events of a timing chart, and
    where the circuit's stacks come from."""

    tile: float | None = None
    paper: str = "a4"
    tile_mm: float | None = None
    events: Sequence[str] = ()
    circuit: Circuit | None = None


@dataclass(frozen=True)
class Drawing:
    """One drawing: what its file is called beside plan.json (plan-NAME.svg; "" is the plan's own), and its pages."""

    name: str
    pages: tuple[Scene, ...]
    points_a_pixel: float = pdf.POINTS_A_PIXEL


def drawings_of(kind: str, plan: Plan, target: Target, options: DrawingOptions | None = None) -> tuple[Drawing, ...]:
    """The drawings of a kind (see KINDS), of which `colours` has one for each colour.

    Raises InputError as the kind's own function does (C007, V001, W002, W004, W005).
    """
    chosen = options or DrawingOptions()
    tile = chosen.tile or DEFAULT_TILE
    if kind == "plan":
        return (Drawing("", (draw_scene(plan, target, tile),)),)
    if kind == "colours":
        return tuple(
            Drawing(name, (draw_scene(one_colour(plan, colour), target, tile),))
            for colour, name in zip(plan.colours, _file_names(plan.colours), strict=True)
        )
    if kind == "sheets":
        pages = sheets.sheet_scenes(plan, target, chosen.paper, chosen.tile_mm)
        return (Drawing("sheets", pages, sheets.POINTS_A_PIXEL),)
    network = network_from_plan(plan)
    if kind == "circuit":
        return (Drawing(kind, (schematic_scene(network, _origins(chosen.circuit)),)),)
    if kind == "states":
        return (Drawing(kind, (states_scene(network),)),)
    return (Drawing("timing", (timing_scene(network, chosen.events),)),)


def render(drawing: Drawing, suffix: str) -> str | bytes:
    """A drawing as .svg or .png (of one page) or .pdf. Raises InputError: C006 for a PNG of more than 40
    megapixels, W006 for a drawing of several pages that is not to be a PDF."""
    if suffix == ".pdf":
        return pdf.pdf_bytes(drawing.pages, drawing.points_a_pixel)
    if len(drawing.pages) > 1:
        what = f"'{drawing.name}' has {len(drawing.pages)} pages, and {suffix} files have one"
        raise InputError("W006", what, hint="Let the file's name end in .pdf.")
    scene = drawing.pages[0]
    if suffix == ".svg":
        return svg_text(scene)
    if scene.width * scene.height > MAX_PIXELS:
        what = f"a PNG of {scene.width} x {scene.height} pixels would be too large"
        raise InputError("C006", what, hint="Draw it as SVG or PDF.")
    return png_bytes(scene)


def render_plan(plan: Plan, target: Target, suffix: str, tile: float | None = None) -> str | bytes:
    """The drawing of the whole plan; as a PNG smaller where it must be. Raises InputError (C006, C007)."""
    if suffix == ".png":
        return draw_png(plan, target, tile)
    return render(drawings_of("plan", plan, target, DrawingOptions(tile))[0], suffix)


def further_files(
    plan: Plan, target: Target, circuit: Circuit | None = None, events: Sequence[str] = ()
) -> dict[str, str | bytes]:
    """The drawings beside the plan's own that suit it, by file name: the circuit, the sheets, the timing chart
    where there are `events` (of the design's check), and the state diagram where it is small enough."""
    options = DrawingOptions(circuit=circuit, events=events)
    files: dict[str, str | bytes] = {}
    for kind, suffix in (("circuit", ".svg"), ("sheets", ".pdf"), ("states", ".svg"), ("timing", ".svg")):
        with contextlib.suppress(InputError):
            for drawing in drawings_of(kind, plan, target, options):
                files[f"plan-{drawing.name}{suffix}"] = render(drawing, suffix)
    return files


def one_colour(plan: Plan, colour: str) -> Plan:
    """The plan with the wires of one colour only; its name says so."""
    pairs = zip(plan.colours, plan.wires, strict=True)
    wires = tuple(strokes if name == colour else () for name, strokes in pairs)
    return replace(plan, name=f"{plan.name}, {colour} only", wires=wires)


def _file_names(colours: Sequence[str]) -> list[str]:
    """For each colour a name that can be part of a file's: numbered where it would not be its own."""
    plain = [re.sub(r"[^\w-]+", "_", colour) for colour in colours]
    return [name if plain.count(name) == 1 and name not in KINDS else f"{name}_{i + 1}" for i, name in enumerate(plain)]


def _origins(circuit: Circuit | None) -> Mapping[str, Origin]:
    if circuit is None:
        return {}
    return {stack.name: origin for stack, origin in zip(circuit.stacks, circuit.origin, strict=True)}
