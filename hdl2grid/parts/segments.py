"""Seven-segment decoders."""

from __future__ import annotations

from amaranth.hdl import Module
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

SEGMENTS = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7D, 0x07, 0x7F, 0x6F)
"""The digits 0 to 9 with tails on 6 and 9, segment a in bit 0 .. g in bit 6, as the 74247 and 74248 (Motorola
data sheet SN54/74LS247 to 249); hexadecimal displays agree on 0 to 9."""

SEGMENTS_WITHOUT_TAILS = (0x3F, 0x06, 0x5B, 0x4F, 0x66, 0x6D, 0x7C, 0x07, 0x7F, 0x67)
"""The same without the tails of 6 and 9, as the 7447, 7448 (TI TTL Data Book) and the CD4511."""


class SegmentDecoder(wiring.Component):
    """A decimal digit to seven segments, segment a in bit 0 .. g in bit 6, 1 for lit. Values 10 to 15 are
    dark. Combinational.

    tails: whether 6 has its top stroke and 9 its bottom stroke.
    """

    def __init__(self, tails: bool = True) -> None:
        self._codes = SEGMENTS if tails else SEGMENTS_WITHOUT_TAILS
        super().__init__({"value": In(4), "segments": Out(7)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        with m.Switch(self.value):
            for digit, code in enumerate(self._codes):
                with m.Case(digit):
                    m.d.comb += self.segments.eq(code)
        return m
