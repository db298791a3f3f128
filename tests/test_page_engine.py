"""The page's engine plays as Python's do, over 100,000 waves of shared vectors; unit tests of its other modules."""

from __future__ import annotations

import json
import shutil
import subprocess
from itertools import pairwise
from pathlib import Path

import pytest
from support.plans import COLOURS, PAIRS
from support.random_plans import Vector, network_text, random_vector, waves_text

from hdl2grid.base.target import load_target
from hdl2grid.guide.build import make_guide
from hdl2grid.guide.json_io import dump_guide
from hdl2grid.plan.extract import extract
from hdl2grid.plan.json_io import dump_plan
from hdl2grid.plan.model import Plan
from hdl2grid.show.look import Look, colours_of
from hdl2grid.sim.player import Happened, Player
from hdl2grid.sim.pulse_network import network_from_plan
from hdl2grid.sim.waves import PlainEngine

JS = Path(__file__).parent / "js"
NODE = shutil.which("node")
NUM_BOARDS, WAVES_A_BOARD = 100, 1000

needs_node = pytest.mark.skipif(NODE is None, reason="node is not installed")


def node(*arguments: str | Path) -> str:
    assert NODE is not None
    done = subprocess.run([NODE, *map(str, arguments)], capture_output=True, text=True, timeout=120, cwd=JS)
    assert done.returncode == 0, done.stdout + done.stderr
    return done.stdout


def by_hand(plan: Plan) -> Vector:
    num_sources = len(network_from_plan(plan).sources)
    return Vector(plan, 0, tuple(i * i % 7 % num_sources for i in range(200)))


@needs_node
def test_100_000_waves_are_the_same_in_the_page_and_in_python(tmp_path):
    vectors = [random_vector(seed, WAVES_A_BOARD) for seed in range(NUM_BOARDS)]
    vectors += [by_hand(plan()) for plan, _ in PAIRS.values()]
    expected: list[str] = []
    seen = {"lost": 0, "random": 0, "delay": 0, "deep": 0}
    for vector in vectors:
        network = network_from_plan(vector.plan)
        expected += network_text(network).splitlines()
        waves = list(waves_text(PlainEngine(network, vector.seed), vector.drivers))
        expected += waves
        seen["lost"] += sum("[]" not in wave.split()[3] for wave in waves)
        seen["delay"] += sum("[]" not in wave.split()[4] for wave in waves)
        seen["deep"] += sum(int(wave.split()[1]) >= 3 for wave in waves)
        seen["random"] += network.is_random
    assert all(number > 5 for number in seen.values()), f"the vectors are too tame: {seen}"
    assert sum(len(vector.drivers) for vector in vectors) >= 100_000
    file = tmp_path / "vectors.json"
    file.write_text(json.dumps([vector.to_json() for vector in vectors]), encoding="utf-8")
    played = node("vectors.mjs", file).splitlines()
    different = [i for i, (a, b) in enumerate(zip(expected, played, strict=True)) if a != b]
    assert not different, f"{len(different)} differ, first {expected[different[0]]} / {played[different[0]]}"


@needs_node
def test_tickers_and_delays_keep_the_same_time_in_the_page_and_in_python(tmp_path):
    vectors = [random_vector(seed, 60) for seed in range(40)]
    expected: list[str] = []
    waves: list[Happened] = []
    for vector in vectors:
        network = network_from_plan(vector.plan)
        player = Player(network, "plain", vector.seed, on_wave=waves.append)
        for driver in vector.drivers:
            if driver < len(network.sources):
                player.event(network.sources[driver].name)
                expected.append(f"{float(player.now):g} {player.engine.state().hex()}")
    assert sum(wave.event == "delay" for wave in waves) > 20, "delays have run out"
    file = tmp_path / "vectors.json"
    file.write_text(json.dumps([vector.to_json() for vector in vectors]), encoding="utf-8")
    assert node("player.mjs", file).splitlines() == expected


@needs_node
def test_the_four_wires_of_a_tile_have_lanes_of_their_own():
    script = """
        import { lane, TILE, WIRE } from "../../hdl2grid/show/page/wires.js";
        console.log(JSON.stringify([[0, 1, 2, 3].map((colour) => lane(5, colour, 4) / TILE), WIRE / TILE]));"""
    lanes, wide = json.loads(node("--input-type=module", "-e", script))
    look = Look(1.0, colours_of(COLOURS, load_target()))
    assert lanes == pytest.approx([look.lane(5, colour) for colour in range(4)]), "as in every other drawing"
    assert all(5 < lane < 6 for lane in lanes) and min(b - a for a, b in pairwise(lanes)) > 1.5 * wide


@needs_node
@pytest.mark.parametrize("name", PAIRS)
def test_the_page_lays_a_machine_by_its_guide(name, tmp_path):
    plan = PAIRS[name][0]()
    (tmp_path / "plan.json").write_text(dump_plan(plan), encoding="utf-8")
    (tmp_path / "guide.json").write_text(dump_guide(make_guide(plan)), encoding="utf-8")
    laid = json.loads(node("lay.mjs", tmp_path / "plan.json", tmp_path / "guide.json"))
    assert laid["steps"] > 3 and laid["seen"] > 3
    assert laid["unseen"] == laid["missing"] == laid["surplus"] == [] and laid["lost"] == sum(laid["wires"]) == 0


@needs_node
@pytest.mark.parametrize("name", PAIRS)
def test_the_state_of_the_page_changes_as_a_person_chooses(name, tmp_path):
    plan = PAIRS[name][0]()
    (tmp_path / "plan.json").write_text(dump_plan(plan), encoding="utf-8")
    told = json.loads(node("model.mjs", tmp_path / "plan.json"))
    extraction = extract(plan)
    assert told["nets"] == told["reached"] == len(extraction.nets) and told["reachedHidden"] == 0
    boxes = [{"x": d.x, "y": d.y} for d in plan.devices if d.kind != "crossover"]
    assert told["boxes"] == boxes, "the middle of a device is the device, not a wire on its tile"
    assert told["tabs"] == [["play", "lay"], ["lay", "look"], ["look", "play"]]
    assert told["cursor"] == {"x": 0, "y": plan.height - 1}
    marked = sorted((mark["nets"], sorted(mark["devices"])) for mark in told["marks"])
    ends = [sorted({*net.drivers, *net.sinks}) for net in extraction.nets]
    assert sorted(devices for _, devices in marked) == sorted(ends)
    assert [nets for nets, _ in marked] == [[i] for i in range(len(ends))]
    assert told["turns"], "N goes through the nets of a tile, each once"
    assert told["hovers"] == [False, True, False, True, True]
    assert told["chosen"] is None and told["onScene"] is None and told["onPlan"] is not None
    assert told["outside"] == [None, {"nets": [], "devices": []}]
    sources = [i for i, d in enumerate(plan.devices) if d.kind in ("ticker", "button", "switch")]
    assert [i for i, source in enumerate(told["sources"]) if source >= 0] == sources


def test_vectors_are_the_same_every_time():
    assert random_vector(7, 50) == random_vector(7, 50) != random_vector(8, 50)
