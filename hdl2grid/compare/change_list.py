"""From the difference of two plans to the steps by which a laid machine is changed, in laying order.

The machine is stopped in its first state. Then old wire is taken up, old devices are removed from the top of their
stacks down, new devices are placed as in the guide, and new wire is laid. All this is played on the machine, which is
still wired, and what it leaves wrong is put right. At last the changed nets are pressed. Where presses cannot put it
right, wire on the gates of the changed stacks is taken up too, and laid again when the stacks stand.
"""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.base.errors import DesignFailed
from hdl2grid.compare.difference import difference, tiles_in_use, with_bare_gates
from hdl2grid.compare.model import ChangeList, Difference
from hdl2grid.compare.pixels import place_dark
from hdl2grid.guide.building_site import PulseLost, Site, shares
from hdl2grid.guide.lookup_sheets import from_to, restore_sheet
from hdl2grid.guide.model import USUAL, Action, Fresh, Tile
from hdl2grid.guide.naming import net_number, net_title
from hdl2grid.guide.opening import Chapters
from hdl2grid.guide.returning import go_back, way_back
from hdl2grid.guide.sentences import Words, at
from hdl2grid.guide.spots import Spot, find_button_spot
from hdl2grid.guide.survey import NetInfo, Survey
from hdl2grid.guide.world import Thing, World, tiles_of
from hdl2grid.plan.model import Device, Plan
from hdl2grid.plan.rules import check_plan

_LAYING = ("pixel", "gate", "toggle", "strobe", "button", "switch", "delay", "crossover", "ticker")
"""The kinds of device in laying order."""


def compare(old: Plan, new: Plan, fresh: Fresh = USUAL) -> ChangeList:
    """The change list from one plan to another; `compare(new, old)` is the way back. `fresh` says what devices are like
    when placed.

    Raises DesignFailed G001 when a plan breaks a layout rule, InputError D001 when their wire colours differ.
    """
    for plan in (old, new):
        findings = check_plan(plan)
        if findings:
            raise DesignFailed("G001", f"the plan breaks a layout rule: {findings[0]}", where=plan.name)
    found = difference(old, new)
    try:
        return _listed(old, new, fresh, found)
    except PulseLost:
        return _listed(old, new, fresh, with_bare_gates(found, old, new), is_last=True)


def _listed(old: Plan, new: Plan, fresh: Fresh, found: Difference, is_last: bool = False) -> ChangeList:
    """Raises PulseLost where what happens meanwhile cannot be put right by pressing; if `is_last`, by hand then."""
    site = Site(Survey(new), Words(fresh_pixel_lit=fresh.pixel_lit), fresh)
    site.world = first_state(old, fresh)
    for area in found.backdrop_removed:
        site.world.backdrop.remove(area)
    site.laid = list(site.survey.order)
    chapters = Chapters(site)
    changed_nets = _changed_nets(site, Survey(old), found)
    if not found.is_empty:
        _stop(site, chapters, old)
        _take_up(site, chapters, found)
        _put_down(site, chapters, found)
        _restore(site, chapters, found, is_last)
        _test(site, chapters, changed_nets)
        _start(site, chapters, new, found)
    numbers = {net_number(site, net) for net in changed_nets}
    used = tiles_in_use(old) | tiles_in_use(new)
    return ChangeList(
        old=old,
        new=new,
        difference=found,
        sections=tuple(chapters.sections),
        retest=tuple(row for row in from_to(site) if row.number in numbers),
        restore=restore_sheet(site),
        share_touched=len(found.touched) / max(1, len(used)),
        fresh=fresh,
    )


def first_state(plan: Plan, fresh: Fresh = USUAL) -> World:
    """The world in which a plan lies and is in its first state, with all that runs running."""
    world = World(fresh)
    for colour, strokes in zip(plan.colours, plan.wires, strict=True):
        world.wires[colour] = {tile for stroke in strokes for tile in tiles_of(stroke)}
    values = {"toggle": "bit", "pixel": "lit", "ticker": "running", "switch": "on"}
    order = sorted(plan.devices, key=lambda d: (_LAYING.index(d.kind), -d.y, d.x))
    bare = World(fresh)
    for device in order:
        bare.do(Action("place", device=device))
    for tile, thing in bare.things.items():
        key = values.get(thing.kind)
        value = int(bool(getattr(thing.device, key))) if key else thing.value
        bare.put(tile, Thing(thing.device, value))
    bare.wires = world.wires
    bare.backdrop = list(plan.backdrop)
    return bare


def _changed_nets(site: Site, old: Survey, found: Difference) -> list[NetInfo]:
    """The nets of the new plan whose wire differs, or whose devices do."""
    before = {(net.colour, net.tiles): {old.device(d).kind: 0 for d in net.sinks} for net in old.nets}
    changed = []
    for index in site.survey.order:
        net = site.survey.nets[index]
        same = (net.colour, net.tiles) in before
        if not same or net.tiles & {(d.x, d.y) for d in (*found.added, *found.removed, *(n for _, n in found.changed))}:
            changed.append(net)
    return changed


def _stop(site: Site, chapters: Chapters, old: Plan) -> None:
    """Stops what runs; the machine must be in its first state."""
    words = site.words
    running = [(d.x, d.y) for d in old.devices if d.kind == "ticker" and d.running]
    if running:
        site.step(
            words.say("Stop the machine"),
            "Stop the ticker on {tiles}.",
            [Action("press", tile=tile) for tile in running],
            tiles=words.tiles(running),
        )
    site.step(
        words.say("First state"),
        "Bring the machine into its first state, by a reset or by the restore sheet of its old guide.",
        [],
    )
    chapters.close(words.say("Before you begin"), words.say("Nothing may move while the machine is changed."))


def _take_up(site: Site, chapters: Chapters, found: Difference) -> None:
    words = site.words
    wires = [[Action("unwire", colour=colour, stroke=stroke)] for colour, stroke in found.unwired]
    for part in shares(wires):
        strokes = "; ".join(words.stroke(a.colour or "", a.stroke) for a in part if a.stroke)
        site.step(words.say("Take up wire"), "Take up {strokes}.", part, strokes=strokes)
    replaced = [was for was, _ in found.changed if was.kind != "toggle"]
    going = sorted((*found.removed, *replaced), key=lambda d: (-_LAYING.index(d.kind), d.y, d.x))
    for part in shares([[Action("remove", tile=(d.x, d.y))] for d in going]):
        tiles = [a.tile for a in part if a.tile]
        site.step(words.say("Take away devices"), "Take away what is on {tiles}.", part, tiles=words.tiles(tiles))
    chapters.close(
        words.say("What goes"),
        words.say("Wire first, then devices, each stack from its top down.")
        + (words.say(" Some backdrop is no longer needed; it has no function.") if found.backdrop_removed else ""),
    )


def _put_down(site: Site, chapters: Chapters, found: Difference) -> None:
    words = site.words
    for area in found.backdrop_added:
        start, end = at(area[:2]), at(area[2:])
        action = Action("backdrop", area=area)
        site.step(words.say("Backdrop"), "Lay backdrop from {start} to {end}.", [action], start=start, end=end)
    coming = sorted((*found.added, *(new for _, new in found.changed)), key=_laying_order)
    coming = [device for device in coming if not _starts_dark(site, device) and not _comes_last(site, device)]
    for part in shares([[site.place(d)] for d in coming]):
        devices = [a.device for a in part if a.device]
        listed = [words.say("{what} on {tile}", what=words.device(d), tile=at((d.x, d.y))) for d in devices]
        site.step(words.say("Put down devices"), "Put down {devices}.", part, devices=words.listed(listed))
    order = {
        (site.survey.nets[n].colour, t): i for i, n in enumerate(site.survey.order) for t in site.survey.nets[n].tiles
    }
    wired = sorted(found.wired, key=lambda w: (min(order[w[0], t] for t in tiles_of(w[1])), w[1]))
    for part in shares([[Action("wire", colour=colour, stroke=stroke)] for colour, stroke in wired]):
        strokes = "; ".join(words.stroke(a.colour or "", a.stroke) for a in part if a.stroke)
        site.step(words.say("Lay wire"), "Lay {strokes}.", part, strokes=strokes)
    chapters.close(
        words.say("What comes"),
        words.say("Devices in laying order, toggles that change their bit among them, then wire, net by net."),
    )


def _starts_dark(site: Site, device: Device) -> bool:
    return device.kind == "pixel" and int(bool(device.lit)) != site.fresh_pixel


def _comes_last(site: Site, device: Device) -> bool:
    """A ticker that runs as soon as it is placed would move the machine while it is changed."""
    return device.kind == "ticker" and site.fresh.ticker_running


def _laying_order(device: Device) -> tuple[int, int, int]:
    """Stacks grow upward, so gates, toggles and strobes go by their row from below."""
    kind = _LAYING.index(device.kind)
    return kind, -device.y, device.x


def _restore(site: Site, chapters: Chapters, found: Difference, by_hand: bool) -> None:
    """What the change has left wrong is put right, and new pixels that start dark are placed."""
    words = site.words
    back = way_back(site, site.world)
    if back:
        go_back(site, back, words.say("Back to the first state"))
    elif back is None and not by_hand:
        raise PulseLost("no way back into the first state")
    elif back is None:
        site.step(
            words.say("Restore"),
            "Put right what differs from the restore sheet: {wrong}.",
            [],
            wrong=words.tiles(site.unlike_first()),
        )
    coming = (*found.added, *(new for _, new in found.changed))
    left = place_dark(site, [device for device in coming if _starts_dark(site, device)])
    for part in shares([[site.place(device)] for device in left]):
        tiles = [(a.device.x, a.device.y) for a in part if a.device]
        site.step(
            words.say("Pixels that start {other}"),
            "Put pixels on {tiles}. They must be {other} in the first state: put them down again when they should be "
            "{fresh}.",
            part,
            see=tiles,
            tiles=words.tiles(tiles),
        )
    chapters.close(
        words.say("Back to the first state"),
        words.say(
            "A toggle that is replaced on a wired machine may make its stack answer; this puts right what that did."
        ),
    )


def _test(site: Site, chapters: Chapters, nets: Sequence[NetInfo]) -> None:
    """Each changed net is pressed twice."""
    words = site.words
    untested = []
    for net in nets:
        spot = None if net.has_strobe else find_button_spot(site.survey, net, site.survey.order)
        if spot is None or not _press_twice(site, net, spot):
            untested.append(net.name)
    why = words.say("Each net that changed is pressed: what must flip is told, and pressed again all is back.")
    if untested:
        why += " " + words.say(
            "The functional check of the new guide tests these: {names}.", names=", ".join(dict.fromkeys(untested))
        )
    chapters.close(words.say("Test again"), why)


def _press_twice(site: Site, net: NetInfo, spot: Spot) -> bool:
    """The press test of one net in the finished machine; False, and nothing done, where it would not come back."""
    words = site.words
    stub = [Action("wire", colour=net.colour, stroke=spot.stub)] if spot.stub else []
    unstub = [Action("unwire", colour=net.colour, stroke=spot.stub)] if spot.stub else []
    before = site.world.watched()
    put = [*stub, site.temporary(spot.tile), Action("press", tile=spot.tile)]
    trial = site.world.copy()
    lost = [trial.do(action).lost for action in put]
    flips = _changed(before, trial)
    lost.append(trial.do(Action("press", tile=spot.tile)).lost)
    if any(lost) or trial.watched() != before:
        site.take_away(spot.tile)
        return False
    site.step(
        net_title(site, net),
        "{lay}Put a temporary button on {tile} and press it once. Now {flips}. Nothing else may change.",
        put,
        see=flips,
        of=net,
        tile=at(spot.tile),
        lay=words.say("Lay temporary wire {stub}. ", stub=words.stroke(net.colour, spot.stub)) if spot.stub else "",
        flips=words.seen(site.expectations(flips, site.trial(put))),
    )
    site.step(
        net_title(site, net),
        "Press the button on {tile} again and take it away. All is back: {seen}.",
        [Action("press", tile=spot.tile), site.take_away(spot.tile), *unstub],
        see=flips,
        of=net,
        tile=at(spot.tile),
    )
    return True


def _changed(before: dict[Tile, int], world: World) -> list[Tile]:
    return [tile for tile, value in world.watched().items() if before.get(tile) != value]


def _start(site: Site, chapters: Chapters, new: Plan, found: Difference) -> None:
    """Starts what the new plan runs; where tickers run at once, new ones are placed now, first those that must not."""
    words = site.words
    coming = [d for d in (*found.added, *(new for _, new in found.changed)) if _comes_last(site, d)]
    for device in sorted(coming, key=lambda d: (bool(d.running), d.y, d.x)):
        tile = (device.x, device.y)
        lead = "{away}Put {device} on {tile}. It runs at once, and the machine with it."
        if not device.running:
            lead = "{away}Put {device} on {tile}, and stop it by hand before its first tick: it runs at once."
        site.step(
            words.say("Ticker {name}", name=device.name),
            lead,
            [site.place(device), *([] if device.running else [Action("press", tile=tile)])],
            away="",
            device=words.device(device),
            tile=at(tile),
        )
    stopped = [
        (d.x, d.y)
        for d in new.devices
        if d.kind == "ticker" and d.running and not site.world.value((d.x, d.y), "ticker")
    ]
    if stopped:
        site.step(
            words.say("Start the machine"),
            "Start the ticker on {tiles}.",
            [Action("press", tile=tile) for tile in stopped],
            tiles=words.tiles(stopped),
        )
    chapters.close(
        words.say("The machine runs"), words.say("All shows what the restore sheet says; then it is started.")
    )
