"""Shift registers and linear feedback shift registers."""

from __future__ import annotations

from collections.abc import Sequence

from amaranth.hdl import Cat, Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid.design.keep import keep_code
from hdl2grid.parts.checks import bad, whole

MAXIMAL_TAPS: dict[int, tuple[int, ...]] = {
    2: (2, 1), 3: (3, 2), 4: (4, 3), 5: (5, 3), 6: (6, 5), 7: (7, 6), 8: (8, 6, 5, 4), 9: (9, 5),
    10: (10, 7), 11: (11, 9), 12: (12, 6, 4, 1), 13: (13, 4, 3, 1), 14: (14, 5, 3, 1), 15: (15, 14),
    16: (16, 15, 13, 4), 17: (17, 14), 18: (18, 11), 19: (19, 6, 2, 1), 20: (20, 17), 21: (21, 19),
    22: (22, 21), 23: (23, 18), 24: (24, 23, 22, 17), 25: (25, 22), 26: (26, 6, 2, 1), 27: (27, 5, 2, 1),
    28: (28, 25), 29: (29, 27), 30: (30, 6, 4, 1), 31: (31, 28), 32: (32, 22, 2, 1),
}  # fmt: skip
"""Taps that give the longest period, by number of stages: P. Alfke, Xilinx application note XAPP 052 (1996),
table 3. Stages count from 1. (2 stages: not in the note; there is only one choice.)"""


class ShiftRegister(wiring.Component):  # type: ignore[misc]
    """`length` stages; at each event of `sync` with `step` = 1, stage 0 takes `data` and each other stage
    takes the one below it.

    data: In(1); step: In(1); stages: Out(length). `init` is the stages' first value, as a number.
    Raises InputError M070 unless 1 <= length <= 1024 and `init` fits.
    """

    def __init__(self, length: int, init: int = 0) -> None:
        whole("the length of a shift register", length, 1, 1024)
        whole("a shift register's init", init, 0, (1 << length) - 1)
        super().__init__({"data": In(1), "step": In(1), "stages": Out(length, init=init)})
        keep_code(self.stages)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        with m.If(self.step):
            m.d.sync += self.stages.eq(Cat(self.data, self.stages[:-1]))
        return m


class Lfsr(wiring.Component):  # type: ignore[misc]
    """A linear feedback shift register of `length` stages: stage 0 takes the XOR of the tapped stages, each
    other stage the one below it, at each event of `sync` with `step` = 1.

    step: In(1); stages: Out(length).

    taps: the tapped stages, counted from 1 as the tables do; left out, taps that give the longest period,
    2**length - 1 states (`MAXIMAL_TAPS`, length 2 to 32). xnor: take the XNOR, so that the register starts
    from 0 and never holds all ones; with the XOR it never holds 0. init: the first state, 0 with `xnor`, else
    1. Raises InputError M070 on a length without known taps, bad taps, or an `init` that never changes.
    """

    def __init__(
        self, length: int, taps: Sequence[int] | None = None, *, xnor: bool = False, init: int | None = None
    ) -> None:
        whole("the length of an LFSR", length, 2, 32 if taps is None else 1024)
        self.taps = _checked_taps(length, MAXIMAL_TAPS[length] if taps is None else taps)
        self.xnor = xnor
        ones = (1 << length) - 1
        start = whole("an LFSR's init", (0 if xnor else 1) if init is None else init, 0, ones)
        if next_lfsr_state(start, length, self.taps, xnor) == start:
            raise bad(f"an LFSR that starts from {start} never moves")
        super().__init__({"step": In(1), "stages": Out(length, init=start)})
        keep_code(self.stages)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        feedback = Cat(self.stages[tap - 1] for tap in self.taps).xor()
        with m.If(self.step):
            m.d.sync += self.stages.eq(Cat(~feedback if self.xnor else feedback, self.stages[:-1]))
        return m


def next_lfsr_state(state: int, length: int, taps: Sequence[int], xnor: bool = False) -> int:
    """The state after `state`, stage 1 in bit 0."""
    feedback = sum(state >> tap - 1 & 1 for tap in taps) + xnor & 1
    return (state << 1 | feedback) & (1 << length) - 1


def _checked_taps(length: int, taps: Sequence[int]) -> tuple[int, ...]:
    checked = tuple(whole("an LFSR's tap", tap, 1, length) for tap in taps)
    if len(set(checked)) != len(checked) or length not in checked:
        raise bad(
            f"the taps {list(checked)} do not make an LFSR of {length} stages",
            f"Name each tap once, and the last stage, {length}, among them.",
        )
    return checked
