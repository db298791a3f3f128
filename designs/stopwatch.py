"""A stopwatch from 0:00 to 9:59, with a tick a second. It stands while the hold switch is on.

The reset button sets it to 0:00.
"""

from amaranth.hdl import Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import Button, Machine, Switch, Ticker, press
from hdl2grid.panel import beside, colon, framed, seven_segment
from hdl2grid.parts import SEGMENTS, Counter, SegmentDecoder


class Stopwatch(wiring.Component):
    hold: In(1)
    minutes: Out(7)
    colon: Out(1)
    tens: Out(7)
    ones: Out(7)

    def elaborate(self, platform):
        m = Module()
        m.submodules.ones = ones = Counter(10)
        m.submodules.tens = tens = Counter(6)
        m.submodules.minutes = minutes = Counter(10)
        m.d.comb += [
            ones.step.eq(~self.hold),
            tens.step.eq(ones.carry),
            minutes.step.eq(tens.carry),
            self.colon.eq(1),
        ]
        for counter, port in [(ones, self.ones), (tens, self.tens), (minutes, self.minutes)]:
            decoder = SegmentDecoder()
            m.submodules += decoder
            m.d.comb += [decoder.value.eq(counter.value), port.eq(decoder.segments)]
        return m


watch = Stopwatch()


def reading(ctx):
    """What the panel shows, in seconds."""
    minutes, tens, ones = (SEGMENTS.index(ctx.get(p)) for p in (watch.minutes, watch.tens, watch.ones))
    return 60 * minutes + 10 * tens + ones


async def check_ten_minutes(ctx):
    for second in range(600):
        assert reading(ctx) == second
        await ctx.tick()
    assert reading(ctx) == 0


async def check_hold_and_reset(ctx):
    await ctx.tick().repeat(75)
    ctx.set(watch.hold, 1)
    await ctx.tick().repeat(30)
    assert reading(ctx) == 75, "it ran on while it was held"
    ctx.set(watch.hold, 0)
    await ctx.tick().repeat(5)
    assert reading(ctx) == 80
    ctx.set(watch.hold, 1)
    await press(ctx, "reset")
    assert reading(ctx) == 0
    await ctx.tick()
    assert reading(ctx) == 0


machine = Machine(
    watch,
    clocks={"sync": Ticker(seconds=1)},
    reset=Button(),
    inputs={"hold": Switch()},
    panel=framed(beside(seven_segment("minutes"), colon("colon"), seven_segment("tens"), seven_segment("ones"))),
    check=[check_ten_minutes, check_hold_and_reset],
)
