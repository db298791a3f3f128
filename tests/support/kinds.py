"""One small machine for each kind of design that must plan, by hand. `MACHINES` makes them by name."""

from collections.abc import Callable

from amaranth.hdl import (
    Array,
    Cat,
    ClockDomain,
    EnableInserter,
    Module,
    Mux,
    ResetInserter,
    Signal,
    signed,
)
from amaranth.lib import data, enum, memory, wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import Button, Machine, Switch, Ticker
from hdl2grid.panel import Panel

MACHINES: dict[str, Callable[[], Machine]] = {}


class Gear(enum.Enum, shape=2):
    PARK = 0
    SLOW = 2
    FAST = 3


class Pair(data.Struct):
    low: 2
    high: signed(2)


class Design(wiring.Component):
    """A component whose body is a function `body(m, ports)`."""

    def __init__(self, ports: dict, body: Callable[[Module, wiring.Component], None]) -> None:
        self.body = body
        super().__init__(ports)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        self.body(m, self)
        return m


def kind(ports: dict, *, reset: bool = True, panel: Callable[[], Panel] | None = None, **clocks: Ticker | Button):
    """Adds a machine of these ports to MACHINES, with a switch for each input."""

    def add(body: Callable[[Module, wiring.Component], None]) -> None:
        def make() -> Machine:
            return Machine(
                Design(ports, body),
                clocks=clocks,
                reset=Button() if reset else None,
                inputs={name: Switch() for name, member in ports.items() if member.flow is In},
                panel=panel() if panel is not None else None,
                name=body.__name__,
            )

        MACHINES[body.__name__] = make

    return add


TICK = Ticker(seconds=1)


@kind({"fast": In(1), "gear": Out(2), "moves": Out(1)}, sync=TICK)
def enums(m, p):
    gear = Signal(Gear, init=Gear.PARK)
    with m.Switch(gear):
        with m.Case(Gear.PARK):
            m.d.sync += gear.eq(Gear.SLOW)
        with m.Case(Gear.SLOW):
            m.d.sync += gear.eq(Mux(p.fast, Gear.FAST, Gear.PARK))
        with m.Default():
            m.d.sync += gear.eq(Gear.PARK)
    m.d.comb += [p.gear.eq(gear), p.moves.eq(gear != Gear.PARK)]


@kind({"pair": Out(Pair), "sum": Out(signed(3))}, sync=TICK)
def structs(m, p):
    pair = Signal(Pair, init={"low": 1, "high": -2})
    m.d.sync += [pair.low.eq(pair.low + 1), pair.high.eq(pair.high - pair.low.as_signed())]
    m.d.comb += [p.pair.eq(pair), p.sum.eq(pair.low + pair.high)]


@kind({"step": In(signed(2)), "level": Out(signed(4)), "below": Out(1)}, sync=TICK)
def signed_numbers(m, p):
    level = Signal(signed(4), init=-3)
    m.d.sync += level.eq(level + p.step)
    m.d.comb += [p.level.eq(abs(level) - 2), p.below.eq(level < 0)]


@kind({"index": In(2), "shown": Out(2)}, sync=TICK)
def arrays(m, p):
    cells = Array(Signal(2, init=i, name=f"cell{i}") for i in range(3))
    m.d.sync += cells[p.index].eq(cells[p.index] + 1)
    m.d.comb += p.shown.eq(cells[p.index])


@kind({"code": Out(7)}, sync=TICK)
def rom(m, p):
    count = Signal(3)
    m.submodules.table = table = memory.Memory(shape=7, depth=8, init=[6, 91, 79, 102, 109, 125, 7, 127])
    port = table.read_port(domain="comb")
    m.d.sync += count.eq(count + 1)
    m.d.comb += [port.addr.eq(count), p.code.eq(port.data)]


@kind({"address": In(1), "word": In(2), "write": In(1), "shown": Out(2), "late": Out(2)}, sync=TICK)
def ram(m, p):
    m.submodules.store = store = memory.Memory(shape=2, depth=2, init=[1, 2])
    writing, reading, late = store.write_port(), store.read_port(domain="comb"), store.read_port()
    m.d.comb += [writing.addr.eq(p.address), writing.data.eq(p.word), writing.en.eq(p.write)]
    m.d.comb += [reading.addr.eq(p.address), p.shown.eq(reading.data)]
    m.d.comb += [late.addr.eq(~p.address), late.en.eq(1), p.late.eq(late.data)]


@kind({"go": In(1), "red": Out(1), "green": Out(1)}, sync=TICK)
def fsm(m, p):
    with m.FSM(init="RED"):
        with m.State("RED"):
            m.d.comb += p.red.eq(1)
            with m.If(p.go):
                m.next = "BOTH"
        with m.State("BOTH"):
            m.d.comb += [p.red.eq(1), p.green.eq(1)]
            m.next = "GREEN"
        with m.State("GREEN"):
            m.d.comb += p.green.eq(1)
            m.next = "RED"


@kind({"slow": Out(2), "quick": Out(2), "score": Out(2), "all": Out(1)}, a=TICK, b=Ticker(seconds=0.25), white=Button())
def several_domains(m, p):
    m.d.a += p.slow.eq(p.slow + 1)
    m.d.b += p.quick.eq(p.quick + p.slow)
    m.d.white += p.score.eq(p.score + p.quick[0])
    m.d.comb += p.all.eq(Cat(p.slow, p.quick, p.score).all())


@kind({"stop": In(1), "clear": In(1), "a": Out(2), "b": Out(2)}, sync=TICK)
def inserters(m, p):
    for name, insert in (("a", EnableInserter(~p.stop)), ("b", ResetInserter(p.clear))):
        inner, count = Module(), Signal(2, init=1, name=f"count_{name}")
        inner.d.sync += count.eq(count + 1)
        m.submodules[name] = insert(inner)
        m.d.comb += getattr(p, name).eq(count)


@kind({"word": In(3), "other": In(2), "product": Out(4)}, reset=False)
def no_registers(m, p):
    m.d.comb += p.product.eq(p.word * p.other)


@kind({"a": In(1), "b": In(3), "q": Out(1), "r": Out(3)}, reset=False)
def straight_through(m, p):
    m.d.comb += [p.q.eq(p.a), p.r.eq(p.b[::-1])]


@kind({"q": Out(1)}, reset=False, sync=TICK)
def no_inputs_no_reset(m, p):
    m.d.sync += p.q.eq(~p.q)


@kind({"zero": Out(1), "seven": Out(3), "negative": Out(signed(2)), "q": Out(1)}, sync=TICK)
def constant_outputs(m, p):
    m.d.comb += [p.zero.eq(0), p.seven.eq(7), p.negative.eq(-1)]
    m.d.sync += p.q.eq(~p.q)


@kind({"one": Out(1), "two": Out(2)}, reset=False)
def constants_only(m, p):
    m.d.comb += [p.one.eq(1), p.two.eq(2)]


@kind({"a": In(1), "still": Out(2), "q": Out(1)}, sync=TICK)
def registers_that_never_change(m, p):
    still = Signal(2, init=2)
    m.d.sync += [still.eq(still), p.q.eq(p.a ^ still[1])]
    m.d.comb += p.still.eq(still)


@kind({"q": Out(2), "same": Out(2), "inverse": Out(1)}, sync=TICK)
def one_bit_at_two_ports(m, p):
    m.d.sync += p.q.eq(p.q + 1)
    m.d.comb += [p.same.eq(p.q), p.inverse.eq(~p.q[0])]


@kind({"serial": In(1), "taps": Out(6)}, sync=TICK)
def shift_register(m, p):
    m.d.sync += p.taps.eq(Cat(p.serial, p.taps[:-1]))


@kind({"kept": Out(2), "cleared": Out(2)}, sync=TICK)
def reset_less_registers(m, p):
    kept, cleared = Signal(2, init=1, reset_less=True), Signal(2, init=1)
    m.d.sync += [kept.eq(kept + 1), cleared.eq(cleared + kept)]
    m.d.comb += [p.kept.eq(kept), p.cleared.eq(cleared)]


@kind(
    {"q": Out(2)},
    panel=lambda: Panel.from_art("\n".join(["a" * 12] * 5 + ["." * 12] + ["b" * 12] * 3), {"a": "q[0]", "b": "q[1]"}),
    sync=TICK,
)
def many_pixels(m, p):
    m.d.sync += p.q.eq(p.q + 1)


@kind({"a": In(6), "b": In(3), "parity": Out(1), "terms": Out(1), "one": Out(1)}, reset=False)
def many_terms(m, p):
    m.d.comb += [
        p.parity.eq(Cat(p.a, p.b).xor()),
        p.terms.eq((p.a[0] & p.b[0]) ^ (p.a[1] & p.b[1]) ^ (p.a[2] & p.b[2]) ^ (p.a[3] & p.a[4]) ^ p.a[5]),
        p.one.eq(sum(p.a) == 1),
    ]


@kind({"unused": In(2), "used": In(1), "q": Out(1)}, sync=TICK, idle=Button())
def sources_that_nothing_uses(m, p):
    m.domains += ClockDomain("idle")
    m.d.sync += p.q.eq(p.q ^ p.used)


@kind({"presses": Out(3)}, white=Button())
def a_domain_of_a_button(m, p):
    m.d.white += p.presses.eq(p.presses + 1)


@kind({"by": In(2), "quotient": Out(3), "rest": Out(2), "third": Out(3)}, sync=TICK)
def division(m, p):
    count = Signal(3, init=5)
    m.d.sync += count.eq(count + 1)
    m.d.comb += [p.quotient.eq(count // p.by), p.rest.eq(count % p.by), p.third.eq(count // 3)]


@kind({"at": In(2), "value": In(1), "word": Out(4), "slice": Out(2)}, sync=TICK)
def part_selects(m, p):
    word = Signal(4, init=0b0110)
    m.d.sync += word.bit_select(p.at, 1).eq(p.value)
    m.d.comb += [p.word.eq(word.rotate_left(1)), p.slice.eq(word.word_select(p.at[0], 2))]


@kind({"bit": In(1), "ones": Out(3), "found": Out(1)}, sync=TICK)
def deep_logic(m, p):
    history = Signal(5)
    m.d.sync += history.eq(Cat(p.bit, history[:-1]))
    m.d.comb += [p.ones.eq(sum(history)), p.found.eq(history.matches("1-0-1", "01010"))]


@kind({"nothing": Out(0), "nobody": In(0), "q": Out(1)}, sync=TICK)
def ports_of_no_bits(m, p):
    m.d.sync += p.q.eq(~p.q)
