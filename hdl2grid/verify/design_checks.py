"""A machine's own checks, run in Amaranth's simulator.

A check is an Amaranth testbench: `async def check(ctx)`. It gets at the ports by the component's name in the
design file (`clock = Clock12h()` before `machine = Machine(clock, ...)`, then `ctx.get(clock.ones)`), or takes
the component as a second parameter: `async def check(ctx, clock)`. In it

    await ctx.tick()                waits for a tick of "sync"; ctx.tick("fast") for one of "fast"
    ctx.get(clock.ones)             reads a port (after a tick: as the tick has left it)
    ctx.set(clock.hold, 1)          sets a switch
    await press(ctx, "white")       presses a button: a domain's, or "reset"
    assert ...                      is the check

Each check starts with the machine in its first state, and its tickers just started.
"""

from __future__ import annotations

import contextlib
import os
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from hdl2grid.base.errors import DesignFailed, GridError, InputError
from hdl2grid.base.outputs import streamed_file
from hdl2grid.base.progress import Progress, silent
from hdl2grid.base.userline import exception_text, last_user_line, quoted, user_error
from hdl2grid.design.attach import check_name_of, num_parameters
from hdl2grid.design.machine import Machine
from hdl2grid.design.press import BENCHES
from hdl2grid.logic.elaborate import Elaboration, elaborate
from hdl2grid.logic.prepare import simulator_of
from hdl2grid.verify.testbench import Bench
from hdl2grid.verify.vcd import tidy_vcd, time_unit


@dataclass(frozen=True)
class CheckResult:
    """One check that held. `num_ticks`: how many ticks it saw, by domain; `num_presses`: its presses; `events`:
    its first ticks, presses and flips of switches in order, about MAX_RECORDED."""

    name: str
    num_ticks: tuple[tuple[str, int], ...]
    num_presses: int
    events: tuple[str, ...] = ()


@dataclass(frozen=True)
class CheckReport:
    """All checks of a machine, in its order; all of them held. No results where the machine has no check."""

    machine: str
    results: tuple[CheckResult, ...]
    vcd_path: Path | None = None


def run_checks(
    machine: Machine | Elaboration,
    vcd_path: str | os.PathLike[str] | None = None,
    progress: Progress | None = None,
) -> CheckReport:
    """Runs the machine's checks one after the other, and stops at the first that fails.

    `vcd_path` gets the waveform of all of them, in one time; it must not exist yet, and is written also where
    a check fails. Raises DesignFailed M060 on a failed assertion, InputError M061 on any other exception in a
    check, M064 on a check that waits for what never comes, all with the user's own line; C003 or C004 where
    the waveform cannot be written; and what `elaborate` and `press` raise.
    """
    elaboration = machine if isinstance(machine, Elaboration) else elaborate(machine)
    path = None if vcd_path is None else Path(vcd_path)
    if path is not None and os.path.lexists(path):
        raise InputError("C004", f"'{path}' is there already, and is not overwritten", hint="Use another name.")
    run = _Run(elaboration, progress or silent, path is not None)
    if path is None:
        run.simulate(None)
    else:
        with streamed_file(path) as file, _tidied(file, run) as raw:
            run.simulate(raw)
    if run.error is not None:
        raise run.error
    name = elaboration.machine.name or type(elaboration.machine.component).__name__
    return CheckReport(name, tuple(run.results), path)


class _Run:
    """One simulation of all checks; `error` is the first that went wrong, ready to be raised."""

    def __init__(self, elaboration: Elaboration, progress: Progress, waveform: bool) -> None:
        self.elaboration = elaboration
        self.bench = Bench(elaboration, progress, waveform)
        self.results: list[CheckResult] = []
        self.error: GridError | None = None

    def simulate(self, vcd: TextIO | None) -> None:
        simulator = simulator_of(self.elaboration.hookup.checked)
        simulator.add_testbench(self.bench.tick, background=True)
        simulator.add_testbench(self._run_all)
        traces = [self.bench.reset_line] if self.bench.reset_line is not None else []
        with contextlib.ExitStack() as stack:
            if vcd is not None:
                try:
                    stack.enter_context(simulator.write_vcd(vcd, traces=traces))
                except NameError as error:  # a signal's name with white space
                    raise InputError("M065", f"a waveform cannot hold the design: {error}") from error
            try:
                simulator.run()
            except GridError as error:
                self.error = error
            except AssertionError as error:  # of the design itself, at a tick
                self.error = _failed(self.bench.current, error)

    async def _run_all(self, ctx: Any) -> None:
        BENCHES[ctx] = self.bench
        self.bench.start(ctx)
        for check in self.elaboration.machine.checks:
            await self._run_one(ctx, check)

    async def _run_one(self, ctx: Any, check: Any) -> None:
        name = check_name_of(check)
        arguments = (ctx, self.elaboration.machine.component)[: num_parameters(check)]
        try:
            await self.bench.check(ctx, name, check(*arguments))
        except (GridError, KeyboardInterrupt, GeneratorExit):
            raise
        except AssertionError as error:
            raise _failed(name, error) from error
        except BaseException as error:  # SystemExit too
            raise user_error("M061", f"an error in the check '{name}'", error, None) from error
        ticks = tuple((ticker.domain, ticker.num_ticks) for ticker in self.bench.tickers)
        self.results.append(CheckResult(name, ticks, self.bench.num_presses, tuple(self.bench.events)))


def _failed(name: str, error: AssertionError) -> DesignFailed:
    where = last_user_line(error.__traceback__)
    what = f"the design fails its check '{name}': {exception_text(error)}{quoted(where)}"
    return DesignFailed("M060", what, where=where, hint="Mend the design or the check; --vcd FILE shows what it did.")


@contextlib.contextmanager
def _tidied(file: TextIO, run: _Run) -> Iterator[TextIO]:
    """A place for the simulator to write to, from which `file` gets a tidy waveform at the end."""
    unit, _ = time_unit(run.bench.gap)
    name = run.elaboration.machine.name or "machine"
    comment = "hdl2grid check of " + "".join(c if c.isascii() and c.isalnum() else "_" for c in name)
    with tempfile.TemporaryFile("w+", encoding="utf-8") as raw:
        yield raw
        raw.seek(0)
        file.writelines(tidy_vcd(raw, unit, comment))
