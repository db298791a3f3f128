"""Where a net is pressed, and in which order.

A few presses together show every mistake with the net's strokes that any press of it can show. The fewest tiles are a
set cover. All choices of up to three tiles beside the first are tried; beyond that the choice is greedy (V. Chvatal, A
greedy heuristic for the set-covering problem, Mathematics of Operations Research 4, 1979).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass
from itertools import combinations

from hdl2grid.guide.building_site import fits
from hdl2grid.guide.model import Tile
from hdl2grid.guide.reach import Field, Shown
from hdl2grid.guide.slips import WrongStroke
from hdl2grid.guide.spots import Spot
from hdl2grid.guide.survey import NetInfo
from hdl2grid.plan.model import Stroke

EXACT = 3
"""Most tiles beside the first of which all choices are tried. Guessed."""

MOST_NEW = 4
"""Most buttons that one step puts down and takes away again: with the first one, nine things. Guessed."""


@dataclass(frozen=True)
class Round:
    """The presses of one step, in order, and the mistakes that none before it shows: a stroke, and what is laid
    instead."""

    spots: tuple[Spot, ...]
    shows: tuple[tuple[Stroke, WrongStroke], ...]


def choose_rounds(field: Field, net: NetInfo, spots: Sequence[Spot], late: Set[int]) -> tuple[Round, ...]:
    """The test of a net that can be pressed on `spots`.

    The first round presses the first place. After the last round all is as before, a switch too. The pixels `late` are
    placed after the first round and then turned dark; where nothing else is on the net they are placed before it.
    """
    if not spots:
        return ()
    shown = field.shown(net, [s.tile for s in spots], spots[0].stub)
    choice = _Choice(field, shown, frozenset(late), late >= set(net.sinks), net.has_strobe)
    is_fixed = spots[0].own or spots[0].ticker
    cover = smallest_cover([choice.seen([s.tile]) for s in spots], [0] if is_fixed else [])
    first, *rest = [spots[i] for i in sorted(cover)] or [spots[0]]
    if net.has_strobe:
        rounds = [[spot] for spot in (first, *rest)] if shown.answers else [[first], *choice.together(first, rest)]
    else:
        own = field.survey.device_at.get(first.tile)
        is_switch = first.own and own is not None and field.survey.device(own).kind == "switch"
        rounds = choice.and_back(first, rest, is_switch)
    return tuple(choice.told(rounds))


def smallest_cover(masks: Sequence[int], fixed: Sequence[int] = ()) -> list[int]:
    """The numbers of few masks, `fixed` among them, whose bits together are those of all."""
    wanted = got = 0
    for mask in masks:
        wanted |= mask
    for number in fixed:
        got |= masks[number]
    useful = _undominated(masks, got)
    for size in range(EXACT + 1):
        for numbers in combinations(useful, size):
            union = got
            for number in numbers:
                union |= masks[number]
            if union == wanted:
                return [*fixed, *numbers]
    chosen = list(fixed)
    while got != wanted:
        best = max(useful, key=lambda n: ((masks[n] & ~got).bit_count(), -n))
        chosen.append(best)
        got |= masks[best]
    return chosen


def _undominated(masks: Sequence[int], got: int) -> list[int]:
    """Those that add bits to `got` which no other one, or none before it, adds too."""
    found: list[int] = []
    for number in sorted(range(len(masks)), key=lambda n: (-(masks[n] & ~got).bit_count(), n)):
        new = masks[number] & ~got
        if new and not any(new | masks[other] == masks[other] for other in found):
            found.append(number)
    return sorted(found)


@dataclass(frozen=True)
class _Choice:
    field: Field
    shown: Shown
    late: frozenset[int]
    only_late: bool
    has_strobe: bool

    def seen(self, tiles: Sequence[Tile], is_first: bool = False, among: int = -1) -> int:
        """A bit for each mistake `among` these that shows when all `tiles` have been pressed once, in their order.

        What two presses do alike does not show. The first round shows nothing of what is placed later. Where stacks
        sample, one press may undo another, so the mistakes that one of the presses shows are played.
        """
        hidden = self.late if is_first and not self.only_late else frozenset()
        mask = 0
        for number in range(len(self.shown.slips)):
            if not among >> number & 1:
                continue
            differs = [self.shown.differs[tile][number] for tile in tiles]
            seen: frozenset[int] = frozenset()
            for one in differs:
                seen ^= one
            if self.has_strobe and len(tiles) > 1 and any(differs):
                seen = self.field.played(self.shown.world(number), tiles)
            mask |= bool(seen - hidden) << number
        return mask

    def together(self, first: Spot, rest: Sequence[Spot]) -> list[list[Spot]]:
        """The places of `rest` in few rounds. A round is bounded by a step's things, by its picture, and by what can
        still be seen after all its presses."""
        left = ~self.seen([first.tile], True)
        rounds: list[list[Spot]] = []
        for spot in rest:
            if rounds and len(rounds[-1]) < MOST_NEW and self._joins(rounds[-1], spot, left):
                rounds[-1].append(spot)
            else:
                rounds.append([spot])
        return rounds

    def _joins(self, spots: Sequence[Spot], new: Spot, left: int) -> bool:
        """Whether a press on `new` too hides nothing of what is `left` to be shown."""
        tiles = [s.tile for s in spots]
        if not fits([*tiles, new.tile]):
            return False
        alone = self.seen(tiles, among=left) | self.seen([new.tile], among=left)
        return alone == self.seen([*tiles, new.tile], among=alone)

    def and_back(self, first: Spot, rest: Sequence[Spot], is_switch: bool) -> list[list[Spot]]:
        """Rounds after which all is as before: an even number of presses, or an odd one where late pixels alone are
        on the net."""
        rounds = [[first], *self.together(first, rest)]
        again = 0
        for spots in rounds[1:]:
            again |= self.seen([s.tile for s in spots])
        if self.seen([first.tile]) & ~self.seen([first.tile], True) & ~again:
            self._add(rounds, first)
        if is_switch and len(rest) % 2:
            rounds.append([rest[-1]])
        if sum(map(len, rounds)) % 2 != self.only_late:
            self._add(rounds, first)
        return rounds

    def _add(self, rounds: list[list[Spot]], first: Spot) -> None:
        """One more press of the first place: in the last round, or in one of its own."""
        left = ~self.seen([first.tile], True)
        if len(rounds) > 1 and first not in rounds[-1] and self._joins(rounds[-1], first, left):
            rounds[-1].append(first)
        else:
            rounds.append([first])

    def told(self, rounds: Sequence[Sequence[Spot]]) -> Iterator[Round]:
        before = 0
        for number, spots in enumerate(rounds):
            new = self.seen([s.tile for s in spots], number == 0) & ~before
            before |= new
            yield Round(tuple(spots), tuple(s for i, s in enumerate(self.shown.slips) if new >> i & 1))
