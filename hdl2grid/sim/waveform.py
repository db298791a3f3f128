"""Waveforms: what a play shows over time, as a Value Change Dump (IEEE 1364-2005, 18) written by pyvcd."""

from __future__ import annotations

from collections.abc import Iterable
from fractions import Fraction
from typing import Any, TextIO

from vcd import VCDWriter
from vcd.writer import Variable

from hdl2grid.sim.named_words import words
from hdl2grid.sim.player import Happened, Player
from hdl2grid.sim.pulse_network import Network

_TICKS_A_SECOND = 1_000_000
"""The waveform's time unit is a microsecond: finer than any period of a target."""


class Waveform:
    """Writes values to `file` wave by wave.

    Scopes: `panel` (what the pixels show), `signals` (levels read off nets), `sources` (switches that are on,
    tickers that run), `events` (one a wave) and `lost` (how many pulses were lost by then). Times are in
    microseconds; waves at one time stand one apart.
    """

    def __init__(self, file: TextIO, network: Network) -> None:
        self._writer = VCDWriter(file, timescale="1 us", comment=_plain(f"hdl2grid_{network.name}"), date="")
        self._time = 0
        self._panel = self._words("panel", [pixel.signal for pixel in network.pixels])
        self._signals = self._words("signals", [probe.signal for probe in network.probes])
        self._sources = [
            (i, self._writer.register_var("sources", _plain(source.name), "wire", size=1, init=0))
            for i, source in enumerate(network.sources)
            if source.kind != "button"
        ]
        self._events = {
            name: self._writer.register_var("events", _plain(name), "event")
            for name in dict.fromkeys((*network.events, "delay"))
        }
        self._lost = self._writer.register_var("lost", "pulses", "integer", init=0)

    def _words(self, scope: str, names: Iterable[str]) -> list[tuple[tuple[str, ...], Variable[Any]]]:
        result = []
        for word, bits in words(names).items():
            path = [scope, *word.split(".")]
            where, name = ".".join(_plain(part) for part in path[:-1]), _plain(path[-1])
            result.append((bits, self._writer.register_var(where, name, "wire", size=len(bits), init=0)))
        return result

    def start(self, player: Player) -> None:
        """The values before any event."""
        self._write(player)

    def wave(self, happened: Happened, player: Player) -> None:
        """The values after a wave."""
        self._time = max(self._time + 1, _microseconds(happened.time_s))
        self._writer.change(self._events[happened.event], self._time, True)
        self._write(player)
        self._writer.change(self._lost, self._time, sum(player.lost.values()))

    def _write(self, player: Player) -> None:
        for group, values in ((self._panel, player.shown()), (self._signals, player.levels())):
            for bits, variable in group:
                word = sum(values[bit] << i for i, bit in enumerate(bits))
                self._writer.change(variable, self._time, word)
        states = player.engine.bits()[player.network.first_source :]
        for i, variable in self._sources:
            self._writer.change(variable, self._time, int(states[i]))

    def close(self) -> None:
        """Writes the end; the stream stays open."""
        self._writer.close(self._time + 1)


def _plain(name: str) -> str:
    """A name that a VCD file can hold: no white space."""
    return "".join(c if c.isascii() and c.isprintable() and not c.isspace() else "_" for c in name)


def _microseconds(seconds: Fraction) -> int:
    return int(seconds * _TICKS_A_SECOND)
