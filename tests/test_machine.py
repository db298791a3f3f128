"""Machine, Ticker, Button, Switch: what they take, and one clear message for each mistake."""

import enum as python_enum
import functools
import inspect
from fractions import Fraction

import pytest
from amaranth.hdl import Const, Module, Signal, signed, unsigned
from amaranth.lib import data, enum, wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import Button, Machine, Switch, Ticker
from hdl2grid.base.errors import InputError
from hdl2grid.panel import Panel, lamp, seven_segment

pytestmark = pytest.mark.filterwarnings("ignore::amaranth.hdl.UnusedElaboratable")


class Colour(enum.Enum, shape=2):
    RED = 0
    BLUE = 2


class Pair(data.Struct):
    low: 3
    high: signed(2)


BUS = wiring.Signature({"data": Out(4), "ready": In(1), "lines": Out(2).array(2)})


class Base(wiring.Component):
    def elaborate(self, platform):
        return Module()


class Shapes(Base):
    hold: In(1)
    word: In(4)
    level: In(signed(3))
    hue: In(Colour)
    keys: In(1).array(2)
    ones: Out(7)
    pm: Out(1)
    minus: Out(signed(2))
    shade: Out(Colour)
    pair: Out(Pair)
    seg: Out(4).array(2)
    grid: Out(1).array(2, 2)
    nothing: Out(0)
    empty: In(0)
    bus: Out(BUS)
    other: In(BUS)


INPUTS = ("hold", "word", "level", "hue", "keys__0", "keys__1", "bus__ready", "other__data")
INPUTS += ("other__lines__0", "other__lines__1")


def switches(**given):
    return {name: Switch() for name in INPUTS} | given


class Small(Base):
    hold: In(1)
    word: In(4)
    ones: Out(7)
    pm: Out(1)


SMALL = {"hold": Switch(), "word": Switch()}


def fails(code, *args, **kwargs):
    """The error of Machine(*args, **kwargs), which must have `code` and name a line of this file."""
    with pytest.raises(InputError) as caught:
        Machine(*args, **kwargs)
    assert caught.value.code == code, str(caught.value)
    assert caught.value.where is None or "test_machine.py:" in caught.value.where, caught.value.where
    assert caught.value.exit_code == 2
    return str(caught.value)


def line_of(fragment, cls=Small):
    """The line of this file that declares a port."""
    lines, first = inspect.getsourcelines(cls)
    return f"test_machine.py:{first + next(i for i, line in enumerate(lines) if fragment in line)}"


def test_ports_are_flat_and_in_the_order_of_the_signature():
    machine = Machine(Shapes(), inputs=switches())
    assert [bit.name for bit in machine.input_ports()] == [
        "hold", *(f"word[{i}]" for i in range(4)), *(f"level[{i}]" for i in range(3)), "hue[0]", "hue[1]",
        "keys__0", "keys__1", "bus__ready", *(f"other__data[{i}]" for i in range(4)),
        *(f"other__lines__{n}[{i}]" for n in range(2) for i in range(2)),
    ]  # fmt: skip
    assert [bit.name for bit in machine.output_ports()] == [
        *(f"ones[{i}]" for i in range(7)), "pm", "minus[0]", "minus[1]", "shade[0]", "shade[1]",
        *(f"pair[{i}]" for i in range(5)), *(f"seg__{n}[{i}]" for n in range(2) for i in range(4)),
        *(f"grid__{a}__{b}" for a in range(2) for b in range(2)), *(f"bus__data[{i}]" for i in range(4)),
        *(f"bus__lines__{n}[{i}]" for n in range(2) for i in range(2)), "other__ready",
    ]  # fmt: skip


def test_port_bits_lead_to_the_components_signals():
    component = Shapes()
    machine = Machine(component, inputs=switches())
    bits = {bit.name: bit for bit in (*machine.input_ports(), *machine.output_ports())}
    assert bits["ones[3]"].value is component.ones and bits["ones[3]"].index == 3
    assert bits["seg__1[2]"].value is component.seg[1]
    assert bits["bus__ready"].value is component.bus.ready
    assert bits["pair[4]"].value is component.pair.as_value()
    assert len(bits["minus[1]"].bit) == 1


@pytest.mark.parametrize("port", ["hold", "ones", "pair", "seg", "grid"])
def test_port_bits_know_their_line(port):
    machine = Machine(Shapes(), inputs=switches())
    bit = next(b for b in (*machine.input_ports(), *machine.output_ports()) if b.name.startswith(port))
    assert str(bit.source).endswith(line_of(f"    {port}:", Shapes))


@pytest.mark.parametrize(
    "port, on, bits",
    [
        ("hold", True, [1]), ("hold", 1, [1]), ("hold", 0, [0]), ("word", 0b1010, [0, 1, 0, 1]),
        ("word", 1, [1, 0, 0, 0]), ("word", False, [0, 0, 0, 0]), ("word", Const(5, 4), [1, 0, 1, 0]),
        ("level", -1, [1, 1, 1]), ("level", 7, [1, 1, 1]),
        ("level", -4, [0, 0, 1]), ("hue", Colour.BLUE, [0, 1]), ("hue", 1, [1, 0]), ("keys__1", True, [1]),
    ],
)  # fmt: skip
def test_switches_start_as_they_say(port, on, bits):
    levels = Machine(Shapes(), inputs=switches(**{port: Switch(on=on)})).initial_levels()
    assert [levels[name] for name in levels if name == port or name.startswith(f"{port}[")] == bits
    assert sum(levels.values()) == sum(bits)


@pytest.mark.parametrize(
    "port, on",
    [
        ("hold", 2), ("hold", -1), ("hold", "yes"), ("hold", None), ("hold", 1.0), ("word", 16), ("word", -1),
        ("word", True), ("level", 8), ("level", -5), ("hue", "pink"), ("hue", 4), ("word", float("nan")),
    ],
)  # fmt: skip
def test_a_level_that_does_not_fit(port, on):
    assert port in fails("M012", Shapes(), inputs=switches(**{port: Switch(on=on)}))


@pytest.mark.parametrize(
    "given, kept, kind",
    [(1, 1, int), (60.0, 60, int), (0.25, 0.25, float), (Fraction(1, 2), 0.5, float), (10**12, 10**12, int)],
)
def test_periods(given, kept, kind):
    period = Ticker(given).seconds
    assert period == kept and type(period) is kind


@pytest.mark.parametrize(
    "period", [0, -1, -0.0, float("nan"), float("inf"), -float("inf"), True, "1", None, 10**400, 1j, [1], Fraction(0)]
)
def test_periods_that_cannot_be(period):
    with pytest.raises(InputError) as caught:
        Ticker(seconds=period)
    assert caught.value.code == "M006" and "test_machine.py:" in caught.value.where


def test_components():
    assert "Write Machine(Small(), ...)" in fails("M001", Small)
    for wrong in (None, Module(), "clock", Signal(3)):
        assert "wiring.Component" in fails("M001", wrong)


def test_a_component_whose_ports_were_replaced():
    for replacement in (Signal(3), 5, "text"):
        component = Small()
        component.ones = replacement
        assert "ones" in fails("M002", component, inputs=SMALL)
    component = Small()
    component.hold = Const(1, 1)
    assert "hold" in fails("M002", component, inputs=SMALL)
    component = Small()
    del component.pm
    assert "pm" in fails("M002", component, inputs=SMALL)


def test_an_output_may_be_a_constant():
    component = Small()
    component.pm = Const(1, 1)
    assert Machine(component, inputs=SMALL).output_ports()[-1].name == "pm"


def test_clocks():
    assert Machine(Small(), inputs=SMALL).clocks == {}
    for wrong in (None, [("sync", Ticker(1))], Ticker(1), "sync"):
        fails("M003", Small(), clocks=wrong, inputs=SMALL)
    for name in ("comb", "", "a b", 3, "a*2", None):
        fails("M004", Small(), clocks={name: Ticker(1)}, inputs=SMALL)
    for source in (Switch(), 1, None, "1 s", Button, Ticker):
        assert "'sync'" in fails("M005", Small(), clocks={"sync": source}, inputs=SMALL)
    assert "Button()" in fails("M005", Small(), clocks={"sync": Button}, inputs=SMALL)


def test_reset():
    for wrong in (True, Ticker(1), Switch(), Button, "reset"):
        fails("M007", Small(), reset=wrong, inputs=SMALL)


def test_inputs():
    for wrong in (None, ["hold"], Switch()):
        fails("M008", Small(), inputs=wrong)
    for wrong in (Button(), True, Switch, None, Ticker(1)):
        assert "'hold'" in fails("M008", Small(), inputs=SMALL | {"hold": wrong})
    assert "Did you mean 'hold'?" in fails("M009", Small(), inputs={"hodl": Switch(), "word": Switch()})
    assert "hold, word" in fails("M009", Small(), inputs=SMALL | {"zzz": Switch()})
    fails("M009", Small(), inputs=SMALL | {3: Switch()})
    assert line_of("ones:") in fails("M010", Small(), inputs=SMALL | {"ones": Switch()})


def test_a_missing_switch_is_named_with_the_ports_line():
    message = fails("M011", Small(), inputs={"word": Switch()})
    assert "'hold'" in message and line_of("hold:") in message and 'inputs={"hold": Switch()}' in message
    assert "'hold', 'word'" in fails("M011", Small())


def test_inputs_of_no_bits_need_no_switch():
    Machine(Shapes(), inputs=switches())
    Machine(Shapes(), inputs=switches(empty=Switch()))


def test_clashing_names():
    class Clash(Base):
        fast: In(1)
        reset: Out(1)
        a: Out(1).array(1)
        a__0: Out(1)

    class PortLikeDomain(Base):
        fast: In(1)

    class PortLikeReset(Base):
        reset: Out(1)

    fails("M013", Clash(), inputs={"fast": Switch()})
    message = fails("M013", PortLikeDomain(), clocks={"fast": Ticker(1)}, inputs={"fast": Switch()})
    assert "'fast'" in message and "test_machine.py:" in message
    assert "'reset'" in fails("M013", PortLikeReset())
    assert "'reset'" in fails("M013", Small(), clocks={"reset": Button()}, inputs=SMALL)
    same = Small()
    same.pm = same.hold
    assert "'hold' and 'pm'" in fails("M013", same, inputs=SMALL)


def test_panels():
    assert "Did you mean 'ones'?" in fails("M015", Small(), inputs=SMALL, panel=seven_segment("one"))
    message = fails("M016", Small(), inputs=SMALL, panel=lamp("ones[7]"))
    assert "pixel (0,0) shows ones[7]; ones is an output, 7 bits wide" in message and line_of("ones:") in message
    for signal in ("ones", "ones[-1]", "ones[1", "ones[x]", "ones[01]", "ones[]", "pm[0]"):
        assert signal in fails("M016", Small(), inputs=SMALL, panel=lamp(signal))
    assert "input" in fails("M017", Small(), inputs=SMALL, panel=lamp("hold"))
    for wrong in ("panel", [lamp("pm")], lamp, Panel):
        fails("M014", Small(), inputs=SMALL, panel=wrong)
    fails("M040", Small(), inputs=SMALL, panel=Panel.from_art("aba\nbcb\naba", dict(a="pm", b="ones[0]", c="ones[1]")))


def test_a_panel_may_show_bits_of_nested_ports():
    Machine(Shapes(), inputs=switches(), panel=Panel.from_art("a.b", {"a": "seg__1[3]", "b": "bus__lines__0[1]"}))


async def one(ctx):
    pass


async def two(ctx, dut):
    pass


async def three(ctx, dut, more):
    pass


async def with_default(ctx, ticks=5):
    pass


def plain(ctx):
    pass


async def generator(ctx):
    yield


def test_checks():
    assert Machine(Small(), inputs=SMALL).checks == ()
    assert Machine(Small(), inputs=SMALL, check=one).checks == (one,)
    assert Machine(Small(), inputs=SMALL, check=[one, two]).checks == (one, two)
    Machine(Small(), inputs=SMALL, check=with_default)
    Machine(Small(), inputs=SMALL, check=functools.partial(three, more=1))
    for wrong in (plain, generator, three, "one", 3, [one, plain], one(None)):
        fails("M018", Small(), inputs=SMALL, check=wrong)


def test_names():
    machine = Machine(Small(), inputs=SMALL)
    assert machine.name is None and machine.named("stem").name == "stem"
    assert Machine(Small(), inputs=SMALL, name="mine").named("stem").name == "mine"
    for wrong in ("", "  ", 3, "a/b", "a\\b", "a\nb", "x" * 101):
        fails("M019", Small(), inputs=SMALL, name=wrong)
    fails("M020", Small(), inputs=SMALL, floorplan={"panel": "left"})


def test_arguments_after_the_component_are_keywords():
    with pytest.raises(TypeError):
        Machine(Small(), {"sync": Ticker(1)})
    with pytest.raises(TypeError, match="clock"):
        Machine(Small(), clock={"sync": Ticker(1)})


def test_levels_of_ordinary_enums_and_numbers_of_other_shapes():
    class Mode(python_enum.IntEnum):
        SLOW = 0
        FAST = 1

    class Moded(Base):
        mode: In(unsigned(1))

    assert Machine(Moded(), inputs={"mode": Switch(on=Mode.FAST)}).initial_levels() == {"mode": 1}
