"""Choices as logic: which of several values holds where, with few ANDs.

The conditions of an `AssignmentList` come from `PriorityMatch` cells, so most of them are known to exclude or to
contain each other. Where they do, the value is one XOR of (condition AND value) over all conditions;
where they do not, each takes one multiplexer a bit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from hdl2grid.logic.cells import Matches, Net, PriorityMatch
from hdl2grid.logic.xag import FALSE, TRUE, Literal, XagBuilder

Path = tuple[tuple[int, int], ...]

APART, WITHIN, AROUND, UNKNOWN = range(4)
"""How one condition lies to another."""


class Conditions:
    """What is known of conditions without looking at logic: each output of a PriorityMatch excludes its
    siblings and lies within the cell's enable."""

    def __init__(self, choices: Mapping[Net, tuple[int, int]], enables: Sequence[Net]) -> None:
        """`choices`: net -> (number of its PriorityMatch, which output of it); `enables`: each one's enable."""
        self._choices = choices
        self._enables = enables
        self._paths: dict[Net, Path] = {1: ()}

    def path(self, net: Net) -> Path:
        """The choices that lead to a condition, outermost first."""
        pending = []
        while net not in self._paths and net in self._choices:
            pending.append(net)
            net = self._enables[self._choices[net][0]]
        # A net that no PriorityMatch drives is a choice of its own.
        path = self._paths.setdefault(net, ((-1 - net, 0),))
        for inner in reversed(pending):
            path = (*path, self._choices[inner])
            self._paths[inner] = path
        return path

    def cell(self, net: Net) -> int | None:
        """The number of the PriorityMatch that drives a net."""
        choice = self._choices.get(net)
        return None if choice is None else choice[0]

    def relation(self, a: Net, b: Net) -> int:
        """How condition `a` lies to `b`: APART, WITHIN (or equal), AROUND, or UNKNOWN."""
        one, two = self.path(a), self.path(b)
        for (cell_a, choice_a), (cell_b, choice_b) in zip(one, two, strict=False):
            if cell_a != cell_b:
                return UNKNOWN
            if choice_a != choice_b:
                return APART
        return WITHIN if len(one) >= len(two) else AROUND


@dataclass
class _Region:
    """Where `net` (as logic: `literal`) chose `value`; `held` is what later choices have left of it."""

    net: Net
    literal: Literal
    held: Literal
    value: Literal


Step = tuple[Net, Literal, Literal]


def choose(g: XagBuilder, conditions: Conditions, default: Literal, steps: Sequence[Step]) -> Literal:
    """One bit: `default`, then for each (condition, the same as logic, value) in turn the value where it holds."""
    regions: list[_Region] = []
    siblings: dict[Net, _Region] = {}
    cell: int | None = None
    for net, literal, value in steps:
        if literal == FALSE:
            continue
        if literal == TRUE:
            default, regions, cell = value, [], None
            continue
        own = conditions.cell(net)
        if not regions:
            siblings, cell = {}, own
        elif own != cell:
            cell = None
        region = _Region(net, literal, literal, value)
        if cell is not None and net in siblings:
            siblings[net].value = value
        elif cell is not None or _override(g, conditions, regions, region):
            siblings[net] = region
            regions.append(region)
        else:
            default = _combine(g, default, regions)
            regions, siblings, cell = [region], {net: region}, own
    return _combine(g, default, regions)


def _override(g: XagBuilder, conditions: Conditions, regions: list[_Region], new: _Region) -> bool:
    """Takes from the regions what `new` takes over; False (and nothing done) where that is not known."""
    inner, holder, left = FALSE, None, []
    for region in regions:
        if region.literal == new.literal:
            relation = WITHIN
        elif region.literal == new.literal ^ 1:
            relation = APART
        else:
            relation = conditions.relation(region.net, new.net)
        if relation == UNKNOWN:
            return False
        if relation == WITHIN:
            inner = g.xor(inner, region.held)
            continue
        if relation == AROUND:
            holder = region
        left.append(region)
    if holder is not None:
        # Of the choices around the new one the latest holds what no choice inside has taken.
        holder.held = g.xor(holder.held, g.xor(new.literal, inner))
    regions[:] = left
    return True


def _combine(g: XagBuilder, default: Literal, regions: Sequence[_Region]) -> Literal:
    """The XOR of (held AND value) over all regions and the rest, equal values joined first."""
    if not regions:
        return default
    rest = g.xor(TRUE, g.xor_all([region.held for region in regions]))
    where: dict[Literal, Literal] = {}
    for held, value in ((rest, default), *((region.held, region.value) for region in regions)):
        where[value] = g.xor(where.get(value, FALSE), held)
    where = {value: held for value, held in where.items() if held != FALSE}
    ones, zeros = where.pop(TRUE, FALSE), where.pop(FALSE, FALSE)
    if len(where) == 1 and zeros == FALSE:
        ((value, held),) = where.items()
        return g.or_(value, held ^ 1)
    base = FALSE
    if where and ones == FALSE and zeros == FALSE:
        base = next(iter(where))
    result = g.xor(base, ones)
    for node in dict.fromkeys(value & ~1 for value in where):
        if node == base & ~1:
            # Where the value is the inverse of the base, the base turns over.
            result = g.xor(result, where.get(base ^ 1, FALSE))
            continue
        plain, inverse = where.get(node, FALSE), where.get(node ^ 1, FALSE)
        if plain == FALSE:
            result = g.xor(result, g.and_(inverse, g.xor(node ^ 1, base)))
        else:
            term = g.and_(g.xor(plain, inverse), g.xor(node, base))
            result = g.xor(result, g.xor(term, inverse))
    return result


def conditions_of(cells: Sequence[object]) -> Conditions:
    """What the PriorityMatch cells among `cells` say about each other's outputs."""
    matches = [cell for cell in cells if isinstance(cell, PriorityMatch)]
    choices = {net: (n, i) for n, cell in enumerate(matches) for i, net in enumerate(cell.outputs)}
    return Conditions(choices, [cell.enable for cell in matches])


def apart_from_earlier(inputs: Sequence[Net], drivers: Mapping[Net, Matches]) -> list[bool]:
    """For each input of a PriorityMatch: whether its patterns alone exclude all inputs before it."""
    result: list[bool] = []
    word: tuple[Net, ...] | None = None
    earlier: list[tuple[int, int]] = []
    plain: set[int] | None = set()
    for net in inputs:
        cell = drivers.get(net)
        if cell is None or (word is not None and cell.value != word):
            return result + [False] * (len(inputs) - len(result))
        word = cell.value
        masks = [pattern_masks(pattern) for pattern in cell.patterns]
        full = all(care == (1 << len(word)) - 1 for care, _ in masks)
        if plain is not None and full:
            result.append(all(bits not in plain for _, bits in masks))
        else:
            result.append(all(_exclude(one, two) for one in masks for two in earlier))
        earlier += masks
        plain = plain | {bits for _, bits in masks} if plain is not None and full else None
    return result


def pattern_masks(pattern: str) -> tuple[int, int]:
    """A pattern as two numbers: which bits it looks at, and what they must be."""
    care = int("0" + "".join("0" if c == "-" else "1" for c in pattern), 2)
    return care, int("0" + pattern.replace("-", "0"), 2)


def _exclude(a: tuple[int, int], b: tuple[int, int]) -> bool:
    return bool((a[1] ^ b[1]) & a[0] & b[0])
