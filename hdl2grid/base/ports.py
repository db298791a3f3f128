"""The ports of a component, flat: one name a port, one name a bit, in the order of the signature."""

from __future__ import annotations

from dataclasses import dataclass

from amaranth.hdl import Shape, Signal, Value
from amaranth.lib import wiring
from amaranth.lib.wiring import In

from hdl2grid.base.errors import InputError, SourceLine
from hdl2grid.base.userline import declaration_of, is_installed, source_of


@dataclass(frozen=True, eq=False)
class PortBit:
    """One bit of a port: bit `index` of the Amaranth value `value`. `name` is flat: "ones[3]", "pm",
    "seg__0[3]"."""

    name: str
    port: str
    value: Value
    index: int
    source: SourceLine | None

    @property
    def bit(self) -> Value:
        """The bit alone, as an Amaranth value of width 1."""
        return self.value[self.index]


@dataclass(frozen=True, eq=False)
class Port:
    """One port of the component under its flat name; `shape` is as the user wrote it."""

    name: str
    value: Value
    shape: object
    is_input: bool
    source: SourceLine | None

    @property
    def width(self) -> int:
        return len(self.value)

    @property
    def bits(self) -> tuple[PortBit, ...]:
        """Its bits, lowest first; none for a port of no bits."""
        return tuple(
            PortBit(bit_name(self.name, self.width, i), self.name, self.value, i, self.source)
            for i in range(self.width)
        )


def bit_name(port: str, width: int, index: int) -> str:
    """The flat name of one bit: the port's own name where it is one bit wide, else `port[index]`."""
    return port if width == 1 else f"{port}[{index}]"


def component_ports(component: wiring.Component) -> tuple[Port, ...]:
    """All ports of `component` in the order of its signature.

    Raises InputError M002 where its attributes are not what its signature says, M013 where two ports get the
    same flat name or share one signal with an input.
    """
    reasons: list[str] = []
    if not component.signature.is_compliant(component, reasons=reasons):
        raise InputError(
            "M002",
            f"the ports of {type(component).__name__} are not what its signature says: {'; '.join(reasons)}",
            where=source_of(component),
            hint="Leave the attributes that Component.__init__ makes for the ports as they are.",
        )
    ports = tuple(
        _port(type(component), path, member, value) for path, member, value in component.signature.flatten(component)
    )
    _check_distinct(ports)
    return ports


def _port(owner: type, path: tuple[str | int, ...], member: wiring.Member, value: object) -> Port:
    name = "__".join(str(step) for step in path)
    cast = Value.cast(value)
    source = source_of(value) or source_of(cast)
    if source is None or is_installed(source.path):  # an array of ports: Amaranth does not know its line
        source = declaration_of(owner, str(path[0]))
    is_input = member.flow == In
    if is_input and not isinstance(cast, Signal):
        raise InputError("M002", f"input '{name}' is a constant, so no switch can set it", where=source)
    return Port(name, cast, member.shape, is_input, source)


def _check_distinct(ports: tuple[Port, ...]) -> None:
    by_name: dict[str, Port] = {}
    by_signal: dict[int, Port] = {}
    for port in ports:
        other = by_name.setdefault(port.name, port)
        if other is not port:
            raise InputError(
                "M013",
                f"two ports have the flat name '{port.name}' ({other.source} and {port.source})",
                where=port.source,
                hint="Nested ports and arrays of ports join their path with '__'; rename one of the two.",
            )
        twin = by_signal.setdefault(id(port.value), port)
        if twin is not port and (port.is_input or twin.is_input):
            raise InputError(
                "M013",
                f"ports '{twin.name}' and '{port.name}' are one and the same signal",
                where=port.source,
            )


def describe(port: Port) -> str:
    """'ones is an output, 7 bits wide', for messages."""
    kind = "an input" if port.is_input else "an output"
    bits = "1 bit" if port.width == 1 else f"{port.width} bits"
    signed = ", signed" if Shape.cast(port.value.shape()).signed else ""
    return f"{port.name} is {kind}, {bits} wide{signed}"
