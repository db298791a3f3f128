"""What is told of the blocks, from the mapping as it ended: their stacks add up to the circuit's."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.synth.exact.blocks import MappedBlock
from hdl2grid.synth.exact.closure_proof import is_bound_excluded
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.model import BlockReport
from hdl2grid.synth.network import EXACTLY_ONE, PRODUCT
from hdl2grid.synth.sinks import Problem

OPEN, MINIMAL = "open", "proved minimal"
BY_DIMENSION = "dimension: as many stacks as dim W - dim A"
BY_CLOSURE = "closure: no block of any depth meets dim W - dim A"
BY_WHOLE = "dimension: with the other blocks' stacks, dim W - dim A of the whole machine"


def block_reports(blocks: Sequence[MappedBlock], solved: Problem, final: Problem) -> tuple[BlockReport, ...]:
    """Reports of `blocks`, whose solutions stand in `solved`; `final` is the mapping as it ended, before sums are
    cut. A stack that several blocks share is told with the first of them."""
    network = final.network
    taken: set[int] = set()
    reports: list[BlockReport] = []
    for block in blocks:
        cells = [
            c
            for c in network.cone([final.sinks[i].form for i in block.sinks])
            if network.cells[c].kind in (PRODUCT, EXACTLY_ONE)
        ]
        own = [c for c in cells if c not in taken]
        taken.update(own)
        compared = range(len(final.sinks)) if block.has_parts else block.sinks
        as_solved = all(final.sinks[i].form == solved.sinks[i].form for i in compared)
        needed = len(cells)
        if as_solved and block.size is not None:
            needed = block.size
        reports.append(_report(block, final, own, needed, sum(r.stacks for r in reports)))
    return tuple(reports)


def _report(block: MappedBlock, final: Problem, own: Sequence[int], needed: int, others: int) -> BlockReport:
    bound, proof = block.bound, ""
    if block.whole_bound is not None:
        bound = max(0, block.whole_bound - others)
        needed = len(own)
        proof = BY_WHOLE if needed <= bound else ""
    elif bound is not None and needed <= bound:
        proof = BY_DIMENSION
    elif bound is not None and needed == bound + 1 and block.task is not None:
        num_states, variables, targets = block.task
        if is_bound_excluded(num_states, variables, [t.vector for t in targets]):
            bound, proof = needed, BY_CLOSURE
    kinds = [final.network.cells[c].kind for c in own]
    return BlockReport(
        name=block.name,
        method="one level" if _is_one_level(final, own) else "multi-level",
        targets=len(block.sinks),
        variables=block.variables,
        states=block.states,
        stacks=min(needed, len(own)),
        products=kinds.count(PRODUCT),
        exactly_ones=kinds.count(EXACTLY_ONE),
        bound=bound,
        verdict=MINIMAL if proof else OPEN,
        proof=proof,
    )


def _is_one_level(final: Problem, cells: Sequence[int]) -> bool:
    network = final.network
    return not any(network.is_cell(s) for c in cells for f in network.cells[c].factors for s in bits(f & ~1))
