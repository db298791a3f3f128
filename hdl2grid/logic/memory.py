"""Memories as logic: contents that nothing writes are tables, rows that something writes are registers."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.logic.arithmetic import mux
from hdl2grid.logic.cells import Memory, SyncRead, Write
from hdl2grid.logic.lower import MAX_TABLE_BITS, Lowering, too_large
from hdl2grid.logic.xag import Literal, XagBuilder

MAX_REGISTER_BITS = 256
"""Most bits of a memory that becomes registers. Guessed: each takes stacks to lay."""


def check_size(memory: Memory) -> None:
    """Raises InputError L002 where a memory is too large for registers if it is written, else for a table."""
    bits = memory.depth * memory.width
    if memory.writes and bits > MAX_REGISTER_BITS:
        raise too_large(memory, f"{bits} bits in all; of registers at most {MAX_REGISTER_BITS} can be had")
    if bits > MAX_TABLE_BITS:
        raise too_large(memory, f"{bits} bits in all; of a table at most {MAX_TABLE_BITS} can be looked up")


def written_rows(
    lowering: Lowering, memory: Memory, rows: Sequence[Sequence[Literal]], domain: str
) -> list[list[Literal]]:
    """What the rows hold after an event of `domain`; of several writes to a bit the last port's wins."""
    result = [list(row) for row in rows]
    for write in memory.writes:
        if write.domain == domain:
            address, data, enable = (lowering.word(w) for w in (write.address, write.data, write.enable))
            for row, held in enumerate(result):
                here = _is(lowering.graph, address, row)
                result[row] = [
                    lowering.graph.mux(lowering.graph.and_(here, e), d, h)
                    for e, d, h in zip(enable, data, held, strict=True)
                ]
    return result


def _is(g: XagBuilder, address: Sequence[Literal], row: int) -> Literal:
    return g.and_all([literal ^ (row >> i & 1 ^ 1) for i, literal in enumerate(address)])


def read_data(lowering: Lowering, read: SyncRead, held: Sequence[Literal]) -> list[Literal]:
    """What a synchronous read port's registers, now `held`, take at the next event."""
    g = lowering.graph
    address = lowering.word(read.address)
    row = lowering.read(read.memory, address)
    for index in read.transparent:
        row = _through(lowering, lowering.netlist.memories[read.memory].writes[index], address, row)
    enable, reset = lowering.net(read.enable), lowering.net(read.reset)
    init: list[Literal] = [register.init for register in read.registers]
    return mux(g, enable, row, mux(g, reset, init, held))


def _through(lowering: Lowering, write: Write, address: Sequence[Literal], row: Sequence[Literal]) -> list[Literal]:
    """A row as read while `write` writes it, if it does."""
    g = lowering.graph
    target, data, enable = (lowering.word(w) for w in (write.address, write.data, write.enable))
    same = g.and_all([g.xor(a, t) ^ 1 for a, t in zip(address, target, strict=True)])
    return [g.mux(g.and_(same, e), d, r) for e, d, r in zip(enable, data, row, strict=True)]
