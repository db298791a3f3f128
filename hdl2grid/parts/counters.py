"""Counters of any modulus, in several codes, and dividers."""

from __future__ import annotations

from amaranth.hdl import Cat, Module, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid.base.errors import nearest
from hdl2grid.design.keep import keep_code
from hdl2grid.parts.checks import bad, whole
from hdl2grid.parts.shift import MAXIMAL_TAPS, next_lfsr_state

CODES = ("binary", "gray", "johnson", "one-hot", "lfsr")
MODULUS_LIMIT = 1 << 32  # of binary, Gray and LFSR counters: 32 registers, more than anybody lays. Guessed


class Counter(wiring.Component):  # type: ignore[misc]
    """Counts 0 .. modulus - 1 and round again: one state on at each event of `sync` with `step` = 1.

    step: In(1); value: Out(width), the register itself, in its code; carry: Out(1), 1 when the counter is in
    its last state and `step` is 1: the `step` of the next counter in a chain.

    code: "binary", any modulus; "gray", one bit changes at each step, even moduli, the middle of a reflected
    code; "johnson", a twisted ring of ceil(modulus / 2) stages, odd moduli skip the state of all ones (as the
    4018 does); "one-hot", a ring of `modulus` stages; "lfsr", a shift register with the taps of XAPP 052,
    moduli 2**n - 1 for n = 2 to 32. A code that is asked for is kept in the machine; left out, the counter is
    written in binary, and synthesis may give it another code where no output shows it. `states()` gives the
    register's values in order.

    Raises InputError M070 on a modulus that the code does not have.
    """

    def __init__(self, modulus: int, code: str | None = None) -> None:
        chosen, code = code is not None, "binary" if code is None else code
        if code not in CODES:
            raise bad(f"there is no code '{code}'", nearest(str(code), CODES))
        whole("a counter's modulus", modulus, 2, 1024 if code in ("one-hot", "johnson") else MODULUS_LIMIT)
        self.modulus, self.code = modulus, code
        self._width = code_width(modulus, code)
        self._first = {"gray": gray_code(0, modulus), "one-hot": 1, "lfsr": 1}.get(code, 0)
        by_place = {"binary": modulus - 1, "gray": gray_code(modulus - 1, modulus)}
        self._last = by_place.get(code, 1 << self._width - 1)
        super().__init__({"step": In(1), "value": Out(self._width, init=self._first), "carry": Out(1)})
        if chosen:
            keep_code(self.value)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        last = Signal()
        m.d.comb += [last.eq(self.value == self._last), self.carry.eq(self.step & last)]
        with m.If(self.step):
            m.d.sync += self.value.eq(self._next())
            if self.code in ("binary", "gray"):
                with m.If(last):
                    m.d.sync += self.value.eq(self._first)
        return m

    def _next(self) -> Value:
        """The state after `value`; for "binary" and "gray", where `value` is not the last."""
        value = self.value
        if self.code == "binary":
            return value + 1
        if self.code == "gray":
            following = Cat(value[i:].xor() for i in range(self._width)) + 1
            return following ^ following >> 1
        if self.code == "one-hot":
            return value.rotate_left(1)
        if self.code == "johnson":
            ending = value[-2:].any() if self.modulus % 2 else value[-1]
            return Cat(~ending, value[:-1])
        feedback = Cat(value[tap - 1] for tap in MAXIMAL_TAPS[self._width]).xor()
        return Cat(feedback, value[:-1])

    def states(self) -> list[int]:
        """The register's values in order, from the first state on."""
        if self.code == "lfsr":
            states = [1]
            while len(states) < self.modulus:
                states.append(next_lfsr_state(states[-1], self._width, MAXIMAL_TAPS[self._width]))
            return states
        if self.code == "gray":
            return [gray_code(i, self.modulus) for i in range(self.modulus)]
        if self.code == "johnson":
            return [johnson_code(i, self.modulus) for i in range(self.modulus)]
        return [1 << i if self.code == "one-hot" else i for i in range(self.modulus)]


class Divider(wiring.Component):  # type: ignore[misc]
    """Passes on every `by`-th step: `tick` is 1 together with `step` once in `by` steps, and first with the
    `by`-th.

    step: In(1); tick: Out(1). Raises InputError M070 as `Counter(by, code)` does.
    """

    def __init__(self, by: int, code: str | None = None) -> None:
        self._counter = Counter(by, code)
        super().__init__({"step": In(1), "tick": Out(1)})

    def elaborate(self, platform: object) -> Module:
        m = Module()
        m.submodules.counter = self._counter
        m.d.comb += [self._counter.step.eq(self.step), self.tick.eq(self._counter.carry)]
        return m


def code_width(modulus: int, code: str) -> int:
    """How many registers a counter of that modulus has. Raises InputError M070 where the code has no such
    modulus."""
    if code == "one-hot":
        return modulus
    if code == "johnson":
        return (modulus + 1) // 2
    if code == "gray" and modulus % 2:
        raise bad(f"no Gray code comes round after {modulus} states, an odd number", "Take an even modulus.")
    if code == "lfsr" and (modulus & modulus + 1 or modulus < 3):
        raise bad(
            f"an LFSR of the longest period has 2**n - 1 states, not {modulus}",
            f"Near are {(1 << modulus.bit_length() - 1) - 1} and {(1 << modulus.bit_length()) - 1}.",
        )
    return (modulus - 1).bit_length() if code != "lfsr" else modulus.bit_length()


def gray_code(index: int, modulus: int) -> int:
    """State `index` of a Gray code of even modulus: the middle of the reflected code of enough bits, which
    comes round because its first and last words differ in the highest bit only (F. Gray, US patent 2632058,
    1953, for the reflected code)."""
    place = index + ((1 << (modulus - 1).bit_length()) - modulus) // 2
    return place ^ place >> 1


def johnson_code(index: int, modulus: int) -> int:
    """State `index` of a Johnson counter, stage 1 in bit 0: ones fill the ring from stage 1, then leave it in
    the same order. An odd modulus skips the state of all ones."""
    width = (modulus + 1) // 2
    ones = (1 << width) - 1
    if index < width:
        return (1 << index) - 1
    return ones << index - width + modulus % 2 & ones
