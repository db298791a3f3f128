"""How a thing shows itself in a notebook: classes ask here, and `hdl2grid.show.notebook` says what is drawn."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

_RENDERERS: dict[str, Callable[[Any], str | None]] = {}


def register_display(kind: str, render: Callable[[Any], str | None]) -> None:
    """Lets `render` draw things of a kind: "plan" or "machine"."""
    _RENDERERS[kind] = render


def displayed(kind: str, thing: object) -> str | None:
    """What is shown for a thing; None if nobody draws its kind, so that a notebook takes another form."""
    render = _RENDERERS.get(kind)
    return None if render is None else render(thing)
