"""The network with rounds: which signals, buffers among them, feed each toggle."""

from __future__ import annotations

from dataclasses import dataclass, field

from hdl2grid.synth.network import Form


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
