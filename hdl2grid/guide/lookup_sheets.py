"""What is looked up rather than followed: the from-to list of nets, and the restore sheet for after a repair."""

from __future__ import annotations

from collections.abc import Iterator

from hdl2grid.guide.building_site import Site
from hdl2grid.guide.model import FromTo, Restore
from hdl2grid.guide.naming import net_number
from hdl2grid.guide.sentences import at
from hdl2grid.guide.survey import NetInfo
from hdl2grid.plan.extract import PlacedStack


def from_to(site: Site) -> tuple[FromTo, ...]:
    """Every net in the order of laying: drivers, sinks, colour, length, and the steps that lay and test it."""
    return tuple(_row(site, site.survey.nets[index]) for index in site.survey.order)


def _row(site: Site, net: NetInfo) -> FromTo:
    return FromTo(
        number=net_number(site, net),
        name=net.name,
        colour=net.colour,
        length=len(net.tiles),
        drivers=tuple(_end(site, d) for d in net.drivers),
        sinks=tuple(_end(site, s) for s in net.sinks),
        strokes=net.strokes,
        steps=tuple(dict.fromkeys(site.steps_of_net.get(net.index, ()))),
    )


def _end(site: Site, index: int) -> str:
    device = site.survey.device(index)
    words = site.words
    owner = site.survey.owner(index)
    kind = f"{device.kind} of {owner}" if device.kind in ("toggle", "strobe") else words.device(device)
    return f"{kind} {at((device.x, device.y))}"


def restore_sheet(site: Site) -> tuple[Restore, ...]:
    """Every stack, pixel, switch and ticker as it must be in the first state, with the nets on it."""
    return (*_stacks(site), *_pixels(site), *_sources(site))


def _nets(site: Site, devices: tuple[int, ...]) -> tuple[int, ...]:
    found = {net for device in devices for net in site.survey.extraction.device_nets[device]}
    return tuple(sorted(net_number(site, site.survey.nets[n]) for n in found))


def _stacks(site: Site) -> Iterator[Restore]:
    survey = site.survey
    for stack in survey.extraction.stacks:
        gate = survey.device(stack.gate)
        members = _members(stack)
        bits = ", ".join(f"{at(survey.tile(t))} {survey.device(t).bit}" for t in stack.toggles)
        strobe = f", strobe {at(survey.tile(stack.strobe))}" if stack.strobe is not None else ""
        yield Restore(
            what=f"{gate.name}",
            tiles=tuple(survey.tile(i) for i in members),
            state=f"gate {gate.function} {at((gate.x, gate.y))}, toggles {bits}{strobe}",
            nets=_nets(site, members),
        )


def _members(stack: PlacedStack) -> tuple[int, ...]:
    return (stack.gate, *stack.toggles, *([stack.strobe] if stack.strobe is not None else []))


def _pixels(site: Site) -> Iterator[Restore]:
    groups: dict[tuple[str, bool, tuple[int, ...]], list[int]] = {}
    for index in site.survey.of_kind("pixel"):
        device = site.survey.device(index)
        groups.setdefault((device.signal or "", bool(device.lit), _nets(site, (index,))), []).append(index)
    for (signal, lit, nets), devices in groups.items():
        tiles = tuple(site.survey.tile(i) for i in devices)
        state = f"pixel{'s' if len(tiles) > 1 else ''} {site.words.tiles(tiles)} {'lit' if lit else 'dark'}"
        yield Restore(signal, tiles, state, nets)


def _sources(site: Site) -> Iterator[Restore]:
    for index in site.survey.of_kind("switch", "ticker"):
        device = site.survey.device(index)
        tile = (device.x, device.y)
        words = {"switch": ("off", "on"), "ticker": ("stopped", "running")}[device.kind]
        state = words[bool(device.on if device.kind == "switch" else device.running)]
        yield Restore(device.name or "", (tile,), f"{device.kind} {at(tile)} {state}", _nets(site, (index,)))
