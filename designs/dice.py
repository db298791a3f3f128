"""A die. A fast ticker keeps it rolling out of sight; a press of "throw" shows the face that is up.

It rolls on by one face or by two, as a linear feedback shift register says.
"""

from amaranth.hdl import Module, Signal
from amaranth.lib import wiring
from amaranth.lib.wiring import Out

from hdl2grid import Button, Machine, Ticker, press
from hdl2grid.panel import Panel, framed
from hdl2grid.parts import Lfsr


class Dice(wiring.Component):
    centre: Out(1)  # 1, 3 and 5
    falling: Out(1)  # two pips from the upper left to the lower right: from 2 on
    rising: Out(1)  # two pips from the lower left to the upper right: from 4 on
    middle: Out(1)  # two pips at the sides: 6

    def elaborate(self, platform):
        m = Module()
        m.submodules.lfsr = lfsr = Lfsr(5)
        rolling = Signal(range(1, 7), init=1)
        face = Signal(range(1, 7), init=1)

        m.d.comb += lfsr.step.eq(1)
        with m.If(lfsr.stages[0]):
            m.d.sync += rolling.eq(rolling + 2)
            with m.If(rolling >= 5):
                m.d.sync += rolling.eq(rolling - 4)
        with m.Else():
            m.d.sync += rolling.eq(rolling + 1)
            with m.If(rolling == 6):
                m.d.sync += rolling.eq(1)

        m.d.throw += face.eq(rolling)
        m.d.comb += [
            self.centre.eq(face[0]),
            self.falling.eq(face >= 2),
            self.rising.eq(face >= 4),
            self.middle.eq(face == 6),
        ]
        return m


dice = Dice()


def shown(ctx):
    """The number of pips on the panel."""
    pairs = ctx.get(dice.falling) + ctx.get(dice.rising) + ctx.get(dice.middle)
    return ctx.get(dice.centre) + 2 * pairs


async def check_faces(ctx):
    """A throw after each tick of a whole round: every face comes up, each about as often as the others."""
    assert shown(ctx) == 1
    counts = dict.fromkeys(range(1, 7), 0)
    for _ in range(6 * 31):
        await ctx.tick()
        await press(ctx, "throw")
        counts[shown(ctx)] += 1
    assert all(count == 31 for count in counts.values()), f"the die is loaded: {counts}"


async def check_the_face_stays(ctx):
    await ctx.tick().repeat(3)
    await press(ctx, "throw")
    before = shown(ctx)
    for _ in range(20):
        await ctx.tick()
        assert shown(ctx) == before, "the face changed without a throw"
    await press(ctx, "reset")
    assert shown(ctx) == 1


machine = Machine(
    dice,
    clocks={"sync": Ticker(seconds=0.25), "throw": Button()},
    reset=Button(),
    panel=framed(
        Panel.from_art(
            """
            f...r
            .....
            m.c.m
            .....
            r...f
            """,
            legend={"c": "centre", "f": "falling", "r": "rising", "m": "middle", ".": None},
        )
    ),
    check=[check_faces, check_the_face_stays],
)
