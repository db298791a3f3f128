"""Forming nets: cells, signals and sinks of hand-made circuits; toggles that are too many for four colours."""

from __future__ import annotations

from dataclasses import replace

from hdl2grid.circuit.model import Circuit, Origin, Pixel, Source, Stack, Toggle
from hdl2grid.nets.form import CROWDED, CROWDED_TERMS, form_nets, pixel_terms, pixels_touch, spread_toggles
from hdl2grid.nets.partition import MAX_NETS
from hdl2grid.panel.model import PanelLayout, PanelPixel

SYNC = Source("ticker", "sync", period_s=1, running=True)
RESET = Source("button", "reset")


def register(name: str, *drivers: str) -> tuple[Stack, Stack]:
    atom = (name, f"{name}.reset")
    own = Stack(name, "AND", (Toggle(0, tuple(sorted(drivers or atom))),), ("sync",))
    return own, Stack(f"{name}.reset", "AND", (Toggle(0, atom),), ("reset",))


def circuit(*stacks: Stack, pixels: tuple[Pixel, ...] = ()) -> Circuit:
    return Circuit("hand", (SYNC, RESET), stacks, pixels, tuple(Origin("b", s.name) for s in stacks))


def test_a_register_and_its_reset_are_one_cell_and_one_signal() -> None:
    netlist = form_nets(circuit(*register("q"), pixels=(Pixel("o", False, ("q", "q.reset")),)), None)
    assert [(c.kind, c.width, c.height) for c in netlist.cells if c.kind == "register"] == [("register", 2, 3)]
    assert {s.drivers for s in netlist.signals} == {("q", "q.reset"), ("sync",), ("reset",)}


def test_an_output_that_no_panel_shows_gets_a_pixel_of_its_own() -> None:
    netlist = form_nets(circuit(*register("q"), pixels=(Pixel("o", True, ("q", "q.reset")),)), None)
    assert [c.name for c in netlist.cells if c.kind == "pixel"] == ["o"]


def test_touching_pixels_of_one_bit_are_one_sink() -> None:
    panel = PanelLayout(4, 1, tuple(PanelPixel(x, 0, "o") for x in (0, 1, 3)))
    made = form_nets(circuit(*register("q"), pixels=(Pixel("o", True, ("q", "q.reset")),)), panel)
    shown = [sink for sink in made.sinks if made.tiles[sink.tiles[0]].device.kind == "pixel"]
    assert sorted(len(sink.tiles) for sink in shown) == [1, 2]


def test_a_ticker_never_shares_a_net() -> None:
    both = Stack("g", "AND", (Toggle(0, ("q", "q.reset", "sync")),), None)
    lone = Stack("q", "AND", (Toggle(0, ("g",)),), ("sync",))
    made = form_nets(circuit(lone, both), None)
    assert ("sync",) in {s.drivers for s in made.signals}


def crowded() -> Circuit:
    names = [f"r{i}" for i in range(6)]
    stacks = [s for name in names for s in register(name)]
    stacks += [Stack(f"read{i}", "AND", (Toggle(0, (n, f"{n}.reset")),), None) for i, n in enumerate(names)]
    wide = [tuple(sorted(d for n in three for d in (n, f"{n}.reset"))) for three in (names[:3], names[3:])]
    return circuit(*stacks, Stack("x", "NAND", (Toggle(1, wide[0]), Toggle(1, wide[1])), None))


def test_crowded_toggles_get_an_idle_one_between_them() -> None:
    spread = next(s for s in spread_toggles(crowded()).stacks if s.name == "x")
    assert [len(t.drivers) for t in spread.toggles] == [6, 0, 6]
    assert spread.toggles[1].bit == 1, "a 1 leaves NAND as it is"
    made = form_nets(spread_toggles(crowded()), None)
    assert next(c for c in made.cells if c.name == "x").exchangeable == ()


def test_toggles_with_room_stay_as_they_are() -> None:
    plain = circuit(*register("q"), Stack("x", "AND", (Toggle(0, ("q", "q.reset")), Toggle(1, ("q", "q.reset"))), None))
    assert spread_toggles(plain) == plain
    assert MAX_NETS == 4


def test_pixels_of_a_crowded_panel_gather_fewer_signals() -> None:
    lone = PanelLayout(2 * CROWDED, 1, tuple(PanelPixel(2 * i, 0, f"a[{i}]") for i in range(CROWDED)))
    wide = replace(lone, pixels=(*lone.pixels, PanelPixel(0, 2, "b")))
    same = replace(lone, pixels=(*lone.pixels, PanelPixel(0, 2, "a[0]")))
    assert pixel_terms(None, 3) == pixel_terms(lone, 3) == pixel_terms(same, 3) == 3
    assert pixel_terms(wide, 3) == CROWDED_TERMS
    assert pixel_terms(wide, 1) == 1


def test_pixels_touch_only_where_bits_differ() -> None:
    assert not pixels_touch(None)
    assert not pixels_touch(PanelLayout(2, 1, (PanelPixel(0, 0, "a"), PanelPixel(1, 0, "a"))))
    assert pixels_touch(PanelLayout(2, 1, (PanelPixel(0, 0, "a"), PanelPixel(1, 0, "b"))))
    assert not pixels_touch(PanelLayout(2, 2, (PanelPixel(0, 0, "a"), PanelPixel(1, 1, "b"))))
