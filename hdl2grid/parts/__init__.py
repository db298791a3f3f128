"""Building blocks for designs: Amaranth components with ordinary ports. They know nothing about the grid."""

from hdl2grid.parts.segments import SEGMENTS, SEGMENTS_WITHOUT_TAILS, SegmentDecoder

__all__ = ["SEGMENTS", "SEGMENTS_WITHOUT_TAILS", "SegmentDecoder"]
