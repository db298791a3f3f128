"""Panels: what the pixels of a machine show, and where they stand."""

from hdl2grid.panel.arrange import above, beside, framed, spread
from hdl2grid.panel.dial import dial
from hdl2grid.panel.lamps import bar, lamp, lamps
from hdl2grid.panel.model import PanelPixel
from hdl2grid.panel.panel import Panel
from hdl2grid.panel.segments import colon, leading_one, seven_segment

__all__ = [
    "Panel",
    "PanelPixel",
    "above",
    "bar",
    "beside",
    "colon",
    "dial",
    "framed",
    "lamp",
    "lamps",
    "leading_one",
    "seven_segment",
    "spread",
]
