"""Pixels that are new and start dark, in a machine that is wired already.

A pixel is lit when it is placed, so it is placed while it should be lit. A net that reaches it is pressed, the pixel
is put down, and the net is pressed again. A pixel without wire gets a button on a stub of its own. Where a target says
that pixels are dark when placed, lit and dark trade places.
"""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.guide.building_site import Site, shares
from hdl2grid.guide.model import MAX_THINGS, Action, Tile
from hdl2grid.guide.sentences import at
from hdl2grid.guide.spots import Spot, find_button_spot
from hdl2grid.plan.model import Device, Stroke


def place_dark(site: Site, pixels: Sequence[Device]) -> list[Device]:
    """Adds the steps that place pixels which start dark; returns those for which no way was found."""
    groups: dict[int, list[Device]] = {}
    spots: dict[int, Spot] = {}
    lonely: list[Device] = []
    for device in pixels:
        found = _net_for(site, device)
        if found is None:
            lonely.append(device)
        else:
            groups.setdefault(found[0], []).append(device)
            spots[found[0]] = found[1]
    for net, members in groups.items():
        _by_net(site, net, spots[net], members)
    return [device for device in lonely if not _by_stub(site, device)]


def _net_for(site: Site, device: Device) -> tuple[int, Spot] | None:
    """A net that, pressed twice, brings all back, and that pressed once flips a pixel on the device's tile."""
    survey = site.survey
    for index in survey.extraction.device_nets[survey.device_at[device.x, device.y]]:
        net = survey.nets[index]
        spot = None if net.has_strobe else find_button_spot(survey, net, survey.order)
        if spot is None:
            continue
        world = site.trial([site.place(device)])
        before = world.watched()
        stub = [Action("wire", colour=net.colour, stroke=spot.stub)] if spot.stub else []
        lost = [world.do(action).lost for action in (*stub, site.temporary(spot.tile))]
        lost.append(world.do(Action("press", tile=spot.tile)).lost)
        flipped = world.value((device.x, device.y), "pixel") == 1 - site.fresh_pixel
        lost.append(world.do(Action("press", tile=spot.tile)).lost)
        site.take_away(spot.tile)
        if flipped and not any(lost) and world.watched() == before:
            return index, spot
    return None


def _by_net(site: Site, index: int, spot: Spot, pixels: Sequence[Device]) -> None:
    words, net = site.words, site.survey.nets[index]
    title = words.say("Pixels that start {other}")
    stub = [Action("wire", colour=net.colour, stroke=spot.stub)] if spot.stub else []
    unstub = [Action("unwire", colour=net.colour, stroke=spot.stub)] if spot.stub else []
    before = site.world.watched()
    put = [*stub, site.temporary(spot.tile), Action("press", tile=spot.tile)]
    flips = [t for t, v in site.trial(put).watched().items() if before.get(t) != v]
    site.step(
        title,
        "{wire}Put a temporary button on {tile} and press it once{seen_now}.",
        put,
        see=flips,
        tile=at(spot.tile),
        wire=words.say("Lay temporary wire {stub}. ", stub=words.stroke(net.colour, spot.stub)) if spot.stub else "",
        seen_now=words.say(": {what}", what=words.seen(site.expectations(flips, site.trial(put)))) if flips else "",
    )
    for part in shares([[site.place(d)] for d in pixels], MAX_THINGS):
        tiles = [(a.device.x, a.device.y) for a in part if a.device]
        site.step(
            title,
            "Put pixels on {tiles}: they are {fresh}, as they should be now.",
            part,
            see=tiles,
            tiles=words.tiles(tiles),
        )
    site.step(
        title,
        "Press the button on {tile} again and take it away. All is back, and the new pixels are {other}.",
        [Action("press", tile=spot.tile), site.take_away(spot.tile), *unstub],
        see=[*((d.x, d.y) for d in pixels), *flips],
        tile=at(spot.tile),
    )


def _by_stub(site: Site, device: Device) -> bool:
    """A pixel that no net flips: a button beside it, joined to it alone. False where there is no room."""
    tile = (device.x, device.y)
    words = site.words
    for colour in site.plan.colours:
        wired = site.world.wires.get(colour, set())
        if wired & site.around([tile], 1):
            continue
        for beside in sorted(site.around([tile], 1) - {tile}):
            if not _is_free(site, beside) or wired & site.around([beside], 1):
                continue
            stroke: Stroke = (*min(tile, beside), *max(tile, beside))
            site.step(
                words.say("Pixels that start {other}"),
                "Put a pixel on {tile} and a temporary button on {beside}, join them in {colour}, press once, and take "
                "button and wire away. The pixel is {other}.",
                [
                    site.place(device),
                    Action("wire", colour=colour, stroke=stroke),
                    site.temporary(beside),
                    Action("press", tile=beside),
                    site.take_away(beside),
                    Action("unwire", colour=colour, stroke=stroke),
                ],
                see=[tile],
                tile=at(tile),
                beside=at(beside),
                colour=colour,
            )
            return True
    return False


def _is_free(site: Site, tile: Tile) -> bool:
    """Whether a tile is within the grid, without device, and without wire of any colour."""
    x, y = tile
    inside = 0 <= x < site.plan.width and 0 <= y < site.plan.height
    bare = not any(tile in wired for wired in site.world.wires.values())
    return inside and bare and tile not in site.survey.taken and tile not in site.world.things
