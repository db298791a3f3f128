"""hdl2grid: from a clock in a hardware description language to a proven plan of wires, gates and lamps."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

from hdl2grid.show.notebook_display import register

if TYPE_CHECKING:
    from hdl2grid.design.floorplan import At as At
    from hdl2grid.design.floorplan import AtEdge as AtEdge
    from hdl2grid.design.floorplan import BesidePanel as BesidePanel
    from hdl2grid.design.floorplan import Floorplan as Floorplan
    from hdl2grid.design.floorplan import FromPanel as FromPanel
    from hdl2grid.design.floorplan import KeepOut as KeepOut
    from hdl2grid.design.keep import keep_code as keep_code
    from hdl2grid.design.machine import Button as Button
    from hdl2grid.design.machine import Machine as Machine
    from hdl2grid.design.machine import Switch as Switch
    from hdl2grid.design.machine import Ticker as Ticker
    from hdl2grid.design.press import press as press

_FLOORPLAN = ("At", "AtEdge", "BesidePanel", "Floorplan", "FromPanel", "KeepOut")

__all__ = [
    *("At", "AtEdge", "BesidePanel", "Button", "Floorplan", "FromPanel", "KeepOut"),
    *("Machine", "Switch", "Ticker", "keep_code", "press"),
]

__version__ = "0.1.0"

register()

_HOMES = {name: "hdl2grid.design.machine" for name in ("Button", "Machine", "Switch", "Ticker")}
_HOMES |= {name: "hdl2grid.design.floorplan" for name in _FLOORPLAN}
_HOMES["keep_code"] = "hdl2grid.design.keep"
_HOMES["press"] = "hdl2grid.design.press"


def __getattr__(name: str) -> object:
    """Imports what a design uses when it is first asked for: a plan is played and drawn without Amaranth."""
    if name not in _HOMES:
        raise AttributeError(f"module 'hdl2grid' has no attribute {name!r}")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
