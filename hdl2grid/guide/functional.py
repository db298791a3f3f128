"""The functional check: the machine is played by hand, with a button where the ticker comes, and read."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from hdl2grid.guide.bench import Bench
from hdl2grid.guide.building_site import Site, extent, in_sight, shares
from hdl2grid.guide.choosing import Check, choose_checks
from hdl2grid.guide.faults import hidden_faults
from hdl2grid.guide.model import PICTURE, Action, Mistake, Tile
from hdl2grid.guide.opening import Chapters
from hdl2grid.guide.panel_reading import PanelReader
from hdl2grid.guide.pressing import button_actions, clearing_actions
from hdl2grid.guide.returning import Move, go_back, way_back
from hdl2grid.guide.sentences import at
from hdl2grid.guide.spots import Spot
from hdl2grid.guide.world import World
from hdl2grid.plan.model import Device

MAX_LISTED = 4
"""Most mistakes that a look lists. Guessed."""


def check_function(site: Site, chapters: Chapters, bench: Bench) -> None:
    """Plays the machine, looks at the panel, and brings all back."""
    checks, back = _with_way_back(site, bench, choose_checks(bench, hidden_faults(bench)))
    if checks:
        spots = _used_spots(bench, checks)
        _put_buttons(site, spots)
        reader = PanelReader(site.plan, site.words)
        for check in checks:
            _look(site, bench, reader, check)
        go_back(site, back, site.words.say("Back to the first state"))
        _clear(site, spots)
    chapters.close(
        site.words.say("Functional check"),
        site.words.say(
            "Now the machine is played by hand: the button in the ticker's place ticks it, and temporary buttons on "
            "registers set it to where it gets interesting. Each look was chosen because it shows mistakes that no "
            "look before it shows."
        ),
    )


def _with_way_back(site: Site, bench: Bench, checks: Sequence[Check]) -> tuple[Sequence[Check], list[Move]]:
    """The checks, without the last ones where no way back into the first state is known after them; and the way."""
    while checks:
        spots = _used_spots(bench, checks)
        buttons = _button_groups(site, spots)
        world = site.trial([action for group in buttons for action in group])
        for check in checks:
            for action in _press_actions(bench, check):
                world.do(action)
        back = way_back(site, world, spots)
        for tile in _buttons(action for group in buttons for action in group):
            site.take_away(tile)
        if back is not None:
            return checks, back
        checks = checks[:-1]
    return (), []


def _used_spots(bench: Bench, checks: Sequence[Check]) -> list[tuple[int, Spot]]:
    """The nets and places of the register buttons that the checks press."""
    pressed = {driver for check in checks for driver, _ in check.presses}
    used = []
    for number, group in enumerate(bench.groups):
        for driver, net, spot in zip(bench.presses(number), group.nets, group.spots, strict=True):
            if driver in pressed:
                used.append((net, spot))
    return used


def _put_buttons(site: Site, spots: Sequence[tuple[int, Spot]]) -> None:
    """Buttons in the tickers' places, where none stands yet, and on registers."""
    words = site.words
    for part in shares(_button_groups(site, spots)):
        tiles = _buttons(part)
        template = "Put temporary buttons on {tiles}{wire}."
        if len(tiles) == 1:
            template = "Put a temporary button on {tiles}{wire}."
        site.step(
            words.say("Buttons for the check"),
            template,
            part,
            tiles=words.tiles(tiles),
            wire="".join(
                words.say("; lay {stroke} for it", stroke=words.stroke(a.colour or "", a.stroke))
                for a in part
                if a.stroke
            ),
        )


def _button_groups(site: Site, spots: Sequence[tuple[int, Spot]]) -> list[list[Action]]:
    """For each button what is put down: its stub of wire, if it has one, and itself."""
    survey = site.survey
    groups = [
        [site.temporary(survey.tile(i))]
        for i in survey.of_kind("ticker")
        if survey.tile(i) not in site.buttons and survey.extraction.device_nets[i]
    ]
    return groups + [button_actions(site, survey.nets[net], spot) for net, spot in spots]


def _press_actions(bench: Bench, check: Check) -> list[Action]:
    names, tile_of = bench.network.sources, _tiles(bench)
    return [Action("press", tile=tile_of[names[d].name], times=times) for d, times in check.presses]


def _buttons(actions: Iterable[Action]) -> list[Tile]:
    return [(a.device.x, a.device.y) for a in actions if a.device is not None]


def _clear(site: Site, spots: Sequence[tuple[int, Spot]]) -> None:
    for part in shares([clearing_actions(site, site.survey.nets[net], spot) for net, spot in spots]):
        tiles = [a.tile for a in part if a.tile]
        wire = "; ".join(site.words.stroke(a.colour or "", a.stroke) for a in part if a.stroke)
        template = "Take the temporary buttons on {tiles} away{wire}."
        if len(tiles) == 1:
            template = "Take the temporary button on {tiles} away{wire}."
        site.step(
            site.words.say("Buttons for the check"),
            template,
            part,
            tiles=site.words.tiles(tiles),
            wire=site.words.say(", and the wire laid for them: {wire}", wire=wire) if wire else "",
        )


def _look(site: Site, bench: Bench, reader: PanelReader, check: Check) -> None:
    """One look: the presses, what the panel must read, and what the likeliest mistakes would make of it."""
    words = site.words
    actions = _press_actions(bench, check)
    pixels = [(p.x, p.y) for p in reader.pixels]
    toggles = [(d.x, d.y) for d in _toggles(bench, check.toggles)]
    trial = site.trial(actions)
    reading = reader.read([trial.value(tile, "pixel") or 0 for tile in pixels])
    template = "Press {presses}. The panel shows {reading}."
    if toggles:
        template = "Press {presses}. The panel shows {reading}, and {toggles}."
    site.step(
        words.say("Look: {reading}", reading=reading),
        template,
        actions,
        see=[*toggles, *pixels],
        mistakes=_mistakes(site, reader, check),
        reading=reading,
        focus=_focus(site, pixels, actions, toggles, trial),
        presses=_presses(site, actions),
        toggles=words.seen(site.expectations(toggles, trial)),
    )


def _presses(site: Site, actions: Sequence[Action]) -> str:
    single = [a.tile for a in actions if a.times == 1 and a.tile]
    many = [
        site.words.say("{tile} {times}", tile=at(a.tile or (0, 0)), times=site.words.times(a.times))
        for a in actions
        if a.times > 1
    ]
    if len(single) > 1:
        return site.words.listed([*many, site.words.say("{tiles} once each", tiles=site.words.tiles(single))])
    return site.words.listed([*many, *(site.words.say("{tile} once", tile=at(t)) for t in single)])


def _tiles(bench: Bench) -> dict[str, Tile]:
    """Where each source of the bench stands, by its name."""
    return {d.name or "": (d.x, d.y) for d in bench.plan.devices if d.kind in ("button", "switch")}


def _toggles(bench: Bench, elements: Sequence[int]) -> list[Device]:
    order = [t for stack in bench.extraction.stacks for t in stack.toggles]
    return [bench.plan.devices[order[element]] for element in elements]


def _focus(
    site: Site, pixels: Sequence[Tile], actions: Sequence[Action], toggles: Sequence[Tile], after: World
) -> list[Tile]:
    """What the picture of a look shows: the panel, and as far as they fit what is pressed and the toggles that flip."""
    before = site.world
    flipped = [tile for tile in toggles if before.value(tile, "toggle") != after.value(tile, "toggle")]
    shown = _panel_tiles(pixels)
    for tiles in ([a.tile for a in actions if a.tile is not None], flipped):
        shown = in_sight(shown, tiles) if shown else list(tiles[:1])
    return shown


def _panel_tiles(pixels: Sequence[Tile]) -> list[Tile]:
    """The part of the panel that one picture shows."""
    if not pixels:
        return []
    x0, y0, x1, y1 = extent(pixels)
    return [(x0, y0), (min(x1, x0 + PICTURE[0] - 1), min(y1, y0 + PICTURE[1] - 1))]


def _mistakes(site: Site, reader: PanelReader, check: Check) -> list[Mistake]:
    """The mistakes that show here first: one for each thing that may be read instead, the commonest first."""
    groups: dict[str, list[int]] = {}
    right = reader.read(check.pixels)
    for number, (_, pixels) in enumerate(check.caught):
        groups.setdefault(reader.read(pixels), []).append(number)
    found = []
    for reading, numbers in sorted(groups.items(), key=lambda item: -len(item[1]))[:MAX_LISTED]:
        fault, pixels = check.caught[numbers[0]]
        looks = site.words.say("it shows {reading}", reading=reading)
        if reading == right or "?" in reading:
            wrong = [(p.x, p.y) for p, a, b in zip(reader.pixels, pixels, check.pixels, strict=True) if a != b]
            looks = site.words.say("pixels {tiles} are wrong", tiles=site.words.tiles(wrong))
            if not wrong:
                looks = site.words.say(
                    "toggles show other values than listed, and the panel shows {reading}", reading=right
                )
        found.append(Mistake(fault.what, looks, fault.cure))
    return found
