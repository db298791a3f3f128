"""The parts against data books: counters, segment decoders, taps of shift registers."""

import csv
import os
from functools import cache
from pathlib import Path

import pytest
from amaranth.hdl import Module
from amaranth.sim import Simulator

from hdl2grid.base.errors import InputError
from hdl2grid.parts import (
    CODES,
    MAXIMAL_TAPS,
    SEGMENTS,
    Counter,
    Divider,
    Lfsr,
    OneHotDecoder,
    SegmentDecoder,
    ShiftRegister,
)

pytestmark = pytest.mark.filterwarnings("ignore::amaranth.hdl.UnusedElaboratable")


@cache
def table(name):
    """Rows of a public table in the folder of HDL2GRID_CHECK_DATA; its SOURCES.md says where each is from."""
    folder = os.environ.get("HDL2GRID_CHECK_DATA")
    path = Path(folder or "", "tables", name)
    if not folder or not path.is_file():
        pytest.skip("HDL2GRID_CHECK_DATA is not set, or has no such table")
    lines = [line for line in path.read_text().splitlines() if not line.startswith("#")]
    return list(csv.DictReader(lines))


def run(dut, *watched, ticks, step=None):
    """The watched values before each tick, as tuples; `step` gives the step input, tick by tick."""
    m = Module()
    m.submodules.dut = dut
    rows = []

    async def bench(ctx):
        for tick in range(ticks):
            ctx.set(dut.step, 1 if step is None else step[tick])
            rows.append(tuple(ctx.get(value) for value in watched))
            await ctx.tick()

    simulator = Simulator(m)
    simulator.add_clock(1e-6)
    simulator.add_testbench(bench)
    simulator.run()
    return rows


def evaluate(dut, source, result):
    """All values of a combinational part, by its input."""
    values = []

    async def bench(ctx):
        for value in range(1 << len(source)):
            ctx.set(source, value)
            values.append(ctx.get(result))

    simulator = Simulator(dut)
    simulator.add_testbench(bench)
    simulator.run()
    return values


def book_states(device, mode):
    """State words of one row of counters.csv, as written."""
    rows = [r for r in table("counters.csv") if (r["device"], r["mode"]) == (device, mode)]
    assert len(rows) == 1, (device, mode)
    return rows[0]["states"].split()


def msb_first(word):
    return int(word, 2)


def stage_1_first(word):
    return int(word[::-1], 2)


COUNTERS = [
    (10, "binary", "74160", "up", msb_first),
    (10, "binary", "40160", "up", msb_first),
    (10, "binary", "7490", "BCD (QA drives CLKB)", msb_first),
    (5, "binary", "7490", "divide by 5", msb_first),
    (8, "binary", "7493", "divide by 8", msb_first),
    (16, "binary", "74163", "up", msb_first),
    (10, "johnson", "4017", "Johnson register inside", stage_1_first),
    (8, "johnson", "4022", "Johnson register inside", stage_1_first),
    (9, "johnson", "4018", "divide by 9: D = /Q5 AND /Q4", stage_1_first),
    (7, "johnson", "4018", "divide by 7: D = /Q4 AND /Q3", stage_1_first),
    (5, "johnson", "4018", "divide by 5: D = /Q3 AND /Q2", stage_1_first),
    (3, "johnson", "4018", "divide by 3: D = /Q2 AND /Q1", stage_1_first),
    *((2 * n, "johnson", "Johnson", f"{n} registers", stage_1_first) for n in range(2, 9)),
]


@pytest.mark.parametrize("modulus, code, device, mode, read", COUNTERS)
def test_counters_run_as_the_data_books_say(modulus, code, device, mode, read):
    # counters.csv: TI TTL Data Book 1985, CD4017B and CD4018B data sheets.
    states = [read(word) for word in book_states(device, mode)]
    counter = Counter(modulus, code)
    assert counter.states() == states
    seen = run(counter, counter.value, counter.carry, ticks=2 * modulus + 1)
    assert [value for value, _ in seen] == (states * 3)[: 2 * modulus + 1]
    # The carry of the 74160 is 1 in the last state only.
    assert [carry for _, carry in seen] == [int(i % modulus == modulus - 1) for i in range(2 * modulus + 1)]


def test_modulo_6_counts_as_the_7492_does_but_for_its_weights():
    # The 7492 divides by 6 in a weighted code (TI TTL Data Book): with weights 3, 2, 1 it counts 0 .. 5.
    weights = (3, 2, 1)
    words = book_states("7492", "divide by 6")
    assert [sum(w * int(b) for w, b in zip(weights, word, strict=True)) for word in words] == list(range(6))
    counter = Counter(6)
    assert [v for (v,) in run(counter, counter.value, ticks=13)] == [*range(6), *range(6), 0]


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("modulus", [2, 3, 4, 6, 7, 12, 15, 24, 60])
def test_every_code_goes_through_its_states_and_comes_round(modulus, code):
    if (code == "gray" and modulus % 2) or (code == "lfsr" and modulus not in (3, 7, 15)):
        with pytest.raises(InputError, match="H2G-M070"):
            Counter(modulus, code)
        return
    counter = Counter(modulus, code)
    states = counter.states()
    assert len(set(states)) == modulus
    seen = [v for (v,) in run(counter, counter.value, ticks=modulus + 2)]
    assert seen == [*states, *states[:2]]
    if code == "gray":
        following = [*states[1:], states[0]]
        assert all((a ^ b).bit_count() == 1 for a, b in zip(states, following, strict=True))


def test_widths_are_those_of_the_table():
    # moduli.csv: definitions of the counter kinds.
    kinds = {"ring (one-hot)": "one-hot", "Johnson (twisted ring)": "johnson", "LFSR maximal": "lfsr"}
    for row in table("moduli.csv"):
        code = kinds.get(row["kind"], "binary")
        counter = Counter(int(row["states"]), code)
        assert len(counter.value) == int(row["registers"]), row


def test_gray_code_of_a_power_of_two_is_the_reflected_code():
    # gray.csv: F. Gray, US patent 2632058, 1953.
    rows = table("gray.csv")
    widths = sorted({int(row["n"]) for row in rows})
    assert widths
    for width in widths:
        words = [int(row["gray"], 2) for row in rows if int(row["n"]) == width]
        assert Counter(1 << width, "gray").states() == words


def test_a_counter_stands_still_without_a_step():
    counter = Counter(10)
    steps = [1, 0, 0, 1, 1, 0, 1] * 6
    seen = run(counter, counter.value, counter.carry, ticks=len(steps), step=steps)
    value = 0
    for step, (shown, carry) in zip(steps, seen, strict=True):
        assert (shown, carry) == (value, int(step and value == 9))
        value = (value + step) % 10


@pytest.mark.parametrize("by, code", [(2, "binary"), (6, "johnson"), (60, "gray"), (5, "one-hot")])
def test_dividers(by, code):
    divider = Divider(by, code)
    seen = [t for (t,) in run(divider, divider.tick, ticks=3 * by)]
    assert seen == ([0] * (by - 1) + [1]) * 3


FAMILIES = [
    ("7446/7447/7448/7449", False, False, range(10)),
    ("74246/74247/74248/74249", True, False, range(10)),
    ("4511", False, False, range(16)),
    ("4543", True, False, range(16)),
    ("hex-common", True, True, range(16)),
]


@pytest.mark.parametrize("family, tails, letters, codes", FAMILIES)
def test_segments_are_those_of_the_data_books(family, tails, letters, codes):
    # seven_segment.csv: TI TTL Data Book 1985, Motorola SN54/74LS247-249, National CD4511B 1988.
    decoder = SegmentDecoder(tails=tails, letters=letters)
    shown = evaluate(decoder, decoder.value, decoder.segments)
    rows = {int(r["code"]): r for r in table("seven_segment.csv") if r["family"] == family}
    for code in codes:
        assert shown[code] == sum(int(rows[code][s]) << i for i, s in enumerate("abcdefg")), code


def test_segments_without_the_table():
    decoder = SegmentDecoder()
    assert evaluate(decoder, decoder.value, decoder.segments) == [*SEGMENTS, *[0] * 6]


def test_one_hot_decoder():
    decoder = OneHotDecoder(12)
    assert evaluate(decoder, decoder.index, decoder.lines) == [*(1 << i for i in range(12)), *[0] * 4]


def test_taps_are_those_of_the_application_note():
    # lfsr_taps.csv: P. Alfke, Xilinx XAPP 052, 1996.
    for row in table("lfsr_taps.csv"):
        assert MAXIMAL_TAPS[int(row["n"])] == tuple(map(int, row["taps"].split()))


@pytest.mark.parametrize("length", range(2, 10))
@pytest.mark.parametrize("xnor", [False, True])
def test_lfsr_periods(length, xnor):
    # XAPP 052: the period is 2**n - 1.
    lfsr = Lfsr(length, xnor=xnor)
    period = (1 << length) - 1
    seen = [v for (v,) in run(lfsr, lfsr.stages, ticks=period + 1)]
    assert len(set(seen)) == period and seen[-1] == seen[0] == (0 if xnor else 1)
    assert (period if xnor else 0) not in seen


def test_shift_register():
    register = ShiftRegister(4, init=0b1000)
    m = Module()
    m.submodules.dut = register
    seen = []

    async def bench(ctx):
        for data, step in [(1, 1), (0, 1), (1, 0), (1, 1), (0, 1)]:
            ctx.set(register.data, data)
            ctx.set(register.step, step)
            await ctx.tick()
            seen.append(ctx.get(register.stages))

    simulator = Simulator(m)
    simulator.add_clock(1e-6)
    simulator.add_testbench(bench)
    simulator.run()
    assert seen == [0b0001, 0b0010, 0b0010, 0b0101, 0b1010]


@pytest.mark.parametrize(
    "make",
    [
        lambda: Counter(1),
        lambda: Counter(True),
        lambda: Counter(10, "binery"),
        lambda: Counter(2.5),
        lambda: Divider(0),
        lambda: OneHotDecoder(1),
        lambda: ShiftRegister(0),
        lambda: ShiftRegister(2, init=4),
        lambda: Lfsr(33),
        lambda: Lfsr(4, taps=(3, 1)),
        lambda: Lfsr(4, taps=(4, 4)),
        lambda: Lfsr(4, init=0),
        lambda: Lfsr(4, xnor=True, init=15),
    ],
)
def test_bad_parameters_are_named_with_the_users_line(make):
    with pytest.raises(InputError) as caught:
        make()
    assert caught.value.code == "M070" and "test_parts.py" in caught.value.where
