"""A machine in time: tickers by their periods, delays that run out, and events that somebody names.

A named event happens at once: a press or a flip takes no time, a tick of a named ticker takes the time up to
that ticker's next tick, in which other tickers are held (so that `sync*60` is sixty ticks of `sync` and of
nothing else). `wait` lets a second pass in which every running ticker ticks by itself. In either case delays
that run out on the way start their waves when they do: first delays, then tickers in order, at equal times.
"""

from __future__ import annotations

import heapq
import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

import numpy as np
import numpy.typing as npt

from hdl2grid.base.errors import DesignFailed
from hdl2grid.sim.compiled import CompiledEngine
from hdl2grid.sim.engine import Engine, Wave
from hdl2grid.sim.events import WAIT, Events
from hdl2grid.sim.pulse_network import Network
from hdl2grid.sim.waves import PlainEngine

MAX_WAVES_A_STEP = 100_000
"""Waves between two events, after which delays or tickers are taken to go on for ever. Guessed."""
EngineName = Literal["plain", "compiled"]


@dataclass(frozen=True)
class Happened:
    """One wave of a play: when (seconds since the start), what started it, and what it did."""

    time_s: Fraction
    event: str
    wave: Wave


def make_engine(network: Network, engine: EngineName = "compiled", seed: int = 0) -> Engine:
    return PlainEngine(network, seed) if engine == "plain" else CompiledEngine(network, seed)


class Player:
    """Plays events on a network and keeps the time. `on_wave` is called after each wave."""

    def __init__(
        self,
        network: Network,
        engine: EngineName = "compiled",
        seed: int = 0,
        on_wave: Callable[[Happened], None] | None = None,
    ) -> None:
        self.network = network
        self.engine = make_engine(network, engine, seed)
        self.num_waves = 0
        self.num_pulses = 0
        self.longest = 0
        self.lost: dict[str, int] = {}
        self._on_wave = on_wave
        self._pending: list[tuple[int, int, int]] = []
        self._num_started = 0
        periods = [_seconds(source.period_s or 0) for source in network.sources]
        delays = [_seconds(seconds) for seconds in network.delays]
        self._second = math.lcm(1, *(time.denominator for time in (*periods, *delays)))
        self._now = 0
        self._periods = [int(time * self._second) for time in periods]
        self._delays = [int(time * self._second) for time in delays]
        self._next_tick = list(self._periods)

    @property
    def now(self) -> Fraction:
        """Seconds since the start."""
        return Fraction(self._now, self._second)

    def event(self, name: str) -> None:
        """One event by its name, or `wait`. Raises InputError V001 for an unknown name."""
        if name == WAIT and WAIT not in self.network.events:
            self._wait(self._second)
            return
        driver = self.network.event(name)
        period = self._periods[driver]
        time = max(self._now, self._next_tick[driver])
        self._run_delays(time)
        self._now = time
        self._next_tick[driver] = time + period if period else 0
        self._fire(driver)

    def play(self, events: Events | Iterable[str]) -> None:
        """Many events: in the compiled engine all at once where nobody looks at each and no time is kept."""
        quick = isinstance(events, Events) and not self._on_wave and not self.network.delays
        if not isinstance(events, Events) or not quick or WAIT in events.names():
            for name in events:
                self.event(name)
            return
        numbers = {name: self.network.event(name) for name in events.names()}
        for chunk in events.chunks(numbers):
            self._play_chunk(chunk)

    def _play_chunk(self, chunk: npt.NDArray[np.int64]) -> None:
        state = self.engine.state()
        tally = self.engine.play(chunk)
        if tally.lost:
            self.engine.restore(state)
            for driver in chunk.tolist():
                self.event(self.network.sources[driver].name)
            return
        self.num_waves += tally.events
        self.num_pulses += tally.pulses
        self.longest = max(self.longest, tally.rounds)
        now, periods, next_tick = self._now, self._periods, self._next_tick
        for driver in chunk.tolist():
            if periods[driver]:
                now = max(now, next_tick[driver])
                next_tick[driver] = now + periods[driver]
        self._now = now

    def shown(self) -> dict[str, int]:
        """What the pixels show by signal; of a signal with several pixels, the first."""
        bits = self.engine.bits()
        first = self.network.first_pixel
        result: dict[str, int] = {}
        for i, pixel in enumerate(self.network.pixels):
            result.setdefault(pixel.signal, int(bits[first + i]))
        return result

    def levels(self) -> dict[str, int]:
        """The levels of the plan's signals (or the circuit's levels)."""
        bits = self.engine.bits()
        first = self.network.first_probe
        return {probe.signal: int(bits[first + i]) for i, probe in enumerate(self.network.probes)}

    def _wait(self, duration: int) -> None:
        end = self._now + duration
        tickers = [i for i, period in enumerate(self._periods) if period]
        for i in tickers:
            late = max(0, self._now - self._next_tick[i])
            self._next_tick[i] += self._periods[i] * -(-late // self._periods[i])
        for _ in range(MAX_WAVES_A_STEP):
            time, driver = min(((self._next_tick[i], i) for i in tickers), default=(end + 1, -1))
            if self._pending and self._pending[0][0] <= min(time, end):
                self._run_delays(self._pending[0][0])
                continue
            if time > end:
                self._now = end
                return
            self._now = time
            self._next_tick[driver] = time + self._periods[driver]
            self._fire(driver)
        raise _too_busy(self.network.name)

    def _run_delays(self, until: int) -> None:
        """The waves of all delays that run out up to `until`, that time included."""
        for _ in range(MAX_WAVES_A_STEP):
            if not self._pending or self._pending[0][0] > until:
                return
            time, _, delay = heapq.heappop(self._pending)
            self._now = max(self._now, time)
            self._fire(len(self.network.sources) + len(self.network.stacks) + delay)
        raise _too_busy(self.network.name)

    def _fire(self, driver: int) -> None:
        wave = self.engine.fire(driver)
        self.num_waves += wave.rounds > 0
        self.num_pulses += wave.pulses
        self.longest = max(self.longest, wave.rounds)
        for stack in wave.lost:
            name = self.network.stacks[stack].name
            self.lost[name] = self.lost.get(name, 0) + 1
        for delay in wave.delays:
            due = self._now + self._delays[delay]
            heapq.heappush(self._pending, (due, self._num_started, delay))
            self._num_started += 1
        if len(self._pending) > MAX_WAVES_A_STEP:
            raise _too_busy(self.network.name)
        if self._on_wave:
            sources = self.network.sources
            name = sources[driver].name if driver < len(sources) else "delay"
            self._on_wave(Happened(self.now, name, wave))


def _seconds(seconds: float | int) -> Fraction:
    """Exactly what the file says: 0.1 is a tenth."""
    return Fraction(repr(seconds))


def _too_busy(name: str) -> DesignFailed:
    what = f"delays or short ticker periods start more than {MAX_WAVES_A_STEP:,} waves in one step"
    return DesignFailed("V004", what, where=name, hint="Make them longer, or break a loop of delays.")
