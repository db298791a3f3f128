"""What a user writes: a component, what its ports and clock domains are attached to, and its checks."""

from __future__ import annotations

import copy
from collections.abc import Awaitable, Callable, Iterable, Mapping
from dataclasses import KW_ONLY, dataclass, field

from amaranth.lib import wiring

from hdl2grid.base.display import displayed
from hdl2grid.base.errors import SourceLine
from hdl2grid.base.ports import Port, PortBit, component_ports
from hdl2grid.base.sources import Button, Switch, Ticker
from hdl2grid.base.userline import user_line
from hdl2grid.design import attach
from hdl2grid.design.floorplan import Floorplan
from hdl2grid.design.siting import check_floorplan
from hdl2grid.panel import Panel
from hdl2grid.panel.model import PanelLayout
from hdl2grid.panel.wirable import check_wirable

__all__ = ["Button", "Check", "Machine", "Switch", "Ticker"]

Check = Callable[..., Awaitable[None]]


@dataclass(frozen=True, eq=False)
class Machine:
    """A component and what it is attached to on the grid.

    component: an instance of `amaranth.lib.wiring.Component`.
    clocks: clock domain -> the Ticker or Button that clocks it; left out for a machine without registers.
    reset: a Button; a press returns every register that is not `reset_less` to its init value.
    inputs: input port, by its flat name ("hold", "bus__data", "keys__0") -> Switch; every input port of at
        least one bit needs one.
    panel: which output bit each pixel shows; bits on no panel get a pixel of their own beside the machine.
    check: `async def check(ctx)` or `async def check(ctx, component)`, or several of them in a list; each
        runs on a machine of its own that has just been built. See `hdl2grid.verify.design_checks`.
    name: the design file's stem if left out.
    floorplan: where things are to be on the grid, as a Floorplan.

    Raises InputError (M001 to M025, and M040, M041 from the panel) on every mistake that can be told without
    elaborating; the message has the source line of the port or of the call, and the nearest right name.
    """

    component: wiring.Component
    _: KW_ONLY
    clocks: Mapping[str, Ticker | Button] = field(default_factory=dict)
    reset: Button | None = None
    inputs: Mapping[str, Switch] = field(default_factory=dict)
    panel: Panel | None = field(default=None, repr=False)
    check: Check | Iterable[Check] | None = None
    name: str | None = None
    floorplan: Floorplan | None = None
    checks: tuple[Check, ...] = field(init=False, repr=False, default=())
    source: SourceLine | None = field(init=False, repr=False, default=None)
    _ports: tuple[Port, ...] = field(init=False, repr=False, default=())
    _initial: Mapping[str, int] = field(init=False, repr=False, default_factory=dict)

    def __post_init__(self) -> None:
        source = user_line()
        attach.check_component(self.component, source)
        attach.check_name(self.name, source)
        clocks = attach.clocks_of(self.clocks, source)
        attach.check_reset(self.reset, source)
        ports = component_ports(self.component)
        attach.check_names(ports, clocks, self.reset, source)
        inputs = attach.inputs_of(self.inputs, ports, source)
        values = {
            "source": source,
            "clocks": clocks,
            "inputs": inputs,
            "checks": attach.checks_of(self.check, source),
            "_ports": ports,
            "_initial": attach.initial_levels(inputs, ports, source),
        }
        for key, value in values.items():
            object.__setattr__(self, key, value)
        attach.check_panel(self.panel, ports, source)
        if self.panel is not None:
            check_wirable(self.panel)
        check_floorplan(self.floorplan, self.panel_layout(), self.source_names(), source)

    def ports(self) -> tuple[Port, ...]:
        """All ports, flat, in the order of the signature; ports of no bits among them."""
        return self._ports

    def input_ports(self) -> tuple[PortBit, ...]:
        """The bits of all input ports, in the order of the signature, lowest bit first."""
        return tuple(bit for port in self._ports if port.is_input for bit in port.bits)

    def output_ports(self) -> tuple[PortBit, ...]:
        """The bits of all output ports, in the order of the signature, lowest bit first."""
        return tuple(bit for port in self._ports if not port.is_input for bit in port.bits)

    def initial_levels(self) -> dict[str, int]:
        """The level of each input bit before any event, by its flat name."""
        return dict(self._initial)

    def panel_layout(self) -> PanelLayout | None:
        """The panel as data, if there is one."""
        return self.panel.layout() if self.panel is not None else None

    def source_names(self) -> tuple[str, ...]:
        """The names of all sources: clock domains, `reset` where there is one, and the bits of the inputs."""
        return *self.clocks, *(["reset"] if self.reset is not None else []), *self._initial

    def named(self, name: str) -> Machine:
        """The same machine under `name`, unless it has one already."""
        if self.name is not None:
            return self
        attach.check_name(name, self.source)
        machine = copy.copy(self)
        object.__setattr__(machine, "name", name)
        return machine

    def _repr_html_(self) -> str | None:
        """For notebooks: sources, ports and panel."""
        return displayed("machine", self)
