"""Which stack of an old circuit each stack of a new one continues, by names, drivers, sinks and shape."""

from __future__ import annotations

import re
from collections import Counter, defaultdict
from collections.abc import Callable, Hashable, Iterable, Mapping

from hdl2grid.circuit.model import Circuit, Stack

Names = dict[str, str]


def plain_name(name: str) -> str:
    """A name without the numbers that elaboration adds to keep equal names apart: they change with the design."""
    return re.sub(r"\$\d+", "", name)


def match_circuits(new: Circuit, old: Circuit) -> Names:
    """For sources and stacks of `new` the name of the one of `old` that each continues; each of `old` at most once.

    Sources and strobed stacks go by name. Plain stacks, whose names are only numbers, go by what they are: the same
    toggles with the same drivers; then the same drivers; then whatever shares most toggles and sinks.
    """
    return _Matcher(new, old).run()


def renamed_nets(nets: Iterable[tuple[str, ...]], new: Circuit, old: Circuit) -> tuple[tuple[str, ...], ...]:
    """Sets of drivers of `old` by their names in `new`; without those of which it has not all."""
    now = {before: name for name, before in match_circuits(new, old).items()}
    return tuple(tuple(sorted(now[d] for d in net)) for net in nets if all(d in now for d in net))


class _Matcher:
    def __init__(self, new: Circuit, old: Circuit) -> None:
        self.new, self.old = new, old
        self.names: Names = {}
        self.used: set[str] = set()
        self.new_readers, self.old_readers = _readers(new), _readers(old)

    def run(self) -> Names:
        for kind in ("ticker", "button", "switch"):
            mine = [s.name for s in self.new.sources if s.kind == kind]
            theirs = [s.name for s in self.old.sources if s.kind == kind]
            self._pair_up(mine, theirs, plain_name)
            self._pair_up(mine, theirs, lambda _: "")
        strobed = [s.name for s in self.new.stacks if s.strobe is not None]
        self._pair_up(strobed, [s.name for s in self.old.stacks if s.strobe is not None], plain_name)
        while self._exact() or self._similar():
            pass
        return self.names

    def _pair(self, mine: str, theirs: str) -> None:
        self.names[mine] = theirs
        self.used.add(theirs)

    def _pair_up(self, mine: Iterable[str], theirs: Iterable[str], key: Callable[[str], Hashable]) -> bool:
        """Pairs those of equal keys, in order."""
        waiting: dict[Hashable, list[str]] = defaultdict(list)
        for name in theirs:
            if name not in self.used:
                waiting[key(name)].append(name)
        found = False
        for name in mine:
            if name not in self.names and waiting[key(name)]:
                self._pair(name, waiting[key(name)].pop(0))
                found = True
        return found

    def _left(self) -> tuple[list[Stack], list[Stack]]:
        mine = [s for s in self.new.stacks if s.name not in self.names]
        return mine, [s for s in self.old.stacks if s.name not in self.used]

    def _exact(self) -> bool:
        """Stacks of the same toggles; and then of the same drivers, whatever their bits."""
        for with_bits in (True, False):
            mine, theirs = self._left()
            shapes = {s.name: self._shape(s, self.names, with_bits) for s in mine}
            known = {s.name: self._shape(s, None, with_bits) for s in theirs}
            waiting: dict[Hashable, list[str]] = defaultdict(list)
            for name, shape in known.items():
                waiting[shape].append(name)
            pairs = [(name, waiting[s].pop(0)) for name, s in shapes.items() if s is not None and waiting[s]]
            for pair in pairs:
                self._pair(*pair)
            if pairs:
                return True
        return False

    def _shape(self, stack: Stack, names: Mapping[str, str] | None, with_bits: bool) -> Hashable:
        """What a stack is, in names of the old circuit; None where a driver has none yet."""

        def known(drivers: Iterable[str]) -> tuple[str, ...] | None:
            if names is None:
                return tuple(sorted(drivers))
            found = [names.get(d) for d in drivers]
            return None if None in found else tuple(sorted(d for d in found if d is not None))

        toggles = [(known(t.drivers), t.bit if with_bits else 0) for t in stack.toggles]
        strobe = None if stack.strobe is None else known(stack.strobe)
        if any(drivers is None for drivers, _ in toggles) or (stack.strobe is not None and strobe is None):
            return None
        return (stack.function if with_bits else ""), strobe, tuple(sorted(toggles, key=repr))

    def _similar(self) -> bool:
        """The pair of stacks left that shares most, if any does."""
        mine, theirs = self._left()
        best: tuple[int, Stack, Stack] | None = None
        for stack in mine:
            for other in theirs:
                if (stack.strobe is None) == (other.strobe is None):
                    score = self._likeness(stack, other)
                    if score > 0 and (best is None or score > best[0]):
                        best = score, stack, other
        if best is None:
            return False
        self._pair(best[1].name, best[2].name)
        return True

    def _likeness(self, stack: Stack, other: Stack) -> int:
        drivers = [frozenset(self.names.get(d, f"new {d}") for d in t.drivers) for t in stack.toggles]
        shared = sum((Counter(drivers) & Counter(frozenset(t.drivers) for t in other.toggles)).values())
        readers = {(self.names.get(kind, kind), place) for kind, place in self.new_readers[stack.name]}
        sinks = len(readers & self.old_readers[other.name])
        if not shared and not sinks:
            return 0
        alike = len(stack.toggles) == len(other.toggles)
        return 4 * shared + 2 * sinks + 3 * alike + (plain_name(stack.name) == plain_name(other.name))


def _readers(circuit: Circuit) -> dict[str, set[tuple[str, str]]]:
    """For each driver the stacks and pixels that list it."""
    found: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for stack in circuit.stacks:
        for toggle in stack.toggles:
            for driver in toggle.drivers:
                found[driver].add((stack.name, "toggle"))
        for driver in stack.strobe or ():
            found[driver].add((stack.name, "strobe"))
    for pixel in circuit.pixels:
        for driver in pixel.drivers:
            found[driver].add((pixel.signal, "pixel"))
    return found
