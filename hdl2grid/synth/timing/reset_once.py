"""Stacks that a press of reset changes once at the most, though it reaches them in several rounds.

A register that returns to 0 can only fall, one that returns to 1 only rise. A stack whose function is monotone in
all that moves (rising in what rises and falling in what falls, or all the other way round) moves in one direction
only, in however many rounds it is reached: it emits once. A carry chain from registers that return to 0 is so.
"""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.logic.model import Logic
from hdl2grid.synth.gf2 import bits
from hdl2grid.synth.network import Cell, Network
from hdl2grid.synth.rewrite.covers import table_variable
from hdl2grid.synth.timing.switch_flips import in_order
from hdl2grid.synth.timing.timed_network import Timed

_MOST_INPUTS = 12
"""Signals that feed a stack whose table, of 2^12 values, is looked at. Guessed."""


@dataclass(frozen=True)
class _Move:
    """The rounds in which a signal may move, and whether it rises (1), falls (-1) or either (0)."""

    rounds: frozenset[int]
    direction: int


def twice_in_reset(logic: Logic, network: Network, timed: Timed) -> tuple[int, ...]:
    """Cells and buffers that a reset reaches in several rounds and may change more than once."""
    moves: dict[int, _Move] = {}
    for register, delay in timed.reset_delay.items():
        moves[1 + register] = _Move(frozenset([1 + delay]), -1 if logic.registers[register].init == 0 else 1)
    found = []
    for signal in in_order(timed):
        moving = sorted({s for s in timed.feeds(signal) if s in moves})
        if not moving:
            continue
        rounds = frozenset().union(*(moves[s].rounds for s in moving))
        direction = _direction(network, timed, signal, moving, moves)
        if len(rounds) > 1 and not direction:
            found.append(signal)
        moves[signal] = _Move(frozenset(r + 1 for r in rounds), direction)
    return tuple(found)


def _direction(network: Network, timed: Timed, signal: int, moving: list[int], moves: dict[int, _Move]) -> int:
    """1 or -1 where everything that moves drives the signal that way, else 0."""
    if any(not moves[s].direction for s in moving):
        return 0
    if signal in timed.buffers:
        return moves[moving[0]].direction if len(moving) == 1 and len(timed.buffers[signal].inputs) == 1 else 0
    cell = network.cells[signal]
    toggles = timed.toggles[signal]
    inputs = sorted({s for toggle in toggles for s in toggle})
    if len(inputs) > _MOST_INPUTS:
        return 0
    place = {s: i for i, s in enumerate(inputs)}
    # A toggle's constant is that of its factor; what feeds it in place of the factor's terms is the same sum.
    local = Network(len(inputs), network.max_toggles)
    factors = tuple(
        factor & 1 | sum(1 << place[s] + 1 for s in toggle)
        for factor, toggle in zip(cell.factors, toggles, strict=True)
    )
    local.cells[len(inputs) + 1] = Cell(cell.kind, factors)
    ones = (1 << (1 << len(inputs))) - 1
    values = {i + 1: table_variable(i, len(inputs)) for i in range(len(inputs))}
    table = local.evaluate([1 << len(inputs) + 1], values, ones)[0]
    directions = set()
    for s in moving:
        with_one = values[place[s] + 1]
        shift = 1 << place[s]
        low, high = table & (ones ^ with_one), (table & with_one) >> shift
        if low & ~high and high & ~low:
            return 0
        if low != high:
            directions.add(moves[s].direction * (1 if high & ~low else -1))
    return directions.pop() if len(directions) == 1 else 0


def dependent_components(component: dict[int, int], timed: Timed, signals: tuple[int, ...]) -> frozenset[int]:
    """The components that cells and buffers stand in."""
    found: set[int] = set()
    for signal in signals:
        terms = [signal] if signal in component else bits(timed.buffers[signal].terms)
        found.update(component[s] for s in terms if s in component)
    return frozenset(found)
