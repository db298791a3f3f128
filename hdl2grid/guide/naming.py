"""What nets and strokes are called in sentences."""

from __future__ import annotations

from collections.abc import Iterable

from hdl2grid.guide.building_site import Site
from hdl2grid.guide.model import Action
from hdl2grid.guide.survey import NetInfo


def stroke_list(site: Site, part: Iterable[Action]) -> str:
    """The strokes of a step in words, without their colour."""
    return "; ".join(site.words.stroke("", a.stroke).strip() for a in part if a.stroke)


def net_words(site: Site, net: NetInfo) -> str:
    """ "net 7, ones[0], in blue"."""
    number = net_number(site, net)
    return site.words.say("net {number}, {name}, in {colour}", number=number, name=net.name, colour=net.colour)


def net_title(site: Site, net: NetInfo) -> str:
    number = net_number(site, net)
    return site.words.say("Net {number}: {name}, {colour}", number=number, name=net.name, colour=net.colour)


def net_number(site: Site, net: NetInfo) -> int:
    """The number of a net in the from-to list: its place in the order of laying, from 1."""
    return site.survey.order.index(net.index) + 1
