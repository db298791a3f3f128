"""Drawings beside the plan's own: PDF, single colours, sheets, the terminal, circuit, states, timing, notebooks."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import combinations
from xml.etree import ElementTree as ET

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from pypdf import PdfReader
from support.browser import big_plan
from support.made_plans import plan_named
from support.plans import PAIRS, blinker_plan, counter_circuit, counter_plan, divider_plan
from support.random_plans import random_vector

from hdl2grid.base.errors import InputError
from hdl2grid.base.target import load_target
from hdl2grid.cli import main
from hdl2grid.design.load import load_machine
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Device, Plan
from hdl2grid.show.circuit_parts import circuit_parts
from hdl2grid.show.clip import clipped
from hdl2grid.show.drawing import draw_scene
from hdl2grid.show.drawings import DrawingOptions, drawings_of, further_files, one_colour, render
from hdl2grid.show.parts_list import stroke_tiles, wire_tile_counts
from hdl2grid.show.pdf import pdf_bytes
from hdl2grid.show.scene import Box, Disc, Group, Line, Scene, Shape, Text
from hdl2grid.show.schematic import schematic_scene
from hdl2grid.show.schematic_layout import lay_out_parts
from hdl2grid.show.sheets import OVERLAP, PAPERS, POINTS_A_PIXEL, cut_plan, sheet_letter, sheet_scenes
from hdl2grid.show.state_space import state_space
from hdl2grid.show.states import states_scene
from hdl2grid.show.text_drawing import plan_text
from hdl2grid.show.timing import timing_rows, timing_scene
from hdl2grid.sim.player import Player
from hdl2grid.sim.pulse_network import network_from_circuit, network_from_plan
from hdl2grid.sim.waves import PlainEngine, Round, gate_output
from hdl2grid.verify.design_checks import run_checks

pytestmark = pytest.mark.filterwarnings("ignore::amaranth.hdl.UnusedElaboratable")

TARGET = load_target()


def flat(shapes) -> list[Shape]:
    found: list[Shape] = []
    for shape in shapes:
        found += flat(shape.shapes) if isinstance(shape, Group) else [shape]
    return found


def words_of(scene: Scene) -> list[str]:
    return [shape.text for shape in flat(scene.shapes) if isinstance(shape, Text)]


# PDF


def test_a_pdf_is_read_by_another_program_and_says_what_the_drawing_says():
    # pypdf shares no code with ReportLab, which writes it.
    scene = draw_scene(counter_plan(), TARGET)
    made = pdf_bytes([scene, scene])
    reader = PdfReader(io.BytesIO(made))
    page = reader.pages[1]
    assert len(reader.pages) == 2
    assert [round(float(side)) for side in page.mediabox[2:]] == [round(scene.width * 0.75), round(scene.height * 0.75)]
    text = page.extract_text()
    assert "counter: plan of 10 x 9 tiles" in text and "orange (OG)" in text
    assert reader.metadata.title == scene.title and reader.metadata.creator == "hdl2grid"
    assert made == pdf_bytes([scene, scene]), "the same bytes"
    assert b"hdl2grid drawing" in made[:200], "so that the tool knows its own"


def test_a_pdf_stands_letters_in_for_those_that_its_font_lacks():
    scene = Scene(100, 50, "t", "d", (Text(5, 20, "Knöpfe é \u2603 \u01c4", 10, "#000000", halo="#FFFFFF"),))
    text = PdfReader(io.BytesIO(pdf_bytes([scene]))).pages[0].extract_text()
    assert "Knöpfe é ?" in text


# Parts of drawings


def test_clipping_cuts_lines_and_boxes_and_keeps_the_rest_whole():
    shapes = [
        Line(0, 5, 20, 5, "#000000", 1),
        Line(3, 12, 3, 30, "#000000", 1),
        Box(8, 8, 10, 10, "#FFFFFF"),
        Disc(11, 5, 3, None),
        Disc(9, 5, 3, None),
        Group("g", (Box(30, 30, 2, 2, None),)),
    ]
    found = clipped(shapes, (0, 0, 10, 10))
    assert found == [replace(shapes[0], x1=10), replace(shapes[2], width=2, height=2), shapes[4]]


def test_a_drawing_of_one_colour_has_that_colour_only():
    plan = counter_plan()
    drawings = drawings_of("colours", plan, TARGET)
    assert [drawing.name for drawing in drawings] == list(plan.colours)
    counts = wire_tile_counts(one_colour(plan, "blue"))
    assert counts["blue"] == wire_tile_counts(plan)["blue"] and sum(counts.values()) == counts["blue"]
    wild = replace(plan, colours=("a/b", "a?b", "plan", "violet"))
    names = [drawing.name for drawing in drawings_of("colours", wild, TARGET)]
    assert len(set(names)) == 4 and all("/" not in name for name in names)


# Sheets


@settings(derandomize=True, max_examples=60, deadline=None)
@given(st.integers(1, 300), st.integers(1, 300), st.sampled_from(sorted(PAPERS)), st.sampled_from([None, 5.0, 7.5]))
def test_sheets_cover_every_tile_and_overlap_by_two(width, height, paper, tile_mm):
    cutting = cut_plan(replace(counter_plan(), width=width, height=height), paper, tile_mm)
    covered = {(x, y) for s in cutting.sheets for x in (s.x0, s.x1) for y in (s.y0, s.y1)}
    assert (0, 0) in covered and (width - 1, height - 1) in covered
    by_place = {(s.column, s.row): s for s in cutting.sheets}
    for sheet in cutting.sheets:
        right, below = by_place.get((sheet.column + 1, sheet.row)), by_place.get((sheet.column, sheet.row + 1))
        assert right is None or sheet.x1 - right.x0 + 1 == OVERLAP
        assert below is None or sheet.y1 - below.y0 + 1 == OVERLAP
    short, long = PAPERS[paper]
    paper_size = (long, short) if cutting.lying else (short, long)
    for sheet in cutting.sheets:
        for count, room in ((sheet.x1 - sheet.x0 + 1, paper_size[0]), (sheet.y1 - sheet.y0 + 1, paper_size[1])):
            assert count * cutting.tile_mm <= room, "it fits the paper"
    assert cutting.tile_mm >= 5


def test_sheets_have_letters_neighbours_and_a_key_map():
    plan = big_plan()
    pages = sheet_scenes(plan, TARGET, "a4", 9.0)
    cutting = cut_plan(plan, "a4", 9.0)
    assert len(pages) == 1 + len(cutting.sheets) >= 5
    letters = [sheet.letter for sheet in cutting.sheets]
    assert set(letters) <= set(words_of(pages[0])), "the key map names every sheet"
    first = words_of(pages[1])
    assert any(f"sheet A of {len(letters)}" in word for word in first)
    assert "B" in first, "the neighbour's letter stands at the edge"
    made = PdfReader(io.BytesIO(pdf_bytes(pages, POINTS_A_PIXEL)))
    sides = sorted(round(float(side) / 72 * 25.4) for side in made.pages[0].mediabox[2:])
    assert sides == [210, 297], "A4 after ISO 216"


def test_sheets_show_each_device_on_at_least_one():
    plan = counter_plan()
    titles = {
        s.title for page in sheet_scenes(plan, TARGET, "a4", 20.0)[1:] for s in page.shapes if isinstance(s, Group)
    }
    assert len(titles) == len(plan.devices)


def test_sheet_letters_go_on_after_z():
    assert [sheet_letter(i) for i in (0, 25, 26, 27, 701, 702)] == ["A", "Z", "AA", "AB", "ZZ", "AAA"]


@pytest.mark.parametrize("options", [{"paper": "a9"}, {"tile_mm": 4.0}, {"tile_mm": 21.0}])
def test_sheets_that_cannot_be_are_refused(options):
    with pytest.raises(InputError) as caught:
        cut_plan(counter_plan(), **options)
    assert caught.value.code == "W002"


# The terminal


def test_the_terminal_drawing_of_a_divider_as_a_person_reads_it():
    wanted = (
        "  0         5\n"
        "0     >\n"
        "1 @━━━0\n"
        "2     &─────.\n"
        "\n"
        "Devices: & gate AND, 0 toggle 0, > strobe, . pixel dark, @ ticker\n"
        "Wires: ━━━ black, ─── orange, 2 3 4 wires of that many colours\n"
        "Sources: @ (0,1) sync\n"
    )
    assert plan_text(divider_plan()) == wanted


def test_the_terminal_drawing_can_show_one_colour_in_ascii():
    text = plan_text(counter_plan(), only="orange", ascii_only=True)
    assert text.isascii() and "Wires: --- orange\n" in text
    rows = text.splitlines()[1:10]
    for y, row in enumerate(rows):
        for x in range(10):
            tile = (row[2:].ljust(20))[2 * x]
            devices = {(d.x, d.y) for d in counter_plan().devices}
            if (x, y) not in devices:
                assert (tile in "-|+") == ((x, y) in stroke_tiles(counter_plan().wires[1])), (x, y)


def test_the_terminal_drawing_colours_wires_only_when_asked():
    assert "\x1b[" in plan_text(counter_plan(), ansi=True) and "\x1b" not in plan_text(counter_plan())


@pytest.mark.parametrize(
    "plan, options",
    [(counter_plan(), {"only": "ornage"}), (replace(counter_plan(), width=10_000, height=10_000), {})],
)
def test_a_terminal_drawing_that_cannot_be_is_refused(plan, options):
    with pytest.raises(InputError) as caught:
        plan_text(plan, **options)
    assert caught.value.code == "W003"


# The circuit


def check_parts_against_the_machine(network, num_waves: int, seed: int) -> int:
    """Plays a machine and holds every part of its circuit drawing to what its inputs say; the pulses seen."""
    parts = circuit_parts(network)
    engine = PlainEngine(network)
    names = [s.name for s in network.sources] + [s.name for s in network.stacks]
    level = {part.name: part.level for part in parts if part.kind != "lamp"}
    pulses = 0
    for wave in range(num_waves):
        trace: list[Round] = []
        lost = engine.fire((wave * 7 + seed) % len(network.sources), trace).lost
        if lost:
            return pulses
        for one in trace:
            for driver in one.emitting:
                pulses += 1
                level[names[driver]] ^= 1
        bits = engine.bits()
        for part in parts:
            if part.kind == "sum":
                level[part.name] = sum(level[one.drivers[0]] for one in part.inputs) % 2
        values = {
            part.name: [(sum(level[d] for d in one.drivers) + one.negated) % 2 for one in part.inputs] for part in parts
        }
        for part in parts:
            if part.kind == "gate":
                ones = sum(values[part.name])
                assert level[part.name] == gate_output(part.symbol, ones, len(part.inputs)), part
        shown = {pixel.signal: bits[network.first_pixel + i] for i, pixel in enumerate(network.pixels)}
        for part in parts:
            if part.kind == "lamp":
                assert values[part.name] == [shown[part.name]], part
    return pulses


@pytest.mark.parametrize("name", PAIRS)
def test_the_circuit_drawing_computes_what_the_machine_does(name):
    for network in (network_from_plan(PAIRS[name][0]()), network_from_circuit(PAIRS[name][1]())):
        assert check_parts_against_the_machine(network, 60, 1) > 60


def test_circuit_drawings_of_random_boards_compute_what_the_boards_do():
    seen = 0
    for seed in range(400):
        network = network_from_plan(random_vector(seed, 0).plan)
        if not network.delays and not network.is_random:
            seen += check_parts_against_the_machine(network, 30, seed)
    assert seen > 150


def test_a_strobed_stack_is_a_flipflop_of_type_d_where_its_own_output_comes_back():
    parts = {part.name: part for part in circuit_parts(network_from_plan(blinker_plan())) if part.kind != "lamp"}
    assert (parts["q"].kind, parts["q"].symbol, parts["q"].clock) == ("flipflop", "T", ("sync",))
    reset = parts["q reset"]
    assert (reset.symbol, reset.clock) == ("D", ("reset",))


def test_lines_of_the_circuit_drawing_never_lie_on_each_other():
    layout = lay_out_parts(circuit_parts(network_from_plan(big_plan())))
    assert len(layout.trunks) > 30
    nodes = layout.nodes
    for channel in range(len(layout.columns)):
        own = [trunk for trunk in layout.trunks if trunk.channel == channel]
        outs = [nodes[trunk.source].out for trunk in own]
        assert len(outs) == len(set(outs))
        ends = [nodes[i].pin(index) for trunk in own for i, index in trunk.sinks]
        assert len(ends) == len(set(ends)) and not set(ends) & set(outs)
        for track in {trunk.track for trunk in own}:
            spans = []
            for trunk in own:
                if trunk.track == track:
                    ys = [nodes[trunk.source].out, *(nodes[i].pin(index) for i, index in trunk.sinks)]
                    spans.append((min(ys), max(ys)))
            spans.sort()
            assert all(a[1] < b[0] for a, b in zip(spans, spans[1:], strict=False))
    for column in layout.columns:
        tops = sorted((nodes[i].top, nodes[i].height) for i in column)
        assert all(top + height <= below for (top, height), (below, _) in zip(tops, tops[1:], strict=False))


def test_the_circuit_drawing_bears_the_symbols_of_iec_60617_12():
    words = words_of(schematic_scene(network_from_plan(counter_plan())))
    assert {"&", "1T", "C1", "r0", "and", "both"} <= set(words)
    exclusive = words_of(schematic_scene(network_from_plan(blinker_plan())))
    assert "=1" in exclusive, "two drivers of one input are added modulo 2"


def test_the_circuit_drawing_names_the_hdl_signal():
    circuit = counter_circuit()
    origin = {"r0": replace(circuit.origin[0], signal="count[0]")}
    titles = [s.title for s in schematic_scene(network_from_circuit(circuit), origin).shapes if isinstance(s, Group)]
    assert "flipflop T r0, count[0]" in titles


# States


def test_the_states_of_a_counter_are_a_ring():
    space = state_space(network_from_plan(counter_plan()))
    assert space.labels == ("count=0", "count=1", "count=2", "count=3")
    assert space.arrows == tuple((i, (i + 1) % 4, "sync") for i in range(4)) and not space.everywhere


def test_a_switch_is_a_condition_and_no_state():
    space = state_space(network_from_plan(blinker_plan()))
    assert space.labels == ("q=1", "q=0")
    assert space.arrows == ((0, 1, "sync, go on"), (1, 0, "sync, go on; reset"))
    assert {"q=1", "q=0", "sync, go on"} <= set(words_of(states_scene(network_from_plan(blinker_plan()))))


def extent(text: Text) -> tuple[float, float, float, float]:
    """About where a text stands: letters are half as wide as high on the average."""
    wide = len(text.text) * text.size * 0.48
    left = text.x - {"start": 0.0, "middle": wide / 2, "end": wide}[text.anchor]
    return left, text.y - text.size * 0.7, left + wide, text.y


def overlap(a: Text, b: Text) -> bool:
    (ax0, ay0, ax1, ay1), (bx0, by0, bx1, by1) = extent(a), extent(b)
    return ax0 < bx1 and bx0 < ax1 and ay0 < by1 and by0 < ay1


@pytest.mark.parametrize("name", ["blinker", "lights", "counter"])
def test_no_label_of_a_state_diagram_lies_on_another(name):
    """Switches and a reset make many arrows."""
    texts = [s for s in flat(states_scene(network_from_plan(plan_named(name))).shapes) if isinstance(s, Text)]
    assert len(texts) > 3
    assert [(a.text, b.text) for a, b in combinations(texts, 2) if overlap(a, b)] == []


def test_an_event_that_leads_to_few_of_many_states_is_told():
    space = state_space(network_from_plan(plan_named("lights")))
    drawn = {what.split(",")[0] for _, _, text in space.arrows for what in text.split("; ")}
    assert not {event for event, _, _ in space.everywhere} & drawn


def test_names_of_sources_side_by_side_do_not_run_together():
    sources = (
        Device("ticker", 2, 1, name="sync", period_s=1, running=True),
        Device("button", 4, 1, name="reset"),
        Device("switch", 5, 1, name="hold", on=False),
    )
    plan = Plan("row", "default", load_target("default").colour_names, 9, 3, sources, ((), (), (), ()))
    scene = draw_scene(plan, load_target("default"))
    texts = [s for s in flat(scene.shapes) if isinstance(s, Text) and s.text in ("sync", "reset", "hold")]
    assert len(texts) == 3 and not [1 for a, b in combinations(texts, 2) if overlap(a, b)]


@pytest.mark.parametrize("seed", range(12))
def test_a_state_diagram_foretells_what_is_shown(seed):
    plan = random_vector(seed, 0).plan
    network = network_from_plan(plan)
    try:
        space = state_space(network, 64)
    except InputError as error:
        assert error.code == "W004"
        return
    assert len(space.labels) <= 64 and all(0 <= to < len(space.labels) for _, to, _ in space.arrows)


def test_a_machine_of_many_states_has_no_diagram():
    with pytest.raises(InputError) as caught:
        state_space(network_from_plan(counter_plan()), max_states=3)
    assert caught.value.code == "W004"


# Timing


def test_the_timing_chart_shows_what_play_shows():
    plan = blinker_plan()
    events = ["go", "sync", "sync", "reset", "sync", "go", "sync"]
    rows = dict(timing_rows(network_from_plan(plan), events))
    player = Player(network_from_plan(plan))
    shown = [player.shown()["q"]]
    for event in events:
        player.event(event)
        shown.append(player.shown()["q"])
    assert list(rows["q"]) == shown and rows["go"] == (0, 1, 1, 1, 1, 1, 0, 0)
    assert dict(timing_rows(network_from_plan(counter_plan()), ["sync"] * 5))["count"] == (0, 1, 2, 3, 0, 1)


def test_the_timing_chart_names_runs_of_events():
    words = words_of(timing_scene(network_from_plan(counter_plan()), ["sync"] * 12))
    assert "sync x 12" in words and "count" in words and words.count("3") == 3 + 3, (
        "twelve ticks of a counter by four, and of its output q"
    )
    tight = words_of(timing_scene(network_from_plan(blinker_plan()), ["sync", "sync", "go", "sync", "sync", "sync"]))
    assert {"sync x2", "go", "sync x 3"} <= set(tight), "a count is never cut off"
    for events, code in (([], "W005"), (["nope"], "V001")):
        with pytest.raises(InputError) as caught:
            timing_scene(network_from_plan(counter_plan()), events)
        assert caught.value.code == code


# The command, and notebooks


@pytest.mark.parametrize(
    "kind, files",
    [
        ("plan", {"plan.svg", "plan.png"}),
        ("colours", {f"plan-{c}.{form}" for c in counter_plan().colours for form in ("svg", "png")}),
        ("sheets", {"plan-sheets.pdf"}),
        ("circuit", {"plan-circuit.svg", "plan-circuit.png"}),
        ("states", {"plan-states.svg", "plan-states.png"}),
        ("timing", {"plan-timing.svg", "plan-timing.png"}),
    ],
)
def test_draw_makes_every_kind(tmp_path, kind, files):
    (tmp_path / "plan.json").write_text(dump_plan(counter_plan()), encoding="utf-8")
    for _ in range(2):
        result = CliRunner().invoke(
            main, ["draw", str(tmp_path / "plan.json"), "--kind", kind, "--out", str(tmp_path / "x")]
        )
        assert result.exit_code == 0, result.output
    assert {path.name for path in (tmp_path / "x").iterdir()} == files
    for path in (tmp_path / "x").glob("*.svg"):
        ET.parse(path)


def test_draw_writes_a_pdf_again_and_spares_what_is_not_its_own(tmp_path):
    plan = tmp_path / "plan.json"
    plan.write_text(dump_plan(counter_plan()), encoding="utf-8")
    for _ in range(2):
        assert CliRunner().invoke(main, ["draw", str(plan), "--out", str(tmp_path / "a.pdf")]).exit_code == 0
    (tmp_path / "b.pdf").write_bytes(b"%PDF-1.4\n% somebody else's\n")
    result = CliRunner().invoke(main, ["draw", str(plan), "--out", str(tmp_path / "b.pdf")])
    assert result.exit_code == 2 and "C004" in result.output


@pytest.mark.parametrize("arguments", [["--kind", "colours", "--out", "x.svg"], ["--kind", "sheets", "--out", "x.png"]])
def test_several_drawings_do_not_go_into_one_file(tmp_path, arguments):
    (tmp_path / "plan.json").write_text(dump_plan(counter_plan()), encoding="utf-8")
    result = CliRunner().invoke(main, ["draw", str(tmp_path / "plan.json"), *arguments])
    assert result.exit_code == 2 and "W006" in result.output


def test_draw_text_prints_the_plan(tmp_path):
    (tmp_path / "plan.json").write_text(dump_plan(counter_plan()), encoding="utf-8")
    result = CliRunner().invoke(main, ["draw", str(tmp_path / "plan.json"), "--text", "--only", "blue"])
    assert result.exit_code == 0 and "Wires:" in result.output and "blue" in result.output
    assert CliRunner().invoke(main, ["draw", str(tmp_path / "plan.json"), "--only", "blue"]).exit_code == 2


def test_the_same_plan_gives_the_same_bytes_of_every_kind():
    options = DrawingOptions(events=("sync",) * 9)
    for kind in ("colours", "sheets", "circuit", "states", "timing"):
        first, second = (
            [render(d, ".pdf") for d in drawings_of(kind, counter_plan(), TARGET, options)] for _ in range(2)
        )
        assert first == second, kind


def test_a_result_folder_gets_the_drawings_that_suit_the_plan():
    files = further_files(counter_plan(), TARGET, None, ("sync",) * 4)
    assert sorted(files) == ["plan-circuit.svg", "plan-sheets.pdf", "plan-states.svg", "plan-timing.svg"]
    assert sorted(further_files(counter_plan(), TARGET)) == ["plan-circuit.svg", "plan-sheets.pdf", "plan-states.svg"]


def test_plans_and_machines_show_themselves_in_notebooks_and_checks_tell_their_events():
    svg = counter_plan()._repr_svg_()
    assert svg is not None and ET.fromstring(svg).tag.endswith("svg")
    assert replace(counter_plan(), width=9000, height=9000)._repr_svg_() is None
    machine = load_machine("traffic_light")
    results = run_checks(machine).results
    assert results[0].events[:3] == ("sync",) * 3
    assert len(results[0].events) == min(1000, results[0].num_presses + sum(n for _, n in results[0].num_ticks))
    html = machine._repr_html_()
    assert "traffic_light" in html and "ticker, every" in html and "<svg" in html
    ET.fromstring(html)
