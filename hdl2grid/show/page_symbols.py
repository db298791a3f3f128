"""The symbols of devices for the page, from the same shapes as every other drawing, in hues that a theme can
change."""

from __future__ import annotations

from xml.etree import ElementTree as ET

from hdl2grid.circuit.model import FUNCTIONS
from hdl2grid.plan.model import Device
from hdl2grid.show import look as hues
from hdl2grid.show.devices import device_shape
from hdl2grid.show.look import Look
from hdl2grid.show.scene import Scene
from hdl2grid.show.svg import svg_text

TILE = 24
"""Units to a tile in the page's drawing."""

SAMPLES: dict[str, Device] = {
    **{f"gate-{function}": Device("gate", 0, 0, function=function, name="") for function in FUNCTIONS},
    "toggle-0": Device("toggle", 0, 0, bit=0),
    "toggle-1": Device("toggle", 0, 0, bit=1),
    "strobe": Device("strobe", 0, 0),
    "pixel-lit": Device("pixel", 0, 0, lit=True, signal=""),
    "pixel-dark": Device("pixel", 0, 0, lit=False, signal=""),
    "ticker-running": Device("ticker", 0, 0, name="", period_s=1, running=True),
    "ticker-stopped": Device("ticker", 0, 0, name="", period_s=1, running=False),
    "button": Device("button", 0, 0, name=""),
    "switch-on": Device("switch", 0, 0, name="", on=True),
    "switch-off": Device("switch", 0, 0, name="", on=False),
    "delay": Device("delay", 0, 0, seconds=1),
    "crossover": Device("crossover", 0, 0, form="straight"),
}
"""A device for each symbol that `symbolOf` in page/drawing.js can ask for."""

_VARIABLES = {
    hues.PAPER: "--device",
    hues.INK: "--ink",
    hues.STACK: "--stack",
    hues.OUTLINE: "--outline",
    hues.PIXEL_LIT: "--pixel-lit",
    hues.PIXEL_DARK_CROSS: "--pixel-dark-cross",
}
_OWN = {"pixel-dark": {hues.PIXEL_DARK: "--pixel-dark"}, "pixel-lit": {hues.INK: "--lit-ink"}}


def page_symbols() -> str:
    """SVG groups, one a symbol, with its name as id and its top left at (0, 0)."""
    look = Look(TILE, ())
    return "".join(_symbol(name, device, look) for name, device in SAMPLES.items())


def _symbol(name: str, device: Device, look: Look) -> str:
    scene = Scene(TILE, TILE, "", "", device_shape(device, look).shapes)
    root = ET.fromstring(svg_text(scene))
    group = ET.Element("g", {"id": name})
    variables = {**_VARIABLES, **_OWN.get(name, {})}
    for element in list(root)[4:]:
        for element_part in element.iter():
            element_part.tag = element_part.tag.rpartition("}")[2]
            element_part.tail = None
            for key, value in element_part.attrib.items():
                if value in variables:
                    element_part.set(key, f"var({variables[value]})")
        group.append(element)
    return ET.tostring(group, encoding="unicode")
