"""The bench on which a machine's own checks run: Amaranth's simulator, with every source in its place.

Time is simulated seconds. A domain with a Ticker gets a rising edge at each whole period. Two domains' edges
never fall together: where two are due at one time, they come one `gap` apart, in the order of `clocks`. A press
takes two gaps, a gap being a millionth of the shortest period or less. Clocks fall halfway between two ticks
where a waveform is written, else at once, which is quicker and makes no difference to the logic.
"""

from __future__ import annotations

from collections.abc import Coroutine, Generator
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from amaranth.hdl import Signal

from hdl2grid.base.errors import InputError, SourceLine, nearest
from hdl2grid.base.progress import Progress
from hdl2grid.base.sources import Ticker
from hdl2grid.base.userline import quoted, user_line
from hdl2grid.design.attach import RESET
from hdl2grid.logic.elaborate import Elaboration
from hdl2grid.verify.hdl import HdlSession

FEMTOSECONDS = 10**15
"""The simulator's units of time to a second."""

SHORTEST, LONGEST = 10**6, 10**24  # periods in femtoseconds that are simulated as they are: 1 ns to 30 years
STALL_TICKS = 1_000_000
"""A check is given up after so many ticks in which it has not moved. Guessed: days of seconds."""

STALL_FEMTOSECONDS = 10**30
"""Longest time to wait for a check that waits without ticks. Guessed."""

PROGRESS_TICKS = 4096
"""Ticks between two words on progress. Guessed."""

MAX_RECORDED = 1000
"""How many events of a check are kept for its timing chart, at least. Guessed."""


@dataclass
class TickSource:
    """The ticker of one domain. `due` is the time of its next edge, in femtoseconds; `num_ticks` counts."""

    domain: str
    clock: Signal
    period: int
    due: int = 0
    high: bool = False
    num_ticks: int = 0

    def restart(self, epoch: int) -> None:
        self.due, self.high, self.num_ticks = epoch + self.period, False, 0


class Bench:
    """One simulation of `elaboration`; `check` runs one check after the other on it, each on a machine in its
    first state whose tickers have just been started."""

    def __init__(self, elaboration: Elaboration, progress: Progress, waveform: bool) -> None:
        machine, clocks = elaboration.machine, elaboration.hookup.clocks
        self.elaboration = elaboration
        self.reset_line = Signal(name=RESET) if machine.reset is not None else None
        self.tickers = [
            TickSource(domain, clocks[domain], _period(source))
            for domain, source in machine.clocks.items()
            if isinstance(source, Ticker) and domain in clocks
        ]
        for ticker in self.tickers:
            ticker.restart(0)
        shortest = min((ticker.period for ticker in self.tickers), default=FEMTOSECONDS)
        self.gap = 10 ** (len(str(shortest)) - 7) if shortest > SHORTEST else 1
        self._progress = progress
        self._waveform = waveform
        self.current = ""
        self._running: Coroutine[Any, Any, None] | None = None
        self._run = 0
        self._num_still = 0
        self.num_presses = 0
        self.events: list[str] = []
        self._levels: dict[str, int] = {}
        self._session: HdlSession | None = None
        self._initial: tuple[int, ...] = ()

    def start(self, ctx: Any) -> None:
        """Sets the switches as the machine has them, and remembers the first state."""
        self._session = HdlSession(self.elaboration, ctx)
        self._initial = self._session.state()

    async def check(self, ctx: Any, name: str, running: Coroutine[Any, Any, None]) -> None:
        """Runs one check's coroutine to its end; what it raises comes out as it is."""
        assert self._session is not None
        for clock in self.elaboration.hookup.clocks.values():
            ctx.set(clock, 0)
        self._session.restore(self._initial)
        self.current, self._running = name, running
        self.num_presses = self._num_still = 0
        self.events = []
        self._levels = self._session.levels()
        self._run += 1
        for ticker in self.tickers:
            ticker.restart(_now(ctx))
        await _Watched(self, running)

    async def press(self, ctx: Any, name: str) -> None:
        """See `hdl2grid.design.press.press`."""
        line = self._line(name)
        self.num_presses += 1
        self._record(name)
        await self._pause(ctx, self.gap)
        if line is not None:
            ctx.set(line, 1)
        if name == RESET or line is None:
            assert self._session is not None
            self._session.apply(name)
        await self._pause(ctx, self.gap)
        if line is not None:
            ctx.set(line, 0)

    def _line(self, name: str) -> Signal | None:
        """The signal that a press of `name` pulses; None for a switch. Raises InputError M062."""
        machine = self.elaboration.machine
        if isinstance(machine.clocks.get(name), Ticker):
            raise InputError(
                "M062",
                f"'{name}' is clocked by a ticker, which nobody presses",
                where=user_line(),
                hint=f'Wait for its ticks: await ctx.tick("{name}").',
            )
        if name in machine.clocks:
            return self.elaboration.hookup.clocks.get(name, Signal())
        if name == RESET and self.reset_line is not None:
            return self.reset_line
        levels = machine.initial_levels()
        if name in levels:
            return None
        buttons = [domain for domain, source in machine.clocks.items() if not isinstance(source, Ticker)]
        known = [*buttons, *([RESET] if self.reset_line is not None else []), *levels]
        hint = nearest(str(name), known) or "The machine has no buttons or switches."
        raise InputError("M062", f"the machine has no button '{name}'", where=user_line(), hint=hint)

    async def tick(self, ctx: Any) -> None:
        """The tickers: a background testbench that never ends. Raises InputError M064 where a check waits for
        something that does not come."""
        if not self.tickers:
            await self._watch(ctx)
        while True:
            ticker = min(self.tickers, key=lambda t: t.due)
            run = self._run
            await self._pause(ctx, ticker.due - _now(ctx))
            if run != self._run:  # another check began meanwhile, and with it another time
                continue
            self._edge(ctx, ticker)
            if ticker.high or not self._waveform:
                self._count(ticker)
                if len(self.tickers) > 1:
                    await self._pause(ctx, self.gap)

    def _edge(self, ctx: Any, ticker: TickSource) -> None:
        if not self._waveform:
            assert self._session is not None
            self._session.apply(ticker.domain)
            ticker.due += ticker.period
            return
        ticker.high = not ticker.high
        half = ticker.period // 2
        ticker.due += half if ticker.high else ticker.period - half
        ctx.set(ticker.clock, int(ticker.high))

    def _count(self, ticker: TickSource) -> None:
        ticker.num_ticks += 1
        self._record(ticker.domain)
        self._num_still += 1
        if self._num_still > STALL_TICKS:
            raise self._stalled(f"has not moved for {STALL_TICKS:,} ticks")
        total = sum(t.num_ticks for t in self.tickers)
        if total % PROGRESS_TICKS == 0:
            self._progress(f"{self.current}: ticks", total)

    def _record(self, event: str) -> None:
        """Notes an event, and before it the switches that the check has set since the one before."""
        if len(self.events) >= MAX_RECORDED:
            return
        assert self._session is not None
        levels = self._session.levels()
        flipped = [name for name, level in levels.items() if level != self._levels[name]]
        self.events += [*flipped, event]
        self._levels = levels
        if event in levels:
            levels[event] ^= 1

    async def _watch(self, ctx: Any) -> None:
        """Without tickers only the check itself moves things: if it waits for anything but a time, it waits in
        vain."""
        wait = FEMTOSECONDS
        while wait < STALL_FEMTOSECONDS:
            self._num_still = 1
            await self._pause(ctx, wait)
            wait = wait * 2 if self._num_still else FEMTOSECONDS
        raise self._stalled("waits for an event that never comes: the machine has no ticker")

    def _stalled(self, how: str) -> InputError:
        frame = getattr(self._running, "cr_frame", None)
        where = SourceLine(frame.f_code.co_filename, frame.f_lineno) if frame is not None else None
        return InputError(
            "M064",
            f"the check '{self.current}' {how}{quoted(where)}",
            where=where,
            hint='A button\'s domain moves only when the check presses it: await press(ctx, "...").',
        )

    def moved(self) -> None:
        """The check has gone on."""
        self._num_still = 0

    @staticmethod
    async def _pause(ctx: Any, femtoseconds: int) -> None:
        await ctx.delay(max(0, femtoseconds) / FEMTOSECONDS)


class _Watched:
    """Awaits a coroutine and tells the bench each time it goes on."""

    def __init__(self, bench: Bench, running: Coroutine[Any, Any, None]) -> None:
        self._bench, self._running = bench, running

    def __await__(self) -> Generator[Any, Any, None]:
        for awaited in self._running.__await__():
            yield awaited
            self._bench.moved()


def _now(ctx: Any) -> int:
    return int(ctx._engine.now)


def _period(source: Ticker) -> int:
    """In femtoseconds; periods beyond what a simulation can tell apart are brought within SHORTEST..LONGEST."""
    return min(max(round(Fraction(source.seconds) * FEMTOSECONDS), SHORTEST), LONGEST)
