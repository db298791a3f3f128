"""Decoders: a number to seven segments, a number to one line of many."""

from __future__ import annotations

from amaranth.hdl import Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid.parts.checks import whole

SEGMENTS = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F)
"""The digits 0 to 9 with tails on 6 and 9, segment a in bit 0 to g in bit 6, 1 for lit: those of the 74247
and 74248 (Motorola data sheet SN54/74LS247 to 249)."""

SEGMENTS_WITHOUT_TAILS = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7C, 0x07, 0x7F, 0x67)
"""The same without the tails, as the 7447 and 7448 (TI TTL Data Book 1985), CD4511B (National 1988)."""

SEGMENT_LETTERS = (0x77, 0x7C, 0x39, 0x5E, 0x79, 0x71)
"""A, b, C, d, E and F, as textbooks give them for hexadecimal digits."""


class SegmentDecoder(wiring.Component):  # type: ignore[misc]
    """A digit to seven segments. Combinational.

    value: In(4); segments: Out(7), segment a in bit 0 to g in bit 6, 1 for lit.

    tails: whether 6 has its top stroke and 9 its bottom stroke. letters: whether 10 to 15 show as A, b, C, d,
    E, F; they are dark otherwise.
    """

    def __init__(self, tails: bool = True, letters: bool = False) -> None:
        self._codes = (SEGMENTS if tails else SEGMENTS_WITHOUT_TAILS) + (SEGMENT_LETTERS if letters else ())
        super().__init__({"value": In(4), "segments": Out(7)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        with m.Switch(self.value):
            for digit, code in enumerate(self._codes):
                with m.Case(digit):
                    m.d.comb += self.segments.eq(code)
        return m


class OneHotDecoder(wiring.Component):  # type: ignore[misc]
    """A number to one line of `count`: line `index` is 1, or none where `index` >= `count`. Combinational.

    index: In(range(count)); lines: Out(count). Raises InputError M070 unless 2 <= count <= 1024.
    """

    def __init__(self, count: int) -> None:
        self._count = whole("the number of lines", count, 2, 1024)
        super().__init__({"index": In(range(self._count)), "lines": Out(self._count)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        with m.Switch(self.index):
            for line in range(self._count):
                with m.Case(line):
                    m.d.comb += self.lines.eq(1 << line)
        return m
