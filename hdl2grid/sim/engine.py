"""What both engines offer: one wave at a time or many, and the state as bytes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from hdl2grid.sim.pulse_network import Network

Bits = npt.NDArray[np.uint8]


@dataclass(frozen=True)
class Wave:
    """What one event did. `rounds`: rounds in which a device emitted (0: a stopped ticker's tick); `pulses`:
    emissions, the source's included; `lost`: the stacks that lost a pulse, ascending, as often as they did;
    `delays`: the delays that were started, ascending, as often as they were."""

    rounds: int
    pulses: int
    lost: tuple[int, ...] = ()
    delays: tuple[int, ...] = ()


@dataclass(frozen=True)
class Tally:
    """What many events did: `rounds` of the longest wave, `pulses` and `lost` in all, the position of the
    first event that lost one (-1: none did), and, where asked for, the watched bits after each event."""

    events: int
    rounds: int
    pulses: int
    lost: int
    first_lost: int
    watched: Bits


class Engine(Protocol):
    """Plays waves on a network. Delays are only reported: whoever keeps the time starts their waves."""

    network: Network

    def fire(self, driver: int) -> Wave:
        """One event, from its source to the wave's end. A switch flips, then emits; a stopped ticker does
        nothing."""

    def play(self, drivers: npt.NDArray[np.int64], watch: Sequence[int] = ()) -> Tally:
        """Many events. `watch`: elements whose bits are kept after each; `watched` is (events, watch)."""

    def bits(self) -> Bits:
        """A copy of the bit of every element that has one."""

    def state(self) -> bytes:
        """All that decides what happens next, in a few bytes; the same from both engines."""

    def restore(self, state: bytes) -> None:
        """Returns to a state that `state` gave. Raises ValueError when its length is another network's."""


def pack(bits: Bits, generator: int | None) -> bytes:
    """A state as bytes: eight bits a byte, then, for random stacks, the generator's 64 bits."""
    packed = np.packbits(bits).tobytes()
    return packed if generator is None else packed + generator.to_bytes(8, "little")


def unpack(state: bytes, network: Network) -> tuple[Bits, int | None]:
    count = network.first_strobe
    size = (count + 7) // 8
    if len(state) != size + (8 if network.is_random else 0):
        raise ValueError("this is the state of another network")
    bits = np.unpackbits(np.frombuffer(state[:size], dtype=np.uint8), count=count)
    return bits, int.from_bytes(state[size:], "little") if network.is_random else None
