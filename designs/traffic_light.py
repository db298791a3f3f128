"""Traffic lights at a crossing of a main road and a side road, with a tick every three seconds.

When the night switch is on, the lights finish their round and then flash amber until it is off again. The
reset button gives the main road its green.
"""

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import Button, Machine, Switch, Ticker, press
from hdl2grid.panel import above, beside, framed, lamp


class TrafficLight(wiring.Component):
    night: In(1)
    main_red: Out(1)
    main_amber: Out(1)
    main_green: Out(1)
    side_red: Out(1)
    side_amber: Out(1)
    side_green: Out(1)

    def elaborate(self, platform):
        m = Module()
        timer = Signal(2)

        with m.FSM(init="main green"):
            with m.State("main green"):  # four ticks
                m.d.comb += [self.main_green.eq(1), self.side_red.eq(1)]
                m.d.sync += timer.eq(timer + 1)
                with m.If(timer == 3):
                    m.next = "main amber"
            with m.State("main amber"):
                m.d.comb += [self.main_amber.eq(1), self.side_red.eq(1)]
                m.next = "side ready"
            with m.State("side ready"):
                m.d.comb += [self.main_red.eq(1), self.side_red.eq(1), self.side_amber.eq(1)]
                m.next = "side green"
            with m.State("side green"):  # two ticks
                m.d.comb += [self.main_red.eq(1), self.side_green.eq(1)]
                m.d.sync += timer.eq(1)
                with m.If(timer == 1):
                    m.d.sync += timer.eq(0)
                    m.next = "side amber"
            with m.State("side amber"):
                m.d.comb += [self.main_red.eq(1), self.side_amber.eq(1)]
                m.next = "main ready"
                with m.If(self.night):
                    m.next = "night"
            with m.State("main ready"):
                m.d.comb += [self.main_red.eq(1), self.main_amber.eq(1), self.side_red.eq(1)]
                m.next = "main green"
            with m.State("night"):
                m.d.comb += [self.main_amber.eq(timer[0]), self.side_amber.eq(timer[0])]
                m.d.sync += timer.eq(timer ^ 1)
                with m.If(~self.night):
                    m.d.sync += timer.eq(0)
                    m.next = "main ready"
        return m


lights = TrafficLight()

ROUND = [
    *["main green, side red"] * 4,
    "main amber, side red",
    "main red, side red, side amber",
    *["main red, side green"] * 2,
    "main red, side amber",
    "main red, main amber, side red",
]


def seen(ctx):
    """The lamps that are lit, in words."""
    lamps = {
        "main red": lights.main_red,
        "main amber": lights.main_amber,
        "main green": lights.main_green,
        "side red": lights.side_red,
        "side amber": lights.side_amber,
        "side green": lights.side_green,
    }
    return ", ".join(name for name, lamp in lamps.items() if ctx.get(lamp))


async def check_rounds(ctx):
    for expected in ROUND * 3:
        assert seen(ctx) == expected, f"{seen(ctx)} instead of {expected}"
        await ctx.tick()


async def check_night(ctx):
    ctx.set(lights.night, 1)
    for expected in ROUND[:-1]:  # all but the main road's getting ready
        assert seen(ctx) == expected
        await ctx.tick()
    for expected in ["", "main amber, side amber"] * 5:
        assert seen(ctx) == expected
        await ctx.tick()
    ctx.set(lights.night, 0)
    await ctx.tick()
    for expected in [ROUND[-1], *ROUND]:
        assert seen(ctx) == expected
        await ctx.tick()


async def check_reset(ctx):
    for ticks in range(1, 12):
        await ctx.tick().repeat(ticks)
        await press(ctx, "reset")
        for expected in ROUND:
            assert seen(ctx) == expected
            await ctx.tick()


machine = Machine(
    lights,
    clocks={"sync": Ticker(seconds=3)},
    reset=Button(),
    inputs={"night": Switch()},
    panel=framed(
        beside(
            above(lamp("main_red", 2, 2), lamp("main_amber", 2, 2), lamp("main_green", 2, 2), gap=1),
            above(lamp("side_red", 2, 2), lamp("side_amber", 2, 2), lamp("side_green", 2, 2), gap=1),
            gap=3,
        )
    ),
    check=[check_rounds, check_night, check_reset],
)
