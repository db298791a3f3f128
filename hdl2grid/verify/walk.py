"""Random events, and making a list of events that shows something wrong as short as possible."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

from hdl2grid.base.rng import SplitMix64
from hdl2grid.circuit.model import Source

_WEIGHTS = {"ticker": 12, "button": 2, "switch": 3}
"""How often each kind of source is chosen, relative to the others. Guessed: time passes more often than hands act."""

_MAX_TRIES = 400
"""Most attempts to shorten a list of events. Guessed."""


def random_events(sources: Sequence[Source], count: int, seed: int) -> Iterator[str]:
    """`count` names of sources at random: ticks most often, presses rarely, so that counters get on; every
    so often a run of one ticker alone."""
    generator = SplitMix64(seed ^ 0x57414C4B)
    weights = [_WEIGHTS.get(source.kind, 1) for source in sources]
    tickers = [source.name for source in sources if source.kind == "ticker"]
    total = sum(weights)
    made = 0
    while sources and made < count:
        if tickers and generator.below(64) == 0:
            length = min(count - made, 1 + generator.below(256))
            name = tickers[generator.below(len(tickers))]
            for _ in range(length):
                yield name
            made += length
            continue
        drawn = generator.below(total)
        for source, weight in zip(sources, weights, strict=True):
            drawn -= weight
            if drawn < 0:
                yield source.name
                break
        made += 1


def shorten(events: Sequence[str], is_wrong: Callable[[Sequence[str]], bool]) -> tuple[str, ...]:
    """A shorter list for which `is_wrong` still holds, as it must for `events`. Chunks are left out, large ones first
    (A. Zeller, R. Hildebrandt, Simplifying and isolating failure-inducing input, 2002), in at most _MAX_TRIES tries."""
    kept = list(events)
    size = max(1, len(kept) // 2)
    tries = 0
    while tries < _MAX_TRIES:
        start, shrunk = 0, False
        while start < len(kept) and tries < _MAX_TRIES:
            candidate = kept[:start] + kept[start + size :]
            tries += 1
            if is_wrong(candidate):
                kept, shrunk = candidate, True
            else:
                start += size
        if size == 1 and not shrunk:
            break
        size = max(1, size // 2)
    return tuple(kept)
