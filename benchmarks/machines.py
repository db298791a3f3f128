"""Generated machines of any size for benchmarks: clocks, calendars, digits, and rings of small neighbours."""

import with_support  # noqa: F401
from amaranth.hdl import Cat, Const, Module, Mux, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out
from support.dice import Dice

from hdl2grid import At, AtEdge, BesidePanel, Button, Floorplan, FromPanel, KeepOut, Machine, Ticker
from hdl2grid.design.floorplan import EDGES, LOGIC, SIDES
from hdl2grid.panel import above, beside, lamp, seven_segment
from hdl2grid.parts import SegmentDecoder

SIZES = (25, 50, 100, 200, 400)
"""Sizes of growth, in stacks, about."""
STACKS_A_CLOCK = 18.5
STACKS_A_CALENDAR = 68.0
STACKS_A_REGISTER = 3.4
CLOSE, APART = (4, 3), (10, 8)
"""Columns and rows between the faces of a panel: as near as people put them; and with room for wires and cells."""
FIELDS = ("day", "month", "year")
BESIDE = {"left": "left", "right": "right", "above": "top", "below": "bottom"}


class Clocks(wiring.Component):
    """`count` clocks of two digits that know nothing of each other, of moduli drawn from `seed`."""

    def __init__(self, count, seed):
        rng = Dice(f"clocks {count} {seed}")
        self.moduli = [(rng.randint(8, 10), rng.choice([3, 4, 5, 6])) for _ in range(count)]
        super().__init__({f"{digit}{i}": Out(7) for i in range(count) for digit in ("ones", "tens")})

    def elaborate(self, platform):
        m = Module()
        for i, (low, high) in enumerate(self.moduli):
            ones, tens = Signal(range(low), name=f"low{i}"), Signal(range(high), name=f"high{i}")
            m.d.sync += ones.eq(Mux(ones == low - 1, 0, ones + 1))
            with m.If(ones == low - 1):
                m.d.sync += tens.eq(Mux(tens == high - 1, 0, tens + 1))
            for name, value in ((f"ones{i}", ones), (f"tens{i}", tens)):
                m.submodules[name] = decoder = SegmentDecoder()
                m.d.comb += [decoder.value.eq(value), getattr(self, name).eq(decoder.segments)]
        return m


class Digits(wiring.Component):
    """Decimal digits that carry, or that each have a ticker of their own, and a lamp for 8 and 9 of the first.
    `tail`: whether the first digit's 6 has its top stroke."""

    def __init__(self, count, own_tickers, tail):
        self.count, self.own_tickers, self.tail = count, own_tickers, tail
        super().__init__({"high": Out(1)} | {f"digit{i}": Out(7) for i in range(count)})

    def elaborate(self, platform):
        m = Module()
        carry = 1
        for i in range(self.count):
            count = Signal(range(10), name=f"count{i}")
            with m.If(carry):
                m.d[f"beat{i}" if self.own_tickers else "sync"] += count.eq(Mux(count == 9, 0, count + 1))
            carry = 1 if self.own_tickers else carry & (count == 9)
            m.submodules[f"decoder{i}"] = decoder = SegmentDecoder()
            lacks = (count == 6) if i == 0 and not self.tail else 0
            m.d.comb += [decoder.value.eq(count), getattr(self, f"digit{i}").eq(decoder.segments - lacks)]
            if i == 0:
                m.d.comb += self.high.eq(count >= 8)
        return m


class Calendars(wiring.Component):
    """`count` calendars of day, month and year, two digits each, with months of a length drawn from `seed`."""

    def __init__(self, count, seed):
        rng = Dice(f"calendars {count} {seed}")
        self.lengths = [rng.choice([28, 29, 30, 31]) for _ in range(count)]
        super().__init__(
            {f"{field}{i}_{digit}": Out(7) for i in range(count) for field in FIELDS for digit in range(2)}
        )

    def elaborate(self, platform):
        m = Module()
        for i, length in enumerate(self.lengths):
            step = Const(1)
            for field, first, last in zip(FIELDS, (1, 1, 0), (length, 12, 99), strict=True):
                low = Signal(4, init=first % 10, name=f"{field}{i}_low")
                high = Signal(range(last // 10 + 1), name=f"{field}{i}_high")
                is_last = (low == last % 10) & (high == last // 10)
                with m.If(step):
                    m.d.sync += low.eq(Mux(is_last, first, Mux(low == 9, 0, low + 1)))
                    m.d.sync += high.eq(Mux(is_last, 0, Mux(low == 9, high + 1, high)))
                step = step & is_last
                for digit, value in enumerate((low, high)):
                    name = f"{field}{i}_{digit}"
                    m.submodules[name] = decoder = SegmentDecoder()
                    m.d.comb += [decoder.value.eq(value), getattr(self, name).eq(decoder.segments)]
        return m


class Ring(wiring.Component):
    """`count` registers in a ring; each takes a random function of four near it."""

    def __init__(self, count, seed):
        self.count, self.seed = count, seed
        super().__init__({"shown": Out((count + 4) // 5)})

    def elaborate(self, platform):
        m = Module()
        rng = Dice(f"ring {self.count} {self.seed}")
        q = [Signal(name=f"q{i}", init=rng.randint(0, 1)) for i in range(self.count)]
        for i in range(self.count):
            w, x, y, z = (q[(i + rng.randint(-5, 5)) % self.count] ^ rng.randint(0, 1) for _ in range(4))
            m.d.sync += q[i].eq((x & y) ^ (z | w))
        m.d.comb += self.shown.eq(Cat(q[i] & q[(i + 1) % self.count] for i in range(0, self.count, 5)))
        return m


def clocks(stacks: int, seed: int = 1, floorplan: Floorplan | None = None, between: tuple[int, int] = CLOSE) -> Machine:
    """Clocks of about `stacks` stacks together, in rows of up to four on one panel."""
    count = max(1, round(stacks / STACKS_A_CLOCK))
    faces = [beside(seven_segment(f"tens{i}"), seven_segment(f"ones{i}")) for i in range(count)]
    rows = [beside(*faces[i : i + 4], gap=between[0]) for i in range(0, count, 4)]
    panel = above(*rows, gap=between[1]) if len(rows) > 1 else rows[0]
    name = f"{'clocks' if between == CLOSE else 'apart'}_{stacks}_{seed}"
    domains = {"sync": Ticker(1)}
    return Machine(Clocks(count, seed), clocks=domains, reset=Button(), panel=panel, name=name, floorplan=floorplan)


def digits(count: int, own_tickers: bool = False, tail: bool = True) -> Machine:
    """`count` digits beside each other, the lamp at the right."""
    clocks = {f"beat{i}": Ticker(i + 1) for i in range(count)} if own_tickers else {"sync": Ticker(1)}
    panel = beside(*(seven_segment(f"digit{i}") for i in reversed(range(count))), lamp("high"))
    name = f"digits_{count}{'_own' if own_tickers else ''}"
    return Machine(Digits(count, own_tickers, tail), clocks=clocks, reset=Button(), panel=panel, name=name)


def apart(stacks: int, seed: int = 1) -> Machine:
    """The same clocks, their faces further apart."""
    return clocks(stacks, seed, between=APART)


def calendar(stacks: int, seed: int = 1) -> Machine:
    """Calendars of about `stacks` stacks together, in rows of up to two on one panel."""
    count = max(1, round(stacks / STACKS_A_CALENDAR))
    faces = [beside(*(seven_segment(f"{field}{i}_{d}") for field in FIELDS for d in (1, 0))) for i in range(count)]
    rows = [beside(*faces[i : i + 2], gap=APART[0]) for i in range(0, count, 2)]
    panel = above(*rows, gap=APART[1]) if len(rows) > 1 else rows[0]
    name = f"calendar_{stacks}_{seed}"
    domains = {"sync": Ticker(1)}
    return Machine(Calendars(count, seed), clocks=domains, reset=Button(), panel=panel, name=name)


def sited(stacks: int, seed: int = 1) -> Machine:
    """Clocks with a floorplan drawn from `seed`: places, sides, keep-outs, a margin, in all mixtures."""
    rng = Dice(f"sited {stacks} {seed}")
    logic = rng.choice(LOGIC)
    x, y = rng.randint(0, 30), rng.randint(0, 30)
    x += 40 if logic == "left" else 0
    y += 40 if logic == "above" else 0
    panel = rng.choice(
        [None, None, At(x, y), AtEdge(rng.choice([edge for edge in EDGES if edge != BESIDE.get(logic)]))]
    )
    sources = {}
    if rng.random() < 0.6:
        sources["reset"] = rng.choice([BesidePanel(rng.choice(SIDES), rng.randint(1, 3)), FromPanel(-3, -2)])
    if rng.random() < 0.4:
        sources["sync"] = At(rng.randint(0, 3), 0)
    if isinstance(panel, At):  # beside it there is room only for what is on the grid, and not on the panel
        sources = {name: place for name, place in sources.items() if min(x, y) > 5 and (name == "reset" or y > 5)}
    beyond = max(x, y) + 45
    keep_out = [
        KeepOut(rng.randint(5, beyond), rng.randint(5, beyond), rng.randint(1, 8), rng.randint(1, 8))
        for _ in range(rng.randint(0, 3))
        if not isinstance(panel, At)
    ]
    margin = rng.choice([0, 0, 1, 2])
    return clocks(stacks, seed, Floorplan(panel=panel, sources=sources, keep_out=keep_out, logic=logic, margin=margin))


def ring(stacks: int, seed: int = 1) -> Machine:
    """A ring of about `stacks` stacks, its outputs on lone pixels."""
    count = max(3, round(stacks / STACKS_A_REGISTER))
    return Machine(Ring(count, seed), clocks={"sync": Ticker(1)}, reset=Button(), name=f"ring_{stacks}_{seed}")
