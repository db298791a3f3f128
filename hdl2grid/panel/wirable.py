"""Whether a panel can be wired as it is drawn."""

from __future__ import annotations

from hdl2grid.panel.panel import Panel


def check_wirable(panel: Panel) -> None:
    """Not yet."""
