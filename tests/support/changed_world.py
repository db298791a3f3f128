"""A machine on the grid after somebody followed a change list."""

from __future__ import annotations

from hdl2grid.compare.change_list import first_state
from hdl2grid.compare.model import ChangeList
from hdl2grid.guide.world import Thing, World


def apply_changes(changes: ChangeList) -> World:
    """The world after a change list was followed on a machine laid by its old plan. Raises Impossible."""
    world = first_state(changes.old, changes.fresh)
    for _, device in changes.difference.renamed:
        tile = (device.x, device.y)
        world.put(tile, Thing(device, world.things[tile].value))
    for area in changes.difference.backdrop_removed:
        world.backdrop.remove(area)
    for section in changes.sections:
        for step in section.steps:
            for action in step.actions:
                world.do(action)
    return world
