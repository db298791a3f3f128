"""Registers the drawings that plans and machines show in notebooks; nothing is imported before one is drawn."""

from __future__ import annotations

from typing import TYPE_CHECKING

from hdl2grid.base.display import register_display

if TYPE_CHECKING:
    from hdl2grid.design.machine import Machine
    from hdl2grid.plan.model import Plan


def _plan(plan: Plan) -> str | None:
    from hdl2grid.show.notebook import plan_svg

    return plan_svg(plan)


def _machine(machine: Machine) -> str:
    from hdl2grid.show.notebook import machine_html

    return machine_html(machine)


def register() -> None:
    """From now on a Plan shows its drawing, and a Machine its sources, ports and panel."""
    register_display("plan", _plan)
    register_display("machine", _machine)
