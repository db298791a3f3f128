"""Putting panels together: side by side, one above the other, framed, spread."""

from __future__ import annotations

from hdl2grid.base.errors import InputError, SourceLine, nearest
from hdl2grid.base.sources import short
from hdl2grid.base.userline import user_line
from hdl2grid.panel.model import PanelPixel
from hdl2grid.panel.panel import Panel, check_whole, spread_layout

# Halves of the free space that lie before a panel.
_ALIGN_Y = {"top": 0, "middle": 1, "bottom": 2}
_ALIGN_X = {"left": 0, "middle": 1, "right": 2}  # likewise


def beside(*panels: Panel, gap: int = 2, align: str = "top") -> Panel:
    """The panels from left to right, `gap` free columns between, aligned "top", "middle" or "bottom"."""
    where = user_line()
    _check(panels, gap, align, _ALIGN_Y, where)
    height = max(panel.height for panel in panels)
    placed, x = [], 0
    for panel in panels:
        placed.append((panel, x, (height - panel.height) * _ALIGN_Y[align] // 2))
        x += panel.width + gap
    return _joined(placed, x - gap, height, where)


def above(*panels: Panel, gap: int = 2, align: str = "left") -> Panel:
    """The panels from top to bottom, `gap` free rows between, aligned "left", "middle" or "right"."""
    where = user_line()
    _check(panels, gap, align, _ALIGN_X, where)
    width = max(panel.width for panel in panels)
    placed, y = [], 0
    for panel in panels:
        placed.append((panel, (width - panel.width) * _ALIGN_X[align] // 2, y))
        y += panel.height + gap
    return _joined(placed, width, y - gap, where)


def framed(panel: Panel, margin: int = 1, backdrop: bool = True) -> Panel:
    """The panel with `margin` free tiles on each side, and a decorative backdrop behind it all unless
    `backdrop=False`. Wires may run through the margin and under the backdrop."""
    where = user_line()
    _check((panel,), margin, "top", _ALIGN_Y, where)
    width, height = panel.width + 2 * margin, panel.height + 2 * margin
    inner = _joined([(panel, margin, margin)], width, height, where)
    ground = ((0, 0, width - 1, height - 1),) if backdrop else ()
    return Panel(width, height, inner.pixels, ground + inner.backdrop, where)


def spread(panel: Panel, pitch: int) -> Panel:
    """The panel with its pixels `pitch` tiles apart, for panels too dense to be wired."""
    where = user_line()
    check_whole("a pitch", pitch, 1, 1000, where)
    layout = spread_layout(panel.layout(), pitch)
    return Panel(layout.width, layout.height, layout.pixels, layout.backdrop, panel.source or where)


def _joined(placed: list[tuple[Panel, int, int]], width: int, height: int, where: SourceLine | None) -> Panel:
    pixels = tuple(PanelPixel(p.x + dx, p.y + dy, p.signal) for panel, dx, dy in placed for p in panel.pixels)
    backdrop = tuple(
        (x0 + dx, y0 + dy, x1 + dx, y1 + dy) for panel, dx, dy in placed for x0, y0, x1, y1 in panel.backdrop
    )
    return Panel(width, height, pixels, backdrop, where)


def _check(
    panels: tuple[object, ...], gap: object, align: object, known: dict[str, int], where: SourceLine | None
) -> None:
    if not panels:
        raise InputError("M034", "there is no panel to arrange", where=where)
    for panel in panels:
        if not isinstance(panel, Panel):
            raise InputError(
                "M034",
                f"panels are arranged, not {short(panel)}",
                where=where,
                hint='Give them one by one: beside(seven_segment("tens"), seven_segment("ones")).',
            )
    check_whole("a gap", gap, 0, 1000, where)
    if align not in known:
        raise InputError("M034", f"align= is {short(align)}", where=where, hint=nearest(str(align), known))
