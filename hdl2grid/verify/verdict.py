"""What verification found, as data."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from hdl2grid.base.errors import Finding
from hdl2grid.sim.events import folded

Result = Literal["equal", "different", "undecided"]


@dataclass(frozen=True)
class Difference:
    """A bit that the machine shows otherwise than the design has it. `tile` is the pixel's, where known."""

    signal: str
    expected: int
    found: int
    tile: tuple[int, int] | None = None

    def __str__(self) -> str:
        place = f" at ({self.tile[0]},{self.tile[1]})" if self.tile else ""
        return f"{self.signal}{place} is {self.found} and should be {self.expected}"


@dataclass(frozen=True)
class Counterexample:
    """Events from the first state after which something is wrong: bits that differ, or stacks that lost a
    pulse in the last event."""

    events: tuple[str, ...]
    differences: tuple[Difference, ...]
    lost: tuple[str, ...]

    @property
    def expression(self) -> str:
        """The events for `hdl2grid play`; "" where it is wrong before any event."""
        return folded(self.events)

    def __str__(self) -> str:
        after = f"after '{self.expression}'" if self.events else "before any event"
        wrong = [str(difference) for difference in self.differences[:4]]
        if len(self.differences) > 4:
            wrong.append(f"{len(self.differences) - 4} more differ")
        wrong += [f"the stack '{name}' loses a pulse" for name in self.lost[:4]]
        return f"{after}: " + "; ".join(wrong)


@dataclass(frozen=True)
class LockStep:
    """A machine and its design side by side: `events` of them were played, up to the first thing wrong."""

    events: int
    rounds: int
    counterexample: Counterexample | None

    @property
    def held(self) -> bool:
        return self.counterexample is None


@dataclass(frozen=True)
class Verdict:
    """How far a proof went, and what it says.

    `states`: pairs of a state of the design and a state of the machine that were reached, `hdl_states`: different
    states of the design among them; `events`: events tried from them, each state with each event when `complete`;
    `walked`: events of the random walk where the proof met its limit; `rounds`: the longest wave's; `read`,
    `unread`: registers that the plan's signals show, and those that they do not; `left_out`: registers that reach
    no output and were left out of the states to stay within the limit; `parts`: how many parts there are that know
    nothing of each other, where not all mixtures of their states were visited, but all states of each.
    """

    result: Result
    reason: str
    states: int = 0
    hdl_states: int = 0
    events: int = 0
    walked: int = 0
    rounds: int = 0
    complete: bool = False
    read: tuple[str, ...] = ()
    unread: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    parts: int = 1
    findings: tuple[Finding, ...] = ()
    counterexample: Counterexample | None = None
