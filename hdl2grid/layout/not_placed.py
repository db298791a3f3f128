"""What the user is told where no plan is found: what was tried, what was in the way, and what helps."""

from __future__ import annotations

from hdl2grid.base.errors import DesignFailed
from hdl2grid.base.failure_report import FailureReport, nearest_miss
from hdl2grid.circuit.model import Circuit
from hdl2grid.design.floorplan import Floorplan
from hdl2grid.layout.lay_out import LayoutFailed
from hdl2grid.nets.lanes import HOPELESS, narrowest
from hdl2grid.nets.model import Netlist
from hdl2grid.panel.model import PanelLayout


class NotPlaced(DesignFailed):
    """P001: no plan within the limits. `failures` are the sizes that were tried, nets by HDL signals; it is hopeless
    where the panel is too narrow for its nets on any size."""

    def __init__(self, what: str, hint: str, failures: tuple[FailureReport, ...], is_hopeless: bool = False) -> None:
        super().__init__("P001", what, hint=hint)
        self.failures, self.is_hopeless = failures, is_hopeless

    @property
    def worst(self) -> FailureReport | None:
        """The one that came nearest: what is worth drawing."""
        return nearest_miss(self.failures)


def not_placed(
    failed: LayoutFailed,
    circuit: Circuit,
    netlist: Netlist,
    limits: tuple[int, int],
    panel: PanelLayout | None,
    floorplan: Floorplan | None,
) -> NotPlaced:
    """The error for a layout that failed within the limits, which are the largest width and height, in tiles."""
    failures = with_hdl_names(failed.failures, circuit)
    best, narrow = nearest_miss(failures), narrowest(netlist)
    within = f"{limits[0]} x {limits[1]} tiles"
    if floorplan is not None and floorplan.told():
        within += f" and the floorplan ({floorplan.told()})"
    why = best.told() if best is not None else "the cells with their gaps find no places"
    placements = f"{failed.placements} placement{'s' if failed.placements != 1 else ''}"
    what = f"no plan was found within {within} in {placements}. The best try, on {why}"
    if best is None:
        devices = sum(len(stack.toggles) + 1 + (stack.strobe is not None) for stack in circuit.stacks)
        what = f"no plan was found within {within}: {why}; its stacks alone take {devices} tiles"
        if panel is not None and (panel.width > limits[0] or panel.height > limits[1]):
            what = f"no plan can be within {within}: the panel alone is {panel.width} x {panel.height}"
    hint = "Try --effort long or another --seed."
    if narrow is not None and narrow.lacking:
        hint = f"{narrow.told()[0].upper()}{narrow.told()[1:]}."
    if failed.least is not None:
        width, height = failed.least
        hint = (
            f"The least that was reached is {width} x {height} = {width * height:,} tiles. "
            "Allow a larger grid with --width and --height, or try --effort long or another --seed."
        )
    if floorplan is not None:
        hint += " A floorplan that leaves more open helps."
    return NotPlaced(what, hint, failures, narrow is not None and narrow.share > HOPELESS)


def with_hdl_names(failures: tuple[FailureReport, ...], circuit: Circuit) -> tuple[FailureReport, ...]:
    """The same, nets by the HDL signals of their stacks."""
    signal = {stack.name: origin.signal for stack, origin in zip(circuit.stacks, circuit.origin, strict=True)}
    return tuple(failure.renamed(lambda name: signal.get(name, name)) for failure in failures)
