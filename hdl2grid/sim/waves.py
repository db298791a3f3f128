"""The engine to read: docs/grid-model.md line by line, in plain Python. `compiled.py` does the same, fast."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from hdl2grid.base.rng import SplitMix64
from hdl2grid.sim.engine import Bits, Tally, Wave, pack, unpack
from hdl2grid.sim.pulse_network import Network


@dataclass
class Round:
    """One round of a wave, for a trace: the drivers that emit in it and the elements whose bit it changed."""

    emitting: list[int]
    flipped: list[int] = field(default_factory=list)


def gate_output(function: str, ones: int, size: int) -> int:
    """The function of `size` toggles of which `ones` are 1. XOR says exactly one (IEC 60617-12, `=1`)."""
    value = {"AND": ones == size, "OR": ones > 0, "XOR": ones == 1}
    negated = {"NAND": "AND", "NOR": "OR", "XNOR": "XOR"}
    return int(not value[negated[function]]) if function in negated else int(value[function])


class PlainEngine:
    """Waves as the model tells them. `seed` decides what stacks with a strobe over several toggles emit."""

    def __init__(self, network: Network, seed: int = 0) -> None:
        self.network = network
        self._bits = list(network.initial_bits)
        self._generator = SplitMix64(seed)
        self._owner = [i for i, s in enumerate(network.stacks) for _ in s.bits]
        self._remembered = self._all_outputs()

    def _all_outputs(self) -> list[int]:
        return [self._output(stack) for stack in range(len(self.network.stacks))]

    def _ones(self, stack: int) -> int:
        start, end = self.network.first_toggle[stack : stack + 2]
        return sum(self._bits[start:end])

    def _output(self, stack: int) -> int:
        form = self.network.stacks[stack]
        return gate_output(form.function, self._ones(stack), len(form.bits))

    def fire(self, driver: int, trace: list[Round] | None = None) -> Wave:
        net = self.network
        num_sources = len(net.sources)
        is_ticker = driver < num_sources and net.sources[driver].kind == "ticker"
        if is_ticker and not self._bits[net.first_source + driver]:
            return Wave(0, 0)
        due = [driver]
        emitted: set[int] = set()
        lost: list[int] = []
        delays: list[int] = []
        rounds = pulses = 0
        while due:
            rounds += 1
            pulses += len(due)
            emitted.update(due)
            this_round = Round(due)
            touched, marked = self._hit(due, this_round, delays)
            if trace is not None:
                trace.append(this_round)
            due = []
            for stack in sorted(touched):
                if self._decides(stack, marked):
                    if num_sources + stack in emitted:
                        lost.append(stack)
                    else:
                        due.append(num_sources + stack)
        return Wave(rounds, pulses, tuple(sorted(lost)), tuple(sorted(delays)))

    def _hit(self, emitting: list[int], record: Round, delays: list[int]) -> tuple[set[int], set[int]]:
        """Applies all hits of a round; the stacks that are to be examined, and those with a marked strobe."""
        net = self.network
        touched: set[int] = set()
        marked: set[int] = set()
        for driver in emitting:
            for element in net.hits[driver]:
                if element >= net.first_delay:
                    delays.append(element - net.first_delay)
                elif element >= net.first_strobe:
                    marked.add(element - net.first_strobe)
                else:
                    self._bits[element] ^= 1
                    record.flipped.append(element)
                    if element < net.first_pixel:
                        touched.add(self._owner[element])
        return touched | marked, marked

    def _decides(self, stack: int, marked: set[int]) -> bool:
        """Examines a stack: whether its gate is due to emit."""
        form = self.network.stacks[stack]
        if not form.strobed:
            before, self._remembered[stack] = self._remembered[stack], self._output(stack)
            return self._remembered[stack] != before
        if stack not in marked:
            return False
        if len(form.bits) == 1:
            return self._ones(stack) == 1
        return self._generator.below(len(form.bits)) < self._ones(stack)

    def play(self, drivers: npt.NDArray[np.int64], watch: Sequence[int] = ()) -> Tally:
        watched = np.zeros((len(drivers), len(watch)), dtype=np.uint8)
        rounds = pulses = lost = 0
        first_lost = -1
        for i, driver in enumerate(drivers.tolist()):
            wave = self.fire(driver)
            rounds, pulses = max(rounds, wave.rounds), pulses + wave.pulses
            if wave.lost and first_lost < 0:
                first_lost = i
            lost += len(wave.lost)
            watched[i] = [self._bits[element] for element in watch]
        return Tally(
            events=len(drivers), rounds=rounds, pulses=pulses, lost=lost, first_lost=first_lost, watched=watched
        )

    def bits(self) -> Bits:
        return np.array(self._bits, dtype=np.uint8)

    def state(self) -> bytes:
        return pack(self.bits(), self._generator.state if self.network.is_random else None)

    def restore(self, state: bytes) -> None:
        bits, generator = unpack(state, self.network)
        self._bits = bits.tolist()
        if generator is not None:
            self._generator.state = generator
        self._remembered = self._all_outputs()
