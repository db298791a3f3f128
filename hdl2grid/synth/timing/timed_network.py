"""The network with rounds: which signals, buffers among them, feed each toggle."""

from __future__ import annotations

from dataclasses import dataclass, field

from hdl2grid.synth.network import COLLECTOR, Form, Network


@dataclass(frozen=True)
class Buffer:
    """A stack of one toggle that bears `inputs` (signals) and moves at `level`; `terms` is what it stands for."""

    inputs: tuple[int, ...]
    terms: Form
    level: int


@dataclass
class Timed:
    """`toggles[cell]` and `sinks[i]` list, for each toggle, the signals that feed it; `buffers` are signals
    beyond the network's own; `reset_delay[register]` counts rounds by which its reset comes later.
    `strobe_delay[i]` counts rounds by which sink i samples later than its gate or source would have it: its strobe
    hangs on a chain of buffers, one chain for each pair of domain and gate (`strobe_chains` gives their lengths)."""

    cells: list[int]
    toggles: dict[int, list[tuple[int, ...]]] = field(default_factory=dict)
    sinks: list[tuple[int, ...]] = field(default_factory=list)
    buffers: dict[int, Buffer] = field(default_factory=dict)
    reset_delay: dict[int, int] = field(default_factory=dict)
    strobe_delay: dict[int, int] = field(default_factory=dict)
    strobe_chains: dict[tuple[str, int | None], int] = field(default_factory=dict)

    @property
    def event_delays(self) -> int:
        """Buffers that delay resets and strobes."""
        return max(self.reset_delay.values(), default=0) + sum(self.strobe_chains.values())

    def is_plain(self, signal: int) -> bool:
        return signal in self.toggles or signal in self.buffers

    def feeds(self, signal: int) -> list[int]:
        if signal in self.buffers:
            return list(self.buffers[signal].inputs)
        return [s for toggle in self.toggles[signal] for s in toggle]


def merge_alike(timed: Timed, network: Network) -> None:
    """Makes one of stacks of one toggle that the same signals feed: buffers and collectors."""
    while True:
        first: dict[tuple[int, ...], int] = {}
        instead: dict[int, int] = {}
        for cell in timed.cells:
            if network.cells[cell].kind == COLLECTOR:
                kept = first.setdefault(timed.toggles[cell][0], cell)
                if kept != cell:
                    instead[cell] = kept
        for signal, buffer in timed.buffers.items():
            kept = first.setdefault(buffer.inputs, signal)
            if kept != signal:
                instead[signal] = kept
        if not instead:
            return

        def renamed(signals: tuple[int, ...], instead: dict[int, int] = instead) -> tuple[int, ...]:
            total: set[int] = set()
            for s in signals:
                total ^= {instead.get(s, s)}
            return tuple(sorted(total))

        timed.cells = [c for c in timed.cells if c not in instead]
        timed.toggles = {c: [renamed(t) for t in toggles] for c, toggles in timed.toggles.items() if c not in instead}
        timed.sinks = [renamed(s) for s in timed.sinks]
        timed.buffers = {
            s: Buffer(renamed(b.inputs), b.terms, b.level) for s, b in timed.buffers.items() if s not in instead
        }
