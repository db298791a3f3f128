"""A plan: tiles, devices and strokes of wire, as in plan.json. It stands on its own."""

from __future__ import annotations

from dataclasses import dataclass

from hdl2grid.base.display import displayed

Stroke = tuple[int, int, int, int]
Rect = tuple[int, int, int, int]


@dataclass(frozen=True)
class Device:
    """One device on tile (`x`, `y`). Which further fields are set depends on `kind`:

    gate: function, name; toggle: bit; strobe: none; pixel: lit, signal; ticker: name, period_s, running;
    button: name; switch: name, on; delay: to, seconds; crossover: form.
    """

    kind: str
    x: int
    y: int
    name: str | None = None
    function: str | None = None
    bit: int | None = None
    lit: bool | None = None
    signal: str | None = None
    period_s: float | int | None = None
    running: bool | None = None
    on: bool | None = None
    to: tuple[int, int] | None = None
    seconds: float | int | None = None
    form: str | None = None

    @property
    def label(self) -> str:
        """Its name, or what it is and where."""
        return self.name or f"{self.kind} at ({self.x},{self.y})"


@dataclass(frozen=True)
class SignalTap:
    """Where the level of an HDL bit can be read: a tile of a net, and the bit's value in the first state."""

    signal: str
    colour: str
    x: int
    y: int
    initial: int


@dataclass(frozen=True)
class Plan:
    """A machine on the grid. `wires[i]` are the strokes of `colours[i]`, ends included."""

    name: str
    target: str
    colours: tuple[str, ...]
    width: int
    height: int
    devices: tuple[Device, ...]
    wires: tuple[tuple[Stroke, ...], ...]
    backdrop: tuple[Rect, ...] = ()
    signals: tuple[SignalTap, ...] = ()

    def _repr_svg_(self) -> str | None:
        """For notebooks: the drawing."""
        return displayed("plan", self)
