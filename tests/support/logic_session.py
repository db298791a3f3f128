"""Plays a Logic event by event, with the interface of `hdl2grid.verify.hdl.HdlSession`."""

from __future__ import annotations

from hdl2grid.logic.model import InputBit, Logic, RegisterBit
from hdl2grid.logic.xag import AND, XOR, Literal

Snapshot = tuple[int, ...]


class LogicSession:
    """A machine's logic, between two events."""

    def __init__(self, logic: Logic) -> None:
        self.logic = logic
        self._gates = [
            (node, kind == AND, a >> 1, a & 1, b >> 1, b & 1)
            for node, (kind, (a, b)) in enumerate(zip(logic.xag.kinds, logic.xag.fanins, strict=True))
            if kind in (AND, XOR)
        ]
        self._levels = [0] * len(logic.xag)
        self._inputs = {bit.name: bit.literal for bit in logic.inputs}
        variables: list[InputBit | RegisterBit] = [*logic.inputs, *logic.registers]
        self._variables = [bit.literal >> 1 for bit in variables]
        for bit in logic.inputs:
            self._set(bit.literal, bit.initial)
        for register in logic.registers:
            self._set(register.literal, register.init)
        self._settle()

    def state(self) -> Snapshot:
        return tuple(self._levels[node] for node in self._variables)

    def restore(self, snapshot: Snapshot) -> None:
        for node, level in zip(self._variables, snapshot, strict=True):
            self._levels[node] = level
        self._settle()

    def apply(self, event: str) -> None:
        """One event. Raises KeyError on a name that is none."""
        logic = self.logic
        if event in self._inputs:
            self._levels[self._inputs[event] >> 1] ^= 1
        elif event == "reset" and logic.has_reset:
            for register in logic.registers:
                if register.resettable:
                    self._set(register.literal, register.init)
        elif event in logic.domains:
            sampled = [r for r in logic.registers if r.domain == event]
            taken = [self._get(register.data) for register in sampled]
            for register, level in zip(sampled, taken, strict=True):
                self._set(register.literal, level)
        else:
            raise KeyError(event)
        self._settle()

    def outputs(self) -> tuple[int, ...]:
        return tuple(self._get(bit.literal) for bit in self.logic.outputs)

    def registers(self) -> tuple[int, ...]:
        return tuple(self._get(bit.literal) for bit in self.logic.registers)

    def _get(self, literal: Literal) -> int:
        return self._levels[literal >> 1] ^ (literal & 1)

    def _set(self, literal: Literal, level: int) -> None:
        self._levels[literal >> 1] = level ^ (literal & 1)

    def _settle(self) -> None:
        levels = self._levels
        for node, is_and, a, not_a, b, not_b in self._gates:
            left, right = levels[a] ^ not_a, levels[b] ^ not_b
            levels[node] = left & right if is_and else left ^ right
