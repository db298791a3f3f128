"""The engine to run: the waves of `waves.py` in arrays, compiled by numba (cached after first use)."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numba
import numpy as np
import numpy.typing as npt

from hdl2grid.base.rng import next_word
from hdl2grid.circuit.model import FUNCTIONS
from hdl2grid.sim.engine import Bits, Tally, Wave, pack, unpack
from hdl2grid.sim.pulse_network import Network

_Ints = npt.NDArray[np.int32]

# Kinds of stacks in the tables.
PLAIN, STROBED, RANDOM = range(3)
# The columns of a tally.
ROUNDS, PULSES, LOST, FIRST_LOST = range(4)
_MAX_LISTED = 65_536
"""Lost pulses of one wave that are listed at most, to bound the memory. Guessed."""
_AND, _OR, _NAND, _NOR, _XOR, _XNOR = (FUNCTIONS.index(f) for f in ("AND", "OR", "NAND", "NOR", "XOR", "XNOR"))


class _Tables(NamedTuple):
    """A network as arrays that never change. `hit_start` (drivers + 1) and `hit` are rows of elements;
    `owner` gives a toggle's stack; `ticker` the element of a driver's own bit if it can be stopped, else -1;
    `bounds` are the first pixel, the first strobe, the first delay, and the number of sources."""

    hit_start: _Ints
    hit: _Ints
    owner: _Ints
    form: _Ints
    function: _Ints
    size: _Ints
    ticker: _Ints
    bounds: _Ints


class _Memory(NamedTuple):
    """What a wave changes. `emitted`, `touched` and `marked` hold the number of the wave or round that last
    did so, counted by `clock` (waves, rounds); `due` has two rows that take turns; `lost` and `delays` list
    what the last wave lost and started."""

    bits: Bits
    ones: _Ints
    output: Bits
    emitted: npt.NDArray[np.int64]
    touched: npt.NDArray[np.int64]
    marked: npt.NDArray[np.int64]
    due: _Ints
    examine: _Ints
    lost: _Ints
    delays: _Ints
    clock: npt.NDArray[np.int64]
    generator: npt.NDArray[np.uint64]


@numba.njit(cache=True)
def _gate_output(function: int, ones: int, size: int) -> int:
    if function == _AND:
        return 1 if ones == size else 0
    if function == _OR:
        return 1 if ones > 0 else 0
    if function == _NAND:
        return 0 if ones == size else 1
    if function == _NOR:
        return 0 if ones > 0 else 1
    if function == _XOR:
        return 1 if ones == 1 else 0
    return 0 if ones == 1 else 1


@numba.njit(cache=True)
def _draw(generator: Any, below: int) -> Any:
    return np.int64(((next_word(generator) >> np.uint64(32)) * np.uint64(below)) >> np.uint64(32))


@numba.njit(cache=True)
def _hit(tables: Any, memory: Any, row: int, count: int, now: int, num_delays: int) -> tuple[int, int]:
    """Applies the hits of a round's `count` emitters in `due[row]`; the numbers of stacks to examine and of
    delays started by now."""
    first_pixel, first_strobe, first_delay = tables.bounds[0], tables.bounds[1], tables.bounds[2]
    num_examine = 0
    for i in range(count):
        driver = memory.due[row, i]
        for j in range(tables.hit_start[driver], tables.hit_start[driver + 1]):
            element = tables.hit[j]
            stack = -1
            if element < first_pixel:
                stack = tables.owner[element]
                memory.bits[element] ^= 1
                memory.ones[stack] += 1 if memory.bits[element] else -1
            elif element < first_strobe:
                memory.bits[element] ^= 1
            elif element < first_delay:
                stack = element - first_strobe
                memory.marked[stack] = now
            else:
                memory.delays[num_delays] = element - first_delay
                num_delays += 1
            if stack >= 0 and memory.touched[stack] != now:
                memory.touched[stack] = now
                memory.examine[num_examine] = stack
                num_examine += 1
    return num_examine, num_delays


@numba.njit(cache=True)
def _decides(tables: Any, memory: Any, stack: int, now: int) -> Any:
    form = tables.form[stack]
    ones, size = memory.ones[stack], tables.size[stack]
    if form == PLAIN:
        before = memory.output[stack]
        memory.output[stack] = _gate_output(tables.function[stack], ones, size)
        return memory.output[stack] != before
    if memory.marked[stack] != now:
        return False
    if form == STROBED:
        return ones == 1
    return _draw(memory.generator, size) < ones


@numba.njit(cache=True)
def _fire(tables: Any, memory: Any, driver: int) -> tuple[int, int, int, int]:
    """One wave: its rounds, pulses, lost pulses (and which: `memory.lost`) and delays started."""
    if tables.ticker[driver] >= 0 and memory.bits[tables.ticker[driver]] == 0:
        return 0, 0, 0, 0
    num_sources = tables.bounds[3]
    memory.clock[0] += 1
    wave = memory.clock[0]
    memory.due[0, 0] = driver
    row, count = 0, 1
    rounds = pulses = num_lost = num_delays = 0
    while count:
        rounds += 1
        pulses += count
        memory.clock[1] += 1
        now = memory.clock[1]
        num_examine, num_delays = _hit(tables, memory, row, count, now, num_delays)
        if tables.bounds[4]:
            memory.examine[:num_examine].sort()
        row, count = 1 - row, 0
        for i in range(num_examine):
            stack = memory.examine[i]
            if _decides(tables, memory, stack, now):
                if memory.emitted[stack] == wave:
                    if num_lost < len(memory.lost):
                        memory.lost[num_lost] = stack
                    num_lost += 1
                else:
                    memory.emitted[stack] = wave
                    memory.due[row, count] = num_sources + stack
                    count += 1
    return rounds, pulses, num_lost, num_delays


@numba.njit(cache=True)
def _play(tables: Any, memory: Any, drivers: Any, watch: Any, tally: Any, watched: Any) -> None:
    for i in range(len(drivers)):
        rounds, pulses, lost, _ = _fire(tables, memory, drivers[i])
        tally[ROUNDS] = max(tally[ROUNDS], rounds)
        tally[PULSES] += pulses
        tally[LOST] += lost
        if lost and tally[FIRST_LOST] < 0:
            tally[FIRST_LOST] = i
        for j in range(len(watch)):
            watched[i, j] = memory.bits[watch[j]]


@numba.njit(cache=True)
def _recount(tables: Any, memory: Any) -> None:
    """Brings the counts of ones and the remembered outputs in line with the bits."""
    memory.ones[:] = 0
    for toggle in range(tables.bounds[0]):
        memory.ones[tables.owner[toggle]] += memory.bits[toggle]
    for stack in range(len(tables.size)):
        memory.output[stack] = _gate_output(tables.function[stack], memory.ones[stack], tables.size[stack])


class CompiledEngine:
    """The interface of `Engine`; a million waves of a clock in seconds."""

    def __init__(self, network: Network, seed: int = 0) -> None:
        self.network = network
        self._tables = _tables(network)
        num_stacks = len(network.stacks)
        num_delay_hits = int((self._tables.hit >= network.first_delay).sum())
        self._memory = _Memory(
            bits=np.array(network.initial_bits, dtype=np.uint8),
            ones=np.zeros(num_stacks, dtype=np.int32),
            output=np.zeros(num_stacks, dtype=np.uint8),
            emitted=np.zeros(num_stacks, dtype=np.int64),
            touched=np.zeros(num_stacks, dtype=np.int64),
            marked=np.zeros(num_stacks, dtype=np.int64),
            due=np.zeros((2, num_stacks + 1), dtype=np.int32),
            examine=np.zeros(num_stacks, dtype=np.int32),
            lost=np.zeros(min(num_stacks * num_stacks, _MAX_LISTED), dtype=np.int32),
            delays=np.zeros(num_delay_hits, dtype=np.int32),
            clock=np.zeros(2, dtype=np.int64),
            generator=np.array([seed & (2**64 - 1)], dtype=np.uint64),
        )
        _recount(self._tables, self._memory)

    def fire(self, driver: int) -> Wave:
        rounds, pulses, num_lost, num_delays = _fire(self._tables, self._memory, driver)
        if not num_lost and not num_delays:
            return Wave(rounds, pulses)
        lost = tuple(sorted(self._memory.lost[:num_lost].tolist()))
        return Wave(rounds, pulses, lost, tuple(sorted(self._memory.delays[:num_delays].tolist())))

    def play(self, drivers: npt.NDArray[np.int64], watch: Sequence[int] = ()) -> Tally:
        watched = np.zeros((len(drivers), len(watch)), dtype=np.uint8)
        tally = np.array([0, 0, 0, -1], dtype=np.int64)
        elements = np.array(watch, dtype=np.int64)
        _play(self._tables, self._memory, drivers.astype(np.int64), elements, tally, watched)
        rounds, pulses, lost, first_lost = tally.tolist()
        return Tally(
            events=len(drivers), rounds=rounds, pulses=pulses, lost=lost, first_lost=first_lost, watched=watched
        )

    def bits(self) -> Bits:
        return self._memory.bits.copy()

    def state(self) -> bytes:
        generator = int(self._memory.generator[0]) if self.network.is_random else None
        return pack(self._memory.bits, generator)

    def restore(self, state: bytes) -> None:
        bits, generator = unpack(state, self.network)
        self._memory.bits[:] = bits
        if generator is not None:
            self._memory.generator[0] = generator
        _recount(self._tables, self._memory)


def _tables(network: Network) -> _Tables:
    lengths = [len(hits) for hits in network.hits]
    forms = [PLAIN if not stack.strobed else STROBED if len(stack.bits) == 1 else RANDOM for stack in network.stacks]
    ticker = [network.first_source + i if source.kind == "ticker" else -1 for i, source in enumerate(network.sources)]
    ticker += [-1] * (len(network.hits) - len(ticker))
    bounds = [
        network.first_pixel,
        network.first_strobe,
        network.first_delay,
        len(network.sources),
        int(network.is_random),
    ]
    return _Tables(
        hit_start=np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32),
        hit=np.array([e for hits in network.hits for e in hits], dtype=np.int32),
        owner=np.array([i for i, s in enumerate(network.stacks) for _ in s.bits], dtype=np.int32),
        form=np.array(forms, dtype=np.int32),
        function=np.array([FUNCTIONS.index(s.function) for s in network.stacks], dtype=np.int32),
        size=np.array([len(s.bits) for s in network.stacks], dtype=np.int32),
        ticker=np.array(ticker, dtype=np.int32),
        bounds=np.array(bounds, dtype=np.int32),
    )
