"""Building blocks for designs: Amaranth components with ordinary ports. They know nothing about the grid.

All registers are in the domain `sync`; Amaranth's DomainRenamer puts a part into another one.
"""

from hdl2grid.parts.counters import CODES, Counter, Divider
from hdl2grid.parts.decoders import (
    SEGMENT_LETTERS,
    SEGMENTS,
    SEGMENTS_WITHOUT_TAILS,
    OneHotDecoder,
    SegmentDecoder,
)
from hdl2grid.parts.shift import MAXIMAL_TAPS, Lfsr, ShiftRegister

__all__ = [
    "CODES",
    "MAXIMAL_TAPS",
    "SEGMENTS",
    "SEGMENTS_WITHOUT_TAILS",
    "SEGMENT_LETTERS",
    "Counter",
    "Divider",
    "Lfsr",
    "OneHotDecoder",
    "SegmentDecoder",
    "ShiftRegister",
]
