"""A 12-hour clock with four digits: 12:00, 12:01 .. 12:59, 1:00 .. 11:59. It ticks once a minute.

The reset button sets it to 12:00. The colon is always lit.
"""

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out

from hdl2grid import Button, Machine, Ticker, press
from hdl2grid.panel import beside, colon, framed, leading_one, seven_segment
from hdl2grid.parts import SEGMENTS, SegmentDecoder


class Clock12h(wiring.Component):
    hour_one: Out(1)  # the 1 of 10, 11 and 12
    hours: Out(7)
    colon: Out(1)
    tens: Out(7)
    ones: Out(7)

    def elaborate(self, platform):
        m = Module()
        hour = Signal(range(1, 13), init=12)
        tens = Signal(range(6))
        ones = Signal(range(10))

        m.d.sync += ones.eq(ones + 1)
        with m.If(ones == 9):
            m.d.sync += [ones.eq(0), tens.eq(tens + 1)]
            with m.If(tens == 5):
                m.d.sync += [tens.eq(0), hour.eq(hour + 1)]
                with m.If(hour == 12):
                    m.d.sync += hour.eq(1)

        m.submodules.hours = hours = SegmentDecoder()
        m.submodules.tens = tens_digit = SegmentDecoder()
        m.submodules.ones = ones_digit = SegmentDecoder()
        m.d.comb += [
            self.hour_one.eq(hour >= 10),
            hours.value.eq(hour - 10 * self.hour_one),
            tens_digit.value.eq(tens),
            ones_digit.value.eq(ones),
            self.hours.eq(hours.segments),
            self.tens.eq(tens_digit.segments),
            self.ones.eq(ones_digit.segments),
            self.colon.eq(1),
        ]
        return m


clock = Clock12h()


def reading(ctx):
    """What the panel shows: (hour, minute)."""
    hours = SEGMENTS.index(ctx.get(clock.hours)) + 10 * ctx.get(clock.hour_one)
    return hours, 10 * SEGMENTS.index(ctx.get(clock.tens)) + SEGMENTS.index(ctx.get(clock.ones))


async def check_half_a_day(ctx):
    """All 720 minutes in order, and then 12:00 again."""
    for hour in [12, *range(1, 12)]:
        for minute in range(60):
            assert reading(ctx) == (hour, minute), f"{reading(ctx)} instead of {hour}:{minute:02}"
            assert ctx.get(clock.colon) == 1, "the colon is dark"
            await ctx.tick()
    assert reading(ctx) == (12, 0)


async def check_reset(ctx):
    await ctx.tick().repeat(345)
    assert reading(ctx) == (5, 45)
    await press(ctx, "reset")
    assert reading(ctx) == (12, 0)


machine = Machine(
    clock,
    clocks={"sync": Ticker(seconds=60)},
    reset=Button(),
    panel=framed(
        beside(
            leading_one("hour_one"),
            seven_segment("hours"),
            colon("colon"),
            seven_segment("tens"),
            seven_segment("ones"),
        )
    ),
    check=[check_half_a_day, check_reset],
)
