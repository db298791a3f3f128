"""A 24-hour clock with seconds: 00:00:00 to 23:59:59. It ticks once a second.

The reset button sets it to midnight. The colons are always lit.
"""

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out

from hdl2grid import Button, Machine, Ticker, press
from hdl2grid.panel import beside, colon, framed, seven_segment
from hdl2grid.parts import SEGMENTS, SegmentDecoder


class Clock24h(wiring.Component):
    hour_tens: Out(7)
    hour_ones: Out(7)
    minute_tens: Out(7)
    minute_ones: Out(7)
    second_tens: Out(7)
    second_ones: Out(7)
    colons: Out(1)

    def elaborate(self, platform):
        m = Module()
        hour_tens = Signal(range(3))
        hour_ones = Signal(range(10))
        minute_tens = Signal(range(6))
        minute_ones = Signal(range(10))
        second_tens = Signal(range(6))
        second_ones = Signal(range(10))

        m.d.sync += second_ones.eq(second_ones + 1)
        with m.If(second_ones == 9):
            m.d.sync += [second_ones.eq(0), second_tens.eq(second_tens + 1)]
            with m.If(second_tens == 5):
                m.d.sync += [second_tens.eq(0), minute_ones.eq(minute_ones + 1)]
                with m.If(minute_ones == 9):
                    m.d.sync += [minute_ones.eq(0), minute_tens.eq(minute_tens + 1)]
                    with m.If(minute_tens == 5):
                        m.d.sync += [minute_tens.eq(0), hour_ones.eq(hour_ones + 1)]
                        with m.If(hour_ones == 9):
                            m.d.sync += [hour_ones.eq(0), hour_tens.eq(hour_tens + 1)]
                        with m.If((hour_tens == 2) & (hour_ones == 3)):
                            m.d.sync += [hour_ones.eq(0), hour_tens.eq(0)]

        digits = [
            (hour_tens, self.hour_tens),
            (hour_ones, self.hour_ones),
            (minute_tens, self.minute_tens),
            (minute_ones, self.minute_ones),
            (second_tens, self.second_tens),
            (second_ones, self.second_ones),
        ]
        for value, port in digits:
            m.submodules[value.name] = decoder = SegmentDecoder()
            m.d.comb += [decoder.value.eq(value), port.eq(decoder.segments)]
        m.d.comb += self.colons.eq(1)
        return m


clock = Clock24h()


def reading(words):
    """The digits that segment words show, as one text: "235959"."""
    return "".join(str(SEGMENTS.index(word)) for word in words)


DIGITS = [
    clock.hour_tens,
    clock.hour_ones,
    clock.minute_tens,
    clock.minute_ones,
    clock.second_tens,
    clock.second_ones,
]


async def check_a_day(ctx):
    """All 86,400 seconds in order, and then midnight again."""
    second = 0
    async for _, _, colons, *words in ctx.tick().sample(clock.colons, *DIGITS):
        expected = f"{second // 3600:02}{second // 60 % 60:02}{second % 60:02}"
        assert reading(words) == expected, f"{reading(words)} instead of {expected}"
        assert colons == 1, "the colons are dark"
        second += 1
        if second == 24 * 60 * 60:
            break
    assert reading(ctx.get(digit) for digit in DIGITS) == "000000"


async def check_reset(ctx):
    await ctx.tick().repeat(4000)
    assert reading(ctx.get(digit) for digit in DIGITS) == "010640"
    await press(ctx, "reset")
    assert reading(ctx.get(digit) for digit in DIGITS) == "000000"


machine = Machine(
    clock,
    clocks={"sync": Ticker(seconds=1)},
    reset=Button(),
    panel=framed(
        beside(
            seven_segment("hour_tens"),
            seven_segment("hour_ones"),
            colon("colons"),
            seven_segment("minute_tens"),
            seven_segment("minute_ones"),
            colon("colons"),
            seven_segment("second_tens"),
            seven_segment("second_ones"),
        )
    ),
    check=[check_a_day, check_reset],
)
