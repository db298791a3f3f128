"""Loading designs, running their checks, and the designs that are shipped."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from hdl2grid import Button, Ticker
from hdl2grid.base.errors import DesignFailed, GridError, InputError
from hdl2grid.design import load
from hdl2grid.design.load import find_design, load_machine, shipped_designs
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.verify.design_checks import run_checks

pytestmark = pytest.mark.filterwarnings("ignore::amaranth.hdl.UnusedElaboratable")

HEAD = """
from amaranth.hdl import ClockDomain, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out
from hdl2grid import Button, Machine, Switch, Ticker, press

class Counting(wiring.Component):
    hold: In(1)
    word: In(2)
    count: Out(4)
    presses: Out(3)
    echo: Out(2)

    def elaborate(self, platform):
        m = Module()
        with m.If(~self.hold):
            m.d.sync += self.count.eq(self.count + 1)
        m.d.white += self.presses.eq(self.presses + 1)
        m.d.comb += self.echo.eq(self.word)
        return m

dut = Counting()
"""

MACHINE = """
machine = Machine(
    dut,
    clocks={"sync": Ticker(seconds=SECONDS), "white": Button()},
    reset=Button(),
    inputs={"hold": Switch(), "word": Switch(on=0b10)},
    check=CHECK,
)
"""


@pytest.fixture
def design(tmp_path):
    """Writes a design file and gives its path."""

    def write(text, name="mine.py"):
        path = tmp_path / name
        path.write_text(text)
        return path

    return write


@pytest.fixture
def counting(design):
    """Loads a machine whose check has `body`; the first line of the body is line 25 of the file."""

    def load(body, seconds="1"):
        lines = "\n".join("    " + line for line in body.strip().splitlines())
        text = f"{HEAD}\nasync def check(ctx):\n{lines}\n{MACHINE}"
        return load_machine(design(text.replace("SECONDS", seconds).replace("CHECK", "check")))

    return load


def loading_fails(code, path, *words):
    with pytest.raises(InputError) as caught:
        load_machine(path)
    assert caught.value.code == code, str(caught.value)
    for word in words:
        assert word in str(caught.value), str(caught.value)


# -- loading ------------------------------------------------------------------------------------------------------


def test_a_design_is_known_by_its_stem(counting):
    assert counting("pass").name == "mine"


def test_a_name_in_the_file_is_kept(design):
    text = HEAD + MACHINE.replace("SECONDS", "1").replace("check=CHECK", "name='other'")
    assert load_machine(design(text)).name == "other"


def test_a_design_may_import_its_neighbours(design):
    design("PERIOD = 7\n", "neighbour_of_mine.py")
    text = "from neighbour_of_mine import PERIOD\n" + HEAD + MACHINE.replace("SECONDS", "PERIOD")
    before = list(sys.path)
    machine = load_machine(design(text.replace("CHECK", "None")))
    assert machine.clocks["sync"] == Ticker(7) and sys.path == before


def test_files_that_are_none(tmp_path, design, monkeypatch):
    design("", "watch.py")
    loading_fails("M050", tmp_path / "wtch.py", "Did you mean", "watch.py")
    loading_fails("M050", tmp_path / "watch", "watch.py'")
    loading_fails("M050", tmp_path, "this is none")
    loading_fails("M050", "clock_12", "Did you mean 'clock_12h'?")
    loading_fails("M050", "no such thing at all", *shipped_designs())
    loading_fails("M050", "dial_12h.py", "without '.py'")
    loading_fails("M050", "nul\0byte")
    loading_fails("M050", "x" * 5000)


def test_a_file_that_cannot_be_read(design, monkeypatch):
    path = design("machine = 1\n")

    def refuse(*args, **kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)
    loading_fails("M051", path, "Permission denied", "mine.py")


def test_a_file_that_is_far_too_large(design, monkeypatch):
    monkeypatch.setattr(load, "SIZE_LIMIT", 100)
    loading_fails("M051", design("#" * 101), "larger than 100 bytes")


@pytest.mark.parametrize(
    "text, words",
    [
        ("x = (\n", ["mine.py:1", "never closed"]),
        ("\n\ndef f(:\n  pass\n", ["mine.py:3", "def f(:"]),
        ("x = '\0'\n", ["not Python"]),
        ("(" * 10_000, ["not Python"]),
    ],
)
def test_files_that_are_not_python(design, text, words):
    loading_fails("M052", design(text), *words)


def test_a_file_that_is_not_text(tmp_path):
    path = tmp_path / "mine.py"
    path.write_bytes(bytes(range(128, 256)))
    loading_fails("M052", path, "not Python")


@pytest.mark.parametrize(
    "text, words",
    [
        ("x = 1\ny = nothing\n", ["mine.py:2", "NameError: name 'nothing' is not defined", "y = nothing"]),
        ("def f(n):\n    return 1 // n\n\nf(0)\n", ["mine.py:2", "ZeroDivisionError", "return 1 // n"]),
        ("import os\nos.listdir('/no such place')\n", ["mine.py:2", "FileNotFoundError"]),
        ("import json\njson.loads('{')\n", ["mine.py:2", "JSONDecodeError", "json.loads"]),
        ("import sys\nsys.exit(0)\n", ["mine.py:2", "SystemExit"]),
        ("import no_such_module_here\n", ["mine.py:1", "ModuleNotFoundError"]),
        ("def f():\n    f()\nf()\n", ["mine.py:2", "RecursionError"]),
        ("raise BaseException\n", ["mine.py:1", "BaseException"]),
        ("from hdl2grid import Machine\nMachine(clock={})\n", ["mine.py:2", "TypeError", "clock"]),
        ("from amaranth.hdl import Signal\nSignal(-1)\n", ["mine.py:2", "TypeError"]),
    ],
)
def test_errors_in_a_design_show_its_own_line(design, text, words):
    loading_fails("M053", design(text), *words)


def test_errors_of_ours_keep_their_code(design):
    loading_fails("M006", design("from hdl2grid import Ticker\nt = Ticker(0)\n"), "mine.py:2")


def test_designs_without_a_machine(design):
    loading_fails("M054", design("x = 1\n"), "mine.py", "machine = Machine(")
    text = HEAD + MACHINE.replace("SECONDS", "1").replace("CHECK", "None").replace("machine =", "clock =")
    loading_fails("M054", design(text), "There is 'clock'")
    loading_fails("M055", design(HEAD + "machine = dut\n"), "Counting", "hdl2grid.Machine")
    loading_fails("M055", design("machine = None\n"), "None")


def test_nothing_is_said_about_what_a_broken_design_made(design):
    path = design(HEAD + "x = nothing\n")
    code = (
        f"from hdl2grid.design.load import load_machine\ntry:\n    load_machine({str(path)!r})\nexcept Exception: pass"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout + done.stderr == ""


# -- checks -------------------------------------------------------------------------------------------------------


def test_a_check_sees_ticks_presses_and_switches(counting):
    report = run_checks(
        counting("""
assert ctx.get(dut.echo) == 0b10 and ctx.get(dut.count) == 0
await ctx.tick()
assert ctx.get(dut.count) == 1
await ctx.tick().repeat(6)
await press(ctx, "white")
await press(ctx, "white")
assert (ctx.get(dut.count), ctx.get(dut.presses)) == (7, 2)
ctx.set(dut.hold, 1)
await ctx.tick()
await press(ctx, "word[0]")
assert (ctx.get(dut.count), ctx.get(dut.echo)) == (7, 0b11)
await press(ctx, "hold")
await press(ctx, "reset")
assert (ctx.get(dut.count), ctx.get(dut.presses), ctx.get(dut.hold)) == (0, 0, 0)
_, _, before = await ctx.tick().sample(dut.count)
assert (before, ctx.get(dut.count)) == (0, 1)
""")
    )
    (result,) = report.results
    assert report.machine == "mine"
    flips = ("hold", "sync", "word[0]", "hold", "reset", "sync")
    assert result.events == ("sync",) * 7 + ("white", "white", *flips)
    assert (result.name, result.num_ticks, result.num_presses) == ("check", (("sync", 9),), 5)


def test_each_check_starts_afresh_with_its_tickers(design):
    text = (
        HEAD
        + """
async def one(ctx):
    await ctx.delay(2.5)
    assert ctx.get(dut.count) == 2
    await press(ctx, "white")
    ctx.set(dut.word, 0)

async def two(ctx, component):
    assert component is dut
    assert [ctx.get(p) for p in (dut.count, dut.presses, dut.word)] == [0, 0, 2]
    await ctx.delay(0.9)
    assert ctx.get(dut.count) == 0
    await ctx.delay(0.2)
    assert ctx.get(dut.count) == 1
"""
    )
    machine = load_machine(design(text + MACHINE.replace("SECONDS", "1").replace("CHECK", "[one, two, one]")))
    assert [r.name for r in run_checks(machine).results] == ["one", "two", "one"]


def check_fails(machine, error, code, *words, **kwargs):
    with pytest.raises(GridError) as caught:
        run_checks(machine, **kwargs)
    assert type(caught.value) is error and caught.value.code == code, str(caught.value)
    for word in words:
        assert word in str(caught.value), str(caught.value)


def test_a_failed_assertion_is_the_designs_failure(counting):
    check_fails(
        counting("await ctx.tick()\nassert ctx.get(dut.count) == 2, 'too few'"), DesignFailed, "M060",
        "'check'", "too few", "mine.py:26", "assert ctx.get(dut.count) == 2",
    )  # fmt: skip
    assert DesignFailed.exit_code == 1


@pytest.mark.parametrize(
    "body, words",
    [
        ("1 // 0", ["ZeroDivisionError", "mine.py:25"]),
        ("ctx.get(dut.nothing)", ["AttributeError", "mine.py:25"]),
        ("await ctx.tick('green')", ["NameError", "green", "mine.py:25"]),
        ("ctx.set(dut.echo, 1)", ["DriverConflict", "mine.py:25"]),
        ("raise SystemExit(0)", ["SystemExit", "mine.py:25"]),
        ("await ctx.tick()\nimport json\njson.loads('')", ["JSONDecodeError", "mine.py:27"]),
    ],
)
def test_any_other_error_in_a_check_is_bad_input(counting, body, words):
    check_fails(counting(body), InputError, "M061", "'check'", *words)


@pytest.mark.parametrize(
    "name, words",
    [("whit", "Did you mean 'white'?"), ("sync", 'ctx.tick("sync")'), ("count", "reset, white"), (3, "no button")],
)
def test_presses_of_what_is_no_button(counting, name, words):
    check_fails(counting(f"await press(ctx, {name!r})"), InputError, "M062", "mine.py:25", words)


def test_a_press_outside_of_a_check(counting):
    check_fails(counting("await press(dut, 'white')"), InputError, "M063", "mine.py:25")


def test_a_check_that_waits_for_nothing_is_told(counting, monkeypatch):
    monkeypatch.setattr("hdl2grid.verify.testbench.STALL_TICKS", 500)
    check_fails(counting("await ctx.tick('white')"), InputError, "M064", "500 ticks", "mine.py:25")
    run_checks(counting("for _ in range(1200): await ctx.tick()"))


def test_a_check_that_waits_without_any_ticker(design):
    text = (
        HEAD
        + """
async def waiting(ctx):
    await ctx.delay(1e9)
    await press(ctx, "white")
    await press(ctx, "sync")
    assert (ctx.get(dut.count), ctx.get(dut.presses)) == (1, 1)
    await ctx.tick()
"""
    )
    machine = MACHINE.replace("Ticker(seconds=SECONDS)", "Button()").replace("CHECK", "waiting")
    check_fails(load_machine(design(text + machine)), InputError, "M064", "'waiting'", "no ticker", "await ctx.tick()")


def test_ticks_of_two_tickers_never_coincide(design):
    text = """
from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out
from hdl2grid import Machine, Ticker

class Two(wiring.Component):
    a: Out(8)
    b: Out(8)
    seen: Out(8)
    def elaborate(self, platform):
        m = Module()
        m.d.fast += self.a.eq(self.a + 1)
        m.d.slow += [self.b.eq(self.b + 1), self.seen.eq(self.a)]
        return m

dut = Two()

async def check(ctx):
    for n in range(1, 11):
        await ctx.tick("slow")
        # Both are due, and "fast" comes first: "slow" sees what it has left.
        assert (ctx.get(dut.a), ctx.get(dut.b), ctx.get(dut.seen)) == (3 * n, n, 3 * n)

machine = Machine(dut, clocks={"fast": Ticker(0.1), "slow": Ticker(0.3)}, check=check)
"""
    (result,) = run_checks(load_machine(design(text))).results
    assert result.num_ticks == (("fast", 30), ("slow", 10))


@pytest.mark.parametrize("seconds", ["1e-15", "1e-9", "1/3", "86400 * 365", "1e300"])
def test_periods_of_all_sizes_can_be_simulated(counting, seconds, tmp_path):
    machine = counting("await ctx.tick().repeat(20)\nassert ctx.get(dut.count) == 4", seconds)
    run_checks(machine)
    run_checks(machine, vcd_path=tmp_path / "wave.vcd")
    times = [int(t) for t in re.findall(r"^#(\d+)$", (tmp_path / "wave.vcd").read_text(), re.M)]
    assert times == sorted(set(times)) and times[-1] < 2**63


def test_registers_reset_by_the_button_whatever_their_domain_says(design):
    text = """
from amaranth.hdl import ClockDomain, Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out
from hdl2grid import Button, Machine, Ticker, press

class Kinds(wiring.Component):
    a: Out(4, init=3)
    b: Out(4, init=5)
    kept: Out(4)
    def elaborate(self, platform):
        m = Module()
        m.domains.own = ClockDomain(async_reset=True)
        kept = Signal(4, reset_less=True)
        m.d.sync += [self.a.eq(self.a + 1), kept.eq(kept + 1)]
        m.d.own += self.b.eq(self.b + 1)
        m.d.comb += self.kept.eq(kept)
        return m

dut = Kinds()

async def check(ctx):
    await ctx.tick("sync").repeat(2)
    await press(ctx, "own")
    assert [ctx.get(p) for p in (dut.a, dut.b, dut.kept)] == [5, 6, 2]
    await press(ctx, "reset")
    assert [ctx.get(p) for p in (dut.a, dut.b, dut.kept)] == [3, 5, 2]

machine = Machine(dut, clocks={"sync": Ticker(1), "own": Button()}, reset=Button(), check=check)
"""
    run_checks(load_machine(design(text)))


def test_a_machine_without_checks_has_an_empty_report(design):
    machine = load_machine(design(HEAD + MACHINE.replace("SECONDS", "1").replace("CHECK", "[]")))
    assert run_checks(elaborate(machine)).results == ()


# -- waveforms ----------------------------------------------------------------------------------------------------

WAVES = "await ctx.tick().repeat(3)\nawait press(ctx, 'white')\nawait press(ctx, 'reset')\nassert BODY"


def values(path, name):
    """The changes of a variable of a waveform: (time, value) in order, by its name in the outermost module."""
    text = path.read_text()
    code = re.search(rf"\$var wire \d+ (\S+) {name} \$end", text)[1]
    found, time = [], 0
    for line in text.splitlines():
        if line.startswith("#"):
            time = int(line[1:])
        elif line.endswith(code) and (match := re.match(rf"b?([01]+) ?{re.escape(code)}$", line)):
            found.append((time, int(match[1], 2)))
    return found


def test_waveforms_show_all_that_moved(counting, tmp_path):
    path = tmp_path / "wave.vcd"
    report = run_checks(counting(WAVES.replace("BODY", "True")), vcd_path=path)
    assert report.vcd_path == path and sorted(os.listdir(tmp_path)) == ["mine.py", "wave.vcd"]
    assert "$timescale 1 us $end" in path.read_text() and "$date" not in path.read_text()
    second = 1_000_000
    assert values(path, "count")[:4] == [(0, 0), (second, 1), (2 * second, 2), (3 * second, 3)]
    assert values(path, "count")[4][1] == 0 and [v for _, v in values(path, "reset")] == [0, 1, 0]
    assert [v for _, v in values(path, "presses")] == [0, 1, 0]
    assert [v for _, v in values(path, "white_clk")] == [0, 1, 0]
    assert [t for t, v in values(path, "clk") if v] == [second, 2 * second, 3 * second]


def test_waveforms_are_the_same_bytes_every_time(counting, tmp_path):
    path = Path(counting(WAVES.replace("BODY", "True")).component.__class__.elaborate.__code__.co_filename)
    made = []
    for seed in ("0", "1", "2"):
        wave = tmp_path / f"{seed}.vcd"
        code = (
            "from hdl2grid.design.load import load_machine\nfrom hdl2grid.verify.design_checks import run_checks\n"
            f"run_checks(load_machine({str(path)!r}), vcd_path={str(wave)!r})"
        )
        env = os.environ | {"PYTHONHASHSEED": seed}
        subprocess.run([sys.executable, "-c", code], env=env, check=True)
        made.append(wave.read_bytes())
    assert made[0] == made[1] == made[2]


def test_waveforms_are_written_when_a_check_fails(counting, tmp_path):
    path = tmp_path / "wave.vcd"
    check_fails(counting(WAVES.replace("BODY", "False")), DesignFailed, "M060", vcd_path=path)
    assert values(path, "count")[3][1] == 3
    assert sorted(os.listdir(tmp_path)) == ["mine.py", "wave.vcd"]


def test_waveforms_overwrite_nothing(counting, tmp_path):
    path = tmp_path / "wave.vcd"
    path.write_text("mine")
    check_fails(counting("pass"), InputError, "C004", vcd_path=path)
    assert path.read_text() == "mine"
    check_fails(counting("pass"), InputError, "C003", vcd_path=tmp_path / "no such folder" / "wave.vcd")


def test_progress_is_told(counting, monkeypatch):
    monkeypatch.setattr("hdl2grid.verify.testbench.PROGRESS_TICKS", 10)
    told = []
    run_checks(counting("await ctx.tick().repeat(35)"), progress=lambda *args: told.append(args))
    assert told == [("check: ticks", 10), ("check: ticks", 20), ("check: ticks", 30)]


# -- the shipped designs ------------------------------------------------------------------------------------------

NUM_REGISTERS = {
    "clock_12h": 11, "clock_24h": 20, "dial_12h": 8, "dice": 11, "stopwatch": 11, "traffic_light": 5,
}  # fmt: skip


def test_all_six_are_there():
    assert set(shipped_designs()) >= set(NUM_REGISTERS)
    assert all(find_design(name).is_file() for name in NUM_REGISTERS)


@pytest.mark.parametrize("name", NUM_REGISTERS)
def test_shipped_designs_pass_their_checks(name):
    # The sequences are common practice, no source: 12, 1 .. 11; 00 .. 59; a tick a minute, or each five minutes.
    machine = load_machine(name)
    elaboration = elaborate(machine)
    assert machine.name == name and elaboration.warnings == ()
    assert len(elaboration.logic.registers) == NUM_REGISTERS[name]
    assert machine.reset == Button() and machine.panel is not None
    assert set(machine.panel.signals) == {bit.name for bit in machine.output_ports()}
    report = run_checks(elaboration)
    assert len(report.results) == len(machine.checks) >= 2


@pytest.mark.parametrize(
    "name, old, new",
    [
        ("clock_12h", "init=12", "init=11"),
        ("clock_12h", "hour == 12", "hour == 13"),
        ("clock_12h", "tens == 5", "tens == 6"),
        ("clock_12h", "hour >= 10", "hour > 10"),
        ("dial_12h", "hour == 11", "hour == 10"),
        ("dial_12h", "(1 << hour) | (1 << minute)", "(1 << hour) ^ (1 << minute)"),
        ("stopwatch", "ones.step.eq(~self.hold)", "ones.step.eq(1)"),
        ("traffic_light", "timer == 3", "timer == 2"),
        ("dice", "face >= 4", "face >= 5"),
        ("dice", "rolling - 4", "rolling - 3"),
    ],
)
def test_the_checks_of_shipped_designs_find_faults(design, name, old, new):
    text = shipped_designs()[name].read_text()
    assert text.count(old) == 1
    with pytest.raises(GridError) as caught:
        run_checks(load_machine(design(text.replace(old, new))))
    assert caught.value.code in ("M060", "M061")
