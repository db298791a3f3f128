"""What the tests of logic/ share: components from functions, and lock-step of Logic and Amaranth's simulator."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from amaranth.hdl import Module, Shape, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In, Out

from hdl2grid import Machine, Switch
from hdl2grid.logic.elaborate import Elaboration, elaborate
from hdl2grid.logic.xag import AND
from hdl2grid.verify.hdl import HdlSession, run_hdl
from support.logic_session import LogicSession


class Expressions(wiring.Component):
    """Inputs of given shapes, and one output for each expression over them."""

    def __init__(self, shapes: Mapping[str, Shape], functions: Mapping[str, Callable[..., Value]]) -> None:
        self.names = list(shapes)
        self.functions = functions
        probes = {name: Signal(shape) for name, shape in shapes.items()}
        outputs = {f"y{i}": Out(Value.cast(f(**probes)).shape()) for i, f in enumerate(functions.values())}
        super().__init__({name: In(shape) for name, shape in shapes.items()} | outputs)

    def elaborate(self, platform: object) -> Module:
        m = Module()
        ports = {name: getattr(self, name) for name in self.names}
        for i, function in enumerate(self.functions.values()):
            m.d.comb += getattr(self, f"y{i}").eq(function(**ports))
        return m

    def machine(self) -> Machine:
        return Machine(self, inputs={name: Switch() for name in self.names}, name="expressions")


def gray_flips(num_bits: int) -> Iterable[int]:
    """Which bit to flip next so that all numbers of `num_bits` bits are visited."""
    return ((i & -i).bit_length() - 1 for i in range(1, 1 << num_bits))


def first_difference(elaboration: Elaboration, events: Iterable[str]) -> str | None:
    """Plays events in both sessions; what differs first, in words."""
    logic = elaboration.logic

    def body(hdl: HdlSession) -> str | None:
        ours = LogicSession(logic)
        past: list[str] = []
        for event in ["", *events]:
            if event:
                hdl.apply(event)
                ours.apply(event)
                past.append(event)
            for bits, theirs, mine in (
                (logic.registers, hdl.registers(), ours.registers()),
                (logic.outputs, hdl.outputs(), ours.outputs()),
            ):
                for bit, level, own in zip(bits, theirs, mine, strict=True):
                    if level != own:
                        return f"{bit.name} is {own} instead of {level} after {past[-8:]}"
        return None

    return run_hdl(elaboration, body)


def assert_equal_everywhere(component: Expressions) -> Elaboration:
    """All input words, by flipping one bit at a time."""
    elaboration = elaborate(component.machine())
    bits = [bit.name for bit in elaboration.logic.inputs]
    difference = first_difference(elaboration, [bits[i] for i in gray_flips(len(bits))])
    if difference is not None:
        index = difference.split()[0].split("[")[0].removeprefix("y")
        raise AssertionError(f"{list(component.functions)[int(index)]}: {difference}")
    return elaboration


def num_ands(elaboration: Elaboration) -> int:
    return sum(kind == AND for kind in elaboration.logic.xag.kinds)
