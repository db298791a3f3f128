"""A dial of 12 rays with an hour hand and a longer minute hand. It ticks once in five minutes.

Each ray has a short inner part, which both hands light, and an outer part, which only the minute hand does.
The hour hand moves when the minute hand comes round. The reset button sets it to 12 o'clock.
"""

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out

from hdl2grid import Button, Machine, Ticker, press
from hdl2grid.panel import dial, framed


class Dial12h(wiring.Component):
    inner: Out(12)  # one bit a ray, ray 0 upward
    outer: Out(12)

    def elaborate(self, platform):
        m = Module()
        hour = Signal(range(12))
        minute = Signal(range(12))  # in steps of five minutes

        m.d.sync += minute.eq(minute + 1)
        with m.If(minute == 11):
            m.d.sync += [minute.eq(0), hour.eq(hour + 1)]
            with m.If(hour == 11):
                m.d.sync += hour.eq(0)

        m.d.comb += [
            self.inner.eq((1 << hour) | (1 << minute)),
            self.outer.eq(1 << minute),
        ]
        return m


clock = Dial12h()


def hands(ctx):
    """The rays that the panel lights: (inner, outer), as sets."""
    inner, outer = ctx.get(clock.inner), ctx.get(clock.outer)
    return {ray for ray in range(12) if inner >> ray & 1}, {ray for ray in range(12) if outer >> ray & 1}


async def check_half_a_day(ctx):
    """All 144 steps in order, the twelve where the hands cover each other among them."""
    for hour in range(12):
        for minute in range(12):
            assert hands(ctx) == ({hour, minute}, {minute}), f"wrong at {hour}:{5 * minute:02}"
            await ctx.tick()
    assert hands(ctx) == ({0}, {0})


async def check_reset(ctx):
    await ctx.tick().repeat(100)
    assert hands(ctx) == ({8, 4}, {4})
    await press(ctx, "reset")
    assert hands(ctx) == ({0}, {0})


machine = Machine(
    clock,
    clocks={"sync": Ticker(seconds=300)},
    reset=Button(),
    panel=framed(dial("inner", "outer", lengths=(2, 2))),
    check=[check_half_a_day, check_reset],
)
