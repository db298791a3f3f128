"""How many nets have to come in between the pixels of a panel, and how many fit."""

from __future__ import annotations

import pytest

from hdl2grid.layout.regime import panel_has_room
from hdl2grid.nets.lanes import NO_SIDE, Narrow, narrowest
from hdl2grid.nets.model import Cell, CellTile, Netlist, Signal, Sink
from hdl2grid.plan.model import Device


def panel_of_dots(side: int, pitch: int) -> Netlist:
    """`side` x `side` lone pixels, `pitch` tiles from each to the next, each with a signal of its own."""
    places = [(pitch * x, pitch * y) for y in range(side) for x in range(side)]
    size = pitch * (side - 1) + 1
    count = len(places)
    tiles = [CellTile(0, x, y, Device("pixel", 0, 0, lit=False, signal=f"s{i}")) for i, (x, y) in enumerate(places)]
    tiles += [CellTile(1 + i, 0, 0, Device("gate", 0, 0, name=f"g{i}", function="AND")) for i in range(count)]
    cells = [Cell("panel", "panel", size, size, tuple(range(count)), False, ())]
    cells += [Cell(f"g{i}", "stack", 1, 1, (count + i,), False, ()) for i in range(count)]
    signals = tuple(Signal((f"g{i}",), (count + i,)) for i in range(count))
    sinks = tuple(Sink((i,), (i,)) for i in range(count))
    return Netlist(tuple(cells), tuple(tiles), signals, sinks)


def test_dots_two_tiles_apart() -> None:
    """Between rows of pixels two tiles apart runs one free row: four nets, one a colour. By hand: into the square of
    k x k inner pixels come k * k nets, over 4 * (k + 1) such rows if its lines run just outside of them."""
    narrow = narrowest(panel_of_dots(12, 2))
    assert narrow is not None
    assert narrow.nets <= 144 and narrow.fit < NO_SIDE
    wide = narrow.right - narrow.left + 1
    high = narrow.bottom - narrow.top + 1
    assert narrow.nets <= ((wide + 1) // 2 + 1) * ((high + 1) // 2 + 1)
    assert narrow.share == narrow.nets / narrow.fit


def test_more_room_between_makes_it_less_narrow() -> None:
    shares = [narrowest(panel_of_dots(14, pitch)) for pitch in (2, 3, 5)]
    assert all(one is not None for one in shares)
    first, second, third = (one.share for one in shares if one is not None)
    assert first >= second > third


def test_what_is_lacking_is_enough() -> None:
    """A panel whose lanes are wider by what was said to be lacking has no narrow place of that kind any more."""
    narrow = narrowest(panel_of_dots(24, 2))
    assert narrow is not None and narrow.lacking > 0
    assert "further apart" in narrow.told()
    assert not panel_has_room(panel_of_dots(24, 2))
    wider = narrowest(panel_of_dots(24, 2 + narrow.lacking))
    assert wider is not None
    assert wider.lacking == 0


def test_without_a_panel_nothing_is_narrow() -> None:
    tiles = (CellTile(0, 0, 0, Device("gate", 0, 0, name="g", function="AND")),)
    netlist = Netlist((Cell("g", "stack", 1, 1, (0,), False, ()),), tiles, (Signal(("g",), (0,)),), ())
    assert narrowest(netlist) is None
    assert panel_has_room(netlist)


def test_a_single_pixel_is_reached_from_outside() -> None:
    assert narrowest(panel_of_dots(1, 2)) is None


@pytest.mark.parametrize(("lacking", "told"), [(0, "fit at most"), (1, "1 column and row further"), (3, "3 columns")])
def test_told(lacking: int, told: str) -> None:
    assert told in Narrow(1, 2, 3, 4, 20, 24, lacking).told()
