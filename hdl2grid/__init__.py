"""hdl2grid: from a clock in a hardware description language to a proven plan of wires, gates and lamps."""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from hdl2grid.floorplan import At as At
    from hdl2grid.floorplan import AtEdge as AtEdge
    from hdl2grid.floorplan import BesidePanel as BesidePanel
    from hdl2grid.floorplan import Floorplan as Floorplan
    from hdl2grid.floorplan import FromPanel as FromPanel
    from hdl2grid.floorplan import KeepOut as KeepOut
    from hdl2grid.keep import keep_code as keep_code
    from hdl2grid.machine import Button as Button
    from hdl2grid.machine import Machine as Machine
    from hdl2grid.machine import Switch as Switch
    from hdl2grid.machine import Ticker as Ticker
    from hdl2grid.verify.press import press as press

_FLOORPLAN = ("At", "AtEdge", "BesidePanel", "Floorplan", "FromPanel", "KeepOut")

__all__ = [
    *("At", "AtEdge", "BesidePanel", "Button", "Floorplan", "FromPanel", "KeepOut"),
    *("Machine", "Switch", "Ticker", "keep_code", "press"),
]

__version__ = "0.1.0"

_HOMES = {name: "hdl2grid.machine" for name in ("Button", "Machine", "Switch", "Ticker")}
_HOMES |= {name: "hdl2grid.floorplan" for name in _FLOORPLAN}
_HOMES["keep_code"] = "hdl2grid.keep"
_HOMES["press"] = "hdl2grid.verify.press"


def __getattr__(name: str) -> object:
    """Imports what a design uses when it is first asked for: a plan is played and drawn without Amaranth."""
    if name not in _HOMES:
        raise AttributeError(f"module 'hdl2grid' has no attribute {name!r}")
    value = getattr(importlib.import_module(_HOMES[name]), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *_HOMES})
