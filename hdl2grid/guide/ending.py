"""The last chapter: the tickers, and the machine runs."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.guide.building_site import Site
from hdl2grid.guide.looks import Looks
from hdl2grid.guide.model import Action, Look
from hdl2grid.guide.opening import Chapters
from hdl2grid.guide.panel_reading import PanelReader
from hdl2grid.guide.returning import go_back, way_back
from hdl2grid.guide.sentences import at

MOST_TICKS = 100
"""Most ticks that are played to see when the panel changes. Guessed."""


def place_tickers(site: Site, chapters: Chapters, looks: Sequence[Looks] = ()) -> None:
    """Takes the temporary buttons out of the tickers' places, puts the tickers there, and starts them."""
    survey, say, words = site.survey, site.words.say, site.words
    tickers = survey.of_kind("ticker")
    if site.fresh.ticker_running:
        _place_running(site, chapters, looks)
        return
    for index in tickers:
        tile = survey.tile(index)
        away = [site.take_away(tile)] if tile in site.buttons else []
        text = "Put {device} on {tile}. It does not run yet."
        if away:
            text = "Take the temporary button on {tile} away and put {device} there. It does not run yet."
        device = survey.device(index)
        site.step(
            say("Ticker {name}", name=device.name),
            text,
            [*away, site.place(device)],
            device=words.device(device),
            tile=at(tile),
        )
    for index in tickers:
        _one_tick(site, index)
    if _num_running(site) > 1:
        for one in looks:
            _look_alone(site, one)
    for index in tickers:
        if survey.device(index).running:
            _start(site, index)
    chapters.close(
        say("The machine runs"),
        say("The ticker comes last, so that nothing moves while you work. It is placed stopped and started by hand.")
        + _when_to_look(site, looks),
    )


def _place_running(site: Site, chapters: Chapters, looks: Sequence[Looks]) -> None:
    """In a game whose tickers run as soon as they are placed: those that must not are placed first, and stopped."""
    survey, say, words = site.survey, site.words.say, site.words
    for index in sorted(survey.of_kind("ticker"), key=lambda i: bool(survey.device(i).running)):
        tile, device = survey.tile(index), survey.device(index)
        away = [site.take_away(tile)] if tile in site.buttons else []
        lead = "{away}Put {device} on {tile}. It runs at once, and the machine with it."
        if not device.running:
            lead = "{away}Put {device} on {tile}, and stop it by hand before its first tick: it runs at once."
        site.step(
            say("Ticker {name}", name=device.name),
            lead,
            [*away, site.place(device), *([] if device.running else [Action("press", tile=tile)])],
            away=say("Take the temporary button on {tile} away. ", tile=at(tile)) if away else "",
            device=words.device(device),
            tile=at(tile),
        )
    chapters.close(
        say("The machine runs"),
        say("The ticker comes last, so that nothing moves while you work. It runs as soon as it is placed.")
        + _when_to_look(site, looks),
    )


def _num_running(site: Site) -> int:
    return sum(bool(site.survey.device(i).running) for i in site.survey.of_kind("ticker"))


def _when_to_look(site: Site, looks: Sequence[Looks]) -> str:
    """The looks at the running machine as a sentence, where one ticker alone runs it."""
    if not looks or _num_running(site) > 1:
        return ""
    return " " + site.words.say(
        "When it runs, look again: counted from the start of {source} it must show {looks}.",
        source=looks[0].source,
        looks=_told(site, looks[0].looks),
    )


def _told(site: Site, looks: Sequence[Look]) -> str:
    say = site.words.say
    parts = [
        say("{reading} after 1 tick", reading=look.reading)
        if look.ticks == 1
        else say("{reading} after {ticks} ticks", ticks=look.ticks, reading=look.reading)
        for look in looks
    ]
    return site.words.listed(parts)


def _look_alone(site: Site, looks: Looks) -> None:
    """Each look at one of several tickers in a step of its own, while the others stand still, and all back; nothing
    where no way back is known."""
    index = next(i for i in site.survey.of_kind("ticker") if site.survey.device(i).name == looks.source)
    tile, words = site.survey.tile(index), site.words
    ticks = [look.ticks for look in looks.looks]
    world = site.world.copy()
    lost = world.do(Action("tick", tile=tile, times=ticks[-1])).lost
    back = None if lost else way_back(site, world)
    if back is None:
        return
    title = words.say("Ticker {name} alone", name=looks.source)
    pixels = [(p.x, p.y) for p in PanelReader(site.plan, words).pixels]
    for before, look in zip([0, *ticks], looks.looks, strict=False):
        site.step(
            title,
            "Let the ticker on {tile} tick {times}, {ticks} in all, and stop it. The panel shows {reading}.",
            [Action("tick", tile=tile, times=look.ticks - before)],
            see=pixels,
            reading=look.reading,
            tile=at(tile),
            times=words.times(look.ticks - before),
            ticks=look.ticks,
        )
    go_back(site, back, title)


def _one_tick(site: Site, index: int) -> None:
    """One tick and back, where the way back needs nothing new: shows that the ticker is joined to its nets."""
    survey, words = site.survey, site.words
    tile = survey.tile(index)
    tick = Action("tick", tile=tile)
    world = site.world.copy()
    if world.do(tick).lost:
        return
    before = site.world.watched()
    changed = [t for t, v in world.watched().items() if before[t] != v]
    back = way_back(site, world)
    if not changed or back is None or any(move.net is not None for move in back):
        return
    reader = PanelReader(site.plan, site.words)
    title = words.say("Ticker {name}", name=survey.device(index).name)
    site.step(
        title,
        "Let the ticker on {tile} tick once: start it, wait for one tick, stop it. "
        "The panel shows {reading}; {seen_all}.",
        [tick],
        see=changed,
        tile=at(tile),
        reading=reader.read([world.value((p.x, p.y), "pixel") or 0 for p in reader.pixels]),
        seen_all=words.seen(site.expectations(changed, world)),
    )
    go_back(site, back, title)


def _start(site: Site, index: int) -> None:
    survey, words = site.survey, site.words
    tile = survey.tile(index)
    reader = PanelReader(site.plan, site.words)
    reading = reader.read([site.world.value((p.x, p.y), "pixel") or 0 for p in reader.pixels])
    site.step(
        words.say("Ticker {name}", name=survey.device(index).name),
        "Start the ticker on {tile} by hand. The panel shows {reading}; {moves}.",
        [Action("press", tile=tile)],
        see=[(p.x, p.y) for p in reader.pixels],
        tile=at(tile),
        reading=reading,
        moves=_when_it_moves(site, index),
    )


def _when_it_moves(site: Site, index: int) -> str:
    """With which tick the panel shows something else, and after how many seconds."""
    say, tile = site.words.say, site.survey.tile(index)
    world = site.world.copy()
    pixels = site.survey.of_kind("pixel")
    before = [world.value(site.survey.tile(i), "pixel") for i in pixels]
    for number in range(1, MOST_TICKS + 1):
        if world.do(Action("tick", tile=tile)).lost:
            break
        if [world.value(site.survey.tile(i), "pixel") for i in pixels] != before:
            seconds = f"{number * (site.survey.device(index).period_s or 0):g}"
            if number == 1:
                return say("it moves on with the first tick, after {period} s", period=seconds)
            return say("it moves on with tick {number}, after {period} s", number=number, period=seconds)
    if site.survey.of_kind("switch"):
        return say("it stays so as long as the switches stand as they do")
    return say("it stays so for many ticks")
