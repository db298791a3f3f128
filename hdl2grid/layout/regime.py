"""What is different in layout between machines of different size, panel and style: one record, made in one place.

Figures of named machines were taken on those of benchmarks/machines.py; docs/layout.md tells more of them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import inf

from hdl2grid.layout.arrays import WORST
from hdl2grid.layout.colouring import ColourParams
from hdl2grid.layout.effort import COMPACT, EFFORTS, OF_BROAD, Effort
from hdl2grid.layout.panel_exits import find_exits
from hdl2grid.layout.placement import PlaceParams
from hdl2grid.layout.routing import RouteParams
from hdl2grid.nets.lanes import ROOMY, narrowest
from hdl2grid.nets.model import Netlist, Site

LARGE = 60
"""Cells: a machine with more is large, its nets have a long way round its panel. Guessed."""
BROAD = 250
"""Cells: of a machine with more, one layout takes minutes, so little is searched once it has one. Guessed."""
FUTILE = 30
"""Nets: a panel overfull by more is narrow; no plan of such a machine is known. Measured: `calendar_400_1` at 26 has
one after a change of its circuit, `clocks_400_1` at 113 has none."""

NEARLY = 8
"""Conflicts up to which a placement is repaired before another is made. Guessed: mostly windows and repair end them."""


@dataclass(frozen=True)
class Regime:
    """How one machine is laid out. The defaults are those of a small machine in compact style."""

    efforts: Mapping[str, Effort]  # budgets by the name of the effort
    is_tidy: bool = False  # the style: blocks together, signals downward, rows are kept when a line comes or goes

    # Mechanisms on top of plain place, route and repair. benchmarks/ablation_layout.py drops each in turn.
    matched_blocks: bool = False  # repeated blocks are found, their cells placed as translates of each other (units)
    matched_routing: bool = True  # nets of repeated blocks are laid alike, too
    panel_exits: bool = False  # the panel's nets are led out first, and cells placed as if they ended there
    windows: bool = False  # repair takes turns with windows around a conflict in which all is routed anew
    dense_placement: bool = True  # where limits are tight, a layout beyond them is annealed onto the grid wanted
    line_sieve: bool = True  # where the effort has one, lines to cut are found by a sieve

    # The panel
    excess: int = 0  # nets by which the lanes of a large machine's panel are overfull, whatever its layout
    is_open: bool = False  # cells may stand between the panel's pixels
    panel_in_middle: bool = False  # the panel begins in the middle, for its wires come from all sides

    # Sizes of the grid
    first_step: int = 0  # place in `sizes.STEPS` where a grid without limits begins
    one_size: bool = False  # one size of a grid without limits is tried, and repaired only if few conflicts are left

    # Placements at one size. Gaps of `places` are set by each size.
    places: PlaceParams = PlaceParams()
    places_again: PlaceParams = PlaceParams()  # after a size has failed
    least_matched: int = 24  # placements made at least where blocks are matched: a good one is rarer. Guessed
    packings: int = 1_000  # placements tried until one packs. Guessed: no limit, for packing takes no time
    enough: int = 2  # conflicts with which no other placement is made. Guessed: repair mends them nearly always
    enough_matched: int = 2  # the same where blocks are matched
    worth: int = 30  # conflicts that are worth a repair where a larger grid may be tried
    hopeless: float = inf  # conflicts of one placement with which the grid is given up, and the next size, too
    colours: ColourParams = ColourParams()

    # Routes
    routes: RouteParams = RouteParams()  # of all nets, on a fresh placement
    mending: RouteParams = RouteParams(rounds=12, stall=5)  # of nets that a new line has upset. Guessed: few are
    max_history: float = WORST  # greatest history of a tile, in tiles of wire
    reroutes: int = 0  # times that what is left in conflict is routed again, with no memory of earlier conflicts
    again: RouteParams = RouteParams()  # how that is routed

    # Repair
    settles: int = 0  # turns of windows and repair, at most, for a placement with few conflicts
    chunk: int | None = None  # tries until repair begins anew from the best state, hot, without memory; None: one run


def regime_of(netlist: Netlist, style: str, large: int = LARGE, excess: int | None = None) -> Regime:
    """The regime of a machine in a style; it is large with more than `large` cells. Its panel is overfull by `excess`
    nets, which are counted if that is None."""
    is_tidy = style == "tidy"
    worth = max(30, len(netlist.signals) // 4)  # 30, or one conflict for four signals. Guessed
    rows = PlaceParams(is_tidy=True, flow=0.1, together=1.0)  # prices in tiles of wire. Guessed
    small = Regime(
        efforts=EFFORTS if is_tidy else COMPACT,
        is_tidy=is_tidy,
        matched_blocks=is_tidy,
        places=rows if is_tidy else PlaceParams(),
        places_again=rows if is_tidy else PlaceParams(),
        worth=worth,
    )
    if len(netlist.cells) <= large:
        return small
    excess = find_exits(netlist).excess if excess is None else excess
    is_narrow, is_broad, has_room = excess > FUTILE, len(netlist.cells) > BROAD, panel_has_room(netlist)
    worth = NEARLY if is_narrow else worth
    free = PlaceParams(hot=50.0)  # guessed: four times a small machine's, for cells have further to go
    # Measured on calendar_400_1: where chance had to find a row, 84 conflicts were left; with three times the moves and
    # steps from row to row, 5 to 16. With its narrow panel and that many cells it has no rows: in them one conflict was
    # left after nine minutes, without them it was legal in half a minute.
    in_rows = is_tidy and (has_room or not is_broad)
    return replace(
        small,
        efforts=OF_BROAD if is_broad else small.efforts,
        panel_exits=True,  # measured: calendar_400_1 is routed with 3 to 11 conflicts, without with 11 to 17
        windows=True,  # measured: its last 3 or 4 conflicts ended after 95 to 260 windows
        excess=excess,
        is_open=netlist.panel is not None and netlist.site == Site() and has_room,  # else its lanes are its wires'
        panel_in_middle=True,
        first_step=4 + is_tidy if is_broad else 0,  # measured on calendar_400_1: conflicts stay on smaller sizes
        one_size=is_narrow,
        places=replace(rows, hot=free.hot, snap=True, moves_per_cell=60_000) if in_rows else free,
        places_again=free,
        packings=2,  # guessed: a packing takes seconds
        enough=0,  # guessed: a placement with up to NEARLY conflicts has been repaired before another is made
        enough_matched=5,  # guessed: placements with matched blocks take longer
        worth=worth,
        hopeless=1.5 * worth,  # guessed
        colours=ColourParams(clash=300.0),  # guessed: five times a small machine's, for clashes left are many
        # Measured on calendar_400_1: 22 to 32 conflicts were left; with a growth of 1.1 it was 37 to 43. Searching 200
        # tiles around a net's box took 1.8 times as long as 30 and ended alike. The others are guessed.
        routes=RouteParams(growth=1.05, most=60.0, raise_by=2.0, slack=30, recolour=5, rounds=150, stall=40),
        mending=RouteParams(present=3.0, slack=20, recolour=1),  # guessed: few are in conflict, rounds take no time
        max_history=60.0,  # guessed: it must outweigh the way round a whole panel
        reroutes=12,  # guessed
        # Guessed: without memory tiles that have become too dear for all are free again.
        again=RouteParams(present=2.0, growth=1.05, most=60.0, raise_by=3.0, slack=20, recolour=1, rounds=60, stall=30),
        settles=3,  # guessed
        chunk=500,  # guessed
    )


def panel_has_room(netlist: Netlist) -> bool:
    """Whether between the pixels of the panel there is more room than the nets of its inner ones need."""
    narrow = narrowest(netlist)
    return narrow is None or narrow.share <= ROOMY
