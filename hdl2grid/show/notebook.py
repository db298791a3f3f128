"""How plans and machines show themselves in a notebook (IPython's `_repr_svg_` and `_repr_html_`)."""

from __future__ import annotations

from typing import TYPE_CHECKING

from markupsafe import Markup

from hdl2grid.base.target import load_target
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show import look as hues
from hdl2grid.show.devices import device_shape
from hdl2grid.show.drawing import draw_svg
from hdl2grid.show.look import Look
from hdl2grid.show.scene import Box, Scene, Shape
from hdl2grid.show.svg import svg_text

if TYPE_CHECKING:
    from hdl2grid.design.machine import Machine
    from hdl2grid.panel import Panel

PANEL_TILE = 16
"""Pixels to a tile of a panel. Guessed."""

MAX_TILES = 40_000
"""Plans of more tiles are told in words, not drawn: the picture would slow the notebook. Guessed."""


def plan_svg(plan: Plan) -> str | None:
    """The drawing of a plan; None, so that a notebook takes another form, where it would be too large."""
    return draw_svg(plan, load_target()) if plan.width * plan.height <= MAX_TILES else None


def machine_html(machine: Machine) -> str:
    """A machine's sources, ports and panel as a fragment of HTML."""
    rows = [("clock domain", domain, _source(source)) for domain, source in machine.clocks.items()]
    rows += [("reset", "reset", _source(machine.reset))] if machine.reset is not None else []
    rows += [("input", name, _source(switch)) for name, switch in machine.inputs.items()]
    rows += [
        ("output", port.name, f"{len(port.bits)} bit{'' if len(port.bits) == 1 else 's'}")
        for port in machine.ports()
        if not port.is_input
    ]
    row = Markup("<tr><td>{}</td><th scope='row'>{}</th><td>{}</td></tr>")
    table = Markup("").join(row.format(*cells) for cells in rows)
    title = machine.name or type(machine.component).__name__
    picture = Markup(panel_svg(machine.panel)) if machine.panel is not None else Markup("")
    return str(Markup("<div><h3>{}</h3><table>{}</table>{}</div>").format(title, table, picture))


def _source(source: object) -> str:
    """A source in words: "ticker, every 60 s"."""
    kind = type(source).__name__.lower()
    seconds = getattr(source, "seconds", None)
    return f"{kind}, every {seconds} s" if seconds is not None else kind


def panel_svg(panel: Panel) -> str:
    """The panel as it will stand, all pixels lit; each names its signal when the pointer rests on it."""
    tile = PANEL_TILE
    look = Look(tile, ())
    shapes: list[Shape] = [
        Box(x0 * tile, y0 * tile, (x1 - x0 + 1) * tile, (y1 - y0 + 1) * tile, hues.BACKDROP)
        for x0, y0, x1, y1 in panel.backdrop
    ]
    shapes += [device_shape(Device("pixel", p.x, p.y, lit=True, signal=p.signal), look) for p in panel.pixels]
    about = f"{len(panel.pixels)} pixels on {panel.width} x {panel.height} tiles"
    return svg_text(Scene(panel.width * tile, panel.height * tile, "panel", about, tuple(shapes)))
