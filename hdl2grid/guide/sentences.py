"""The sentences of the guide. All of them are here, each as one template that passes through `translate`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from hdl2grid.guide.model import Action, Expectation, Tile
from hdl2grid.plan.model import Device, Stroke


def at(tile: Tile) -> str:
    """A tile as text: "(12,7)"."""
    return f"({tile[0]},{tile[1]})"


def length_of(stroke: Stroke) -> int:
    x0, y0, x1, y1 = stroke
    return abs(x1 - x0) + abs(y1 - y0) + 1


def as_text(text: str) -> str:
    """No translation."""
    return text


class Words:
    """Sentences in one language: `translate` maps each English template to that of the language."""

    def __init__(self, translate: Callable[[str], str] = as_text, fresh_pixel_lit: bool = True) -> None:
        self._translate = translate
        lit, dark = translate("lit"), translate("dark")
        self._always = {"fresh": lit, "other": dark} if fresh_pixel_lit else {"fresh": dark, "other": lit}

    def say(self, template: str, **values: object) -> str:
        """A sentence from its template; {fresh} is what a pixel is when placed, {other} what it is not."""
        return self._translate(template).format(**self._always, **values)

    def listed(self, parts: Sequence[str]) -> str:
        """ "a", "a and b", "a, b and c"."""
        if len(parts) < 2:
            return "".join(parts)
        return self.say("{first} and {last}", first=", ".join(parts[:-1]), last=parts[-1])

    def tiles(self, tiles: Iterable[Tile]) -> str:
        """Tiles in reading order; straight runs of three and more as "(3,4) to (3,7)"."""
        return self.listed([self._run(run) for run in _runs(tiles)])

    def _run(self, run: list[Tile]) -> str:
        if len(run) == 1:
            return at(run[0])
        return self.say("{start} to {end}", start=at(run[0]), end=at(run[-1]))

    def stroke(self, colour: str, stroke: Stroke) -> str:
        """ "blue (12,7) to (30,7), 19 tiles"."""
        x0, y0, x1, y1 = stroke
        if (x0, y0) == (x1, y1):
            return self.say("{colour} {start}, 1 tile", colour=colour, start=at((x0, y0)))
        return self.say(
            "{colour} {start} to {end}, {length} tiles",
            colour=colour,
            start=at((x0, y0)),
            end=at((x1, y1)),
            length=length_of(stroke),
        )

    def device(self, device: Device) -> str:
        """A device with what it bears, without its tile: "gate NAND ones.carry", "toggle 1"."""
        state = self._translate
        words: dict[str, Callable[[], str]] = {
            "gate": lambda: self.say("gate {function} {name}", function=device.function, name=device.name),
            "toggle": lambda: self.say("toggle {bit}", bit=device.bit),
            "strobe": lambda: state("strobe"),
            "pixel": lambda: self.say("pixel {signal}", signal=device.signal),
            "ticker": lambda: self.say("ticker {name}, every {period} s", name=device.name, period=device.period_s),
            "button": lambda: self.say("button {name}", name=device.name),
            "switch": lambda: self.say("switch {name}, {on}", name=device.name, on=state("on" if device.on else "off")),
            "delay": lambda: self.say(
                "delay of {seconds} s to {to}", seconds=device.seconds, to=at(device.to or (0, 0))
            ),
            "crossover": lambda: state("crossover"),
        }
        return words[device.kind]()

    def source(self, device: Device) -> str:
        """What is pressed or flipped, by its name alone: "button reset", "switch day"."""
        if device.kind == "switch":
            return self.say("switch {name}", name=device.name)
        return self.device(device)

    def seen(self, expect: Iterable[Expectation]) -> str:
        """What must be seen, grouped: "toggles (1,2) and (3,4) show 1, pixel (5,6) is dark"."""
        groups: dict[tuple[str, int], list[Tile]] = {}
        for expectation in expect:
            if expectation.tile is not None:
                groups.setdefault((expectation.see, expectation.value), []).append(expectation.tile)
        return self.listed([self._group(*key, tiles) for key, tiles in groups.items()])

    def _group(self, see: str, value: int, tiles: list[Tile]) -> str:
        one = {
            ("toggle", 0): "toggle {tiles} shows 0",
            ("toggle", 1): "toggle {tiles} shows 1",
            ("pixel", 0): "pixel {tiles} is dark",
            ("pixel", 1): "pixel {tiles} is lit",
        }
        many = {
            ("toggle", 0): "toggles {tiles} show 0",
            ("toggle", 1): "toggles {tiles} show 1",
            ("pixel", 0): "pixels {tiles} are dark",
            ("pixel", 1): "pixels {tiles} are lit",
        }
        return self.say((one if len(tiles) == 1 else many)[see, value], tiles=self.tiles(tiles))

    def times(self, number: int) -> str:
        """ "once", "twice", "5 times"."""
        if number <= 2:
            return self._translate(("", "once", "twice")[number])
        return self.say("{number} times", number=number)

    def done(self, action: Action) -> str:
        """What the hands do, on one line."""
        if action.device is not None:
            tile = at((action.device.x, action.device.y))
            return self.say("put {device} on {tile}", device=self.device(action.device), tile=tile)
        if action.stroke is not None:
            stroke = self.stroke(action.colour or "", action.stroke)
            return self.say("lay {stroke}" if action.do == "wire" else "take up {stroke}", stroke=stroke)
        if action.area is not None:
            x0, y0, x1, y1 = action.area
            return self.say("lay backdrop from {start} to {end}", start=at((x0, y0)), end=at((x1, y1)))
        tile = at(action.tile or (0, 0))
        if action.do == "remove":
            if action.hand == "button":
                return self.say("take the button on {tile} away", tile=tile)
            return self.say("take away what is on {tile}", tile=tile)
        if action.do == "press":
            times = self.times(action.times)
            if action.name:
                named = {"": "press {name} on {tile} {times}", "flip": "flip {name} on {tile} {times}"}
                return self.say(named[action.hand], tile=tile, times=times, name=action.name)
            told = {
                "": "press {tile} {times}",
                "flip": "flip {tile} {times}",
                "start": "start {tile}",
                "stop": "stop {tile}",
            }
            return self.say(told[action.hand], tile=tile, times=times)
        return self.say("let the ticker on {tile} tick {times}", tile=tile, times=self.times(action.times))


def _runs(tiles: Iterable[Tile]) -> list[list[Tile]]:
    """Tiles in reading order, with straight runs of at least three together: first along x, then along y."""
    left = sorted(set(tiles), key=lambda t: (t[1], t[0]))
    runs: list[list[Tile]] = []
    rest: list[Tile] = left
    for dx, dy in ((1, 0), (0, 1)):
        known, bare = set(rest), list(rest)
        rest = []
        for x, y in bare:
            if (x, y) not in known:
                continue
            run = [(x, y)]
            while (x + dx * len(run), y + dy * len(run)) in known:
                run.append((x + dx * len(run), y + dy * len(run)))
            if len(run) >= 3:
                runs.append(run)
                known -= set(run)
            else:
                rest.append((x, y))
    return sorted(runs + [[tile] for tile in rest], key=lambda run: (run[0][1], run[0][0]))
