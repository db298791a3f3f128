"""XOR-AND graph: two-input nodes with complemented edges, hash-consed and constant-folded as it is built.

A *literal* is `2 * node + complement`. Node 0 is the constant 0, so literal 0 is 0 and literal 1 is 1. Nodes
are in topological order: the fan-ins of a node have smaller numbers. An XOR node has no complemented fan-in
(complements move to its output), the smaller fan-in comes first.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Literal = int
FALSE: Literal = 0
"""The literal of the constant 0: node 0."""

TRUE: Literal = 1
"""The literal of the constant 1: node 0, complemented."""

CONSTANT, VARIABLE, AND, XOR = range(4)
"""The kinds of nodes."""

BitVectors = npt.NDArray[np.uint64]


@dataclass(frozen=True)
class Xag:
    """A finished graph. `kinds[n]` is CONSTANT, VARIABLE, AND or XOR; `fanins[n]` its two literals (0, 0 for
    the first two kinds); `names[n]` a variable's name, "" elsewhere."""

    kinds: tuple[int, ...]
    fanins: tuple[tuple[Literal, Literal], ...]
    names: tuple[str, ...]

    def __len__(self) -> int:
        return len(self.kinds)

    def evaluate(self, values: Mapping[int, BitVectors], roots: Sequence[Literal]) -> list[BitVectors]:
        """The roots' values for many assignments at once.

        `values` maps every variable node in the roots' cone to an array of 64-bit words, one assignment a
        bit, all of one shape. Returns one array a root. Raises KeyError on a variable that is missing.
        """
        shape = next(iter(values.values())).shape if values else (1,)
        zeros = np.zeros(shape, dtype=np.uint64)
        table: dict[int, BitVectors] = {0: zeros}
        for node in self.cone(roots):
            kind = self.kinds[node]
            if kind == VARIABLE:
                table[node] = values[node]
            elif kind in (AND, XOR):
                a, b = self.fanins[node]
                left = ~table[a >> 1] if a & 1 else table[a >> 1]
                right = ~table[b >> 1] if b & 1 else table[b >> 1]
                table[node] = left & right if kind == AND else left ^ right
        return [~table[r >> 1] if r & 1 else table[r >> 1] for r in roots]

    def cone(self, roots: Iterable[Literal], ends: Container[int] = ()) -> list[int]:
        """All nodes that the roots depend on, roots included, in topological order; nodes of `ends` are in it, but
        not what they depend on."""
        seen = {r >> 1 for r in roots}
        stack = list(seen)
        while stack:
            node = stack.pop()
            if self.kinds[node] in (AND, XOR) and node not in ends:
                for literal in self.fanins[node]:
                    child = literal >> 1
                    if child not in seen:
                        seen.add(child)
                        stack.append(child)
        return sorted(seen)

    def support(self, roots: Iterable[Literal]) -> list[int]:
        """The variable nodes that the roots depend on in structure, in ascending order."""
        return [n for n in self.cone(roots) if self.kinds[n] == VARIABLE]


@dataclass
class XagBuilder:
    """Builds a graph node by node; equal nodes are made once."""

    kinds: list[int] = field(default_factory=lambda: [CONSTANT])
    fanins: list[tuple[Literal, Literal]] = field(default_factory=lambda: [(0, 0)])
    names: list[str] = field(default_factory=lambda: [""])
    _known: dict[tuple[int, Literal, Literal], int] = field(default_factory=dict)

    def variable(self, name: str) -> Literal:
        self.kinds.append(VARIABLE)
        self.fanins.append((0, 0))
        self.names.append(name)
        return 2 * (len(self.kinds) - 1)

    def _node(self, kind: int, a: Literal, b: Literal) -> Literal:
        key = (kind, a, b)
        node = self._known.get(key)
        if node is None:
            node = len(self.kinds)
            self.kinds.append(kind)
            self.fanins.append((a, b))
            self.names.append("")
            self._known[key] = node
        return 2 * node

    def and_(self, a: Literal, b: Literal) -> Literal:
        """a & b, simplified by constants and by one look into each fan-in."""
        if a > b:
            a, b = b, a
        if a == FALSE or a == b ^ 1:
            return FALSE
        if a in (TRUE, b):
            return b
        simpler = self._absorb(a, b)
        if simpler is None:
            simpler = self._absorb(b, a)
        return self._node(AND, a, b) if simpler is None else simpler

    def _absorb(self, a: Literal, b: Literal) -> Literal | None:
        """a & b where b is a node with the variable of `a` as a fan-in; None where that tells nothing."""
        kind, (c, d) = self.kinds[b >> 1], self.fanins[b >> 1]
        if kind == AND:
            if a in (c, d):
                return b if b & 1 == 0 else self.and_(a, (d if a == c else c) ^ 1)
            if a ^ 1 in (c, d):
                return FALSE if b & 1 == 0 else a
        elif kind == XOR and a >> 1 in (c >> 1, d >> 1):
            other = d if a >> 1 == c >> 1 else c
            return self.and_(a, other ^ (a & 1 ^ 1) ^ (b & 1))
        return None

    def xor(self, a: Literal, b: Literal) -> Literal:
        """a ^ b, simplified by constants and by one look into each fan-in."""
        complement = (a ^ b) & 1
        a, b = a & ~1, b & ~1
        if a > b:
            a, b = b, a
        if a == b:
            return complement
        if a == FALSE:
            return b ^ complement
        for one, two in ((a, b), (b, a)):
            if self.kinds[two >> 1] == XOR and one in self.fanins[two >> 1]:
                c, d = self.fanins[two >> 1]
                return (d if one == c else c) ^ complement
        return self._node(XOR, a, b) ^ complement

    def or_(self, a: Literal, b: Literal) -> Literal:
        return self.and_(a ^ 1, b ^ 1) ^ 1

    def mux(self, select: Literal, if_one: Literal, if_zero: Literal) -> Literal:
        """One AND: `select & (if_one ^ if_zero) ^ if_zero`, or an AND or OR of its own where a branch is
        constant."""
        if if_one in (FALSE, TRUE):
            return self.or_(select, if_zero) if if_one else self.and_(select ^ 1, if_zero)
        if if_zero in (FALSE, TRUE):
            return self.or_(select ^ 1, if_one) if if_zero else self.and_(select, if_one)
        return self.xor(self.and_(select, self.xor(if_one, if_zero)), if_zero)

    def and_all(self, literals: Sequence[Literal]) -> Literal:
        result = TRUE
        for literal in literals:
            result = self.and_(result, literal)
        return result

    def xor_all(self, literals: Sequence[Literal]) -> Literal:
        result = FALSE
        for literal in literals:
            result = self.xor(result, literal)
        return result

    def freeze(self) -> Xag:
        return Xag(tuple(self.kinds), tuple(self.fanins), tuple(self.names))
