"""What one-level synthesis is asked for, and the cells that it finds: over the variables of one block."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class LocalCell:
    """A cell over the block's variables; a factor is a mask: bit 0 the constant 1, bit i + 1 variable i."""

    kind: str
    factors: tuple[int, ...]


@dataclass(frozen=True)
class Target:
    """A wanted vector; `own` is the variable that costs nothing at its sink, or None; `limit` the most terms
    that the sink takes."""

    vector: int
    own: int | None
    limit: int
