"""XOR-AND graph: two-input nodes with complemented edges, hash-consed and constant-folded as it is built.

A *literal* is `2 * node + complement`. Node 0 is the constant 0, so literal 0 is 0 and literal 1 is 1. Nodes
are in topological order: the fan-ins of a node have smaller numbers. An XOR node has no complemented fan-in
(complements move to its output), the smaller fan-in comes first.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

Literal = int
FALSE: Literal = 0
TRUE: Literal = 1

CONSTANT, VARIABLE, AND, XOR = range(4)

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

    def cone(self, roots: Iterable[Literal]) -> list[int]:
        """All nodes that the roots depend on, roots included, in topological order."""
        seen = {r >> 1 for r in roots}
        stack = list(seen)
        while stack:
            node = stack.pop()
            if self.kinds[node] in (AND, XOR):
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
        if a > b:
            a, b = b, a
        if a == FALSE or a == b ^ 1:
            return FALSE
        if a in (TRUE, b):
            return b
        return self._node(AND, a, b)

    def xor(self, a: Literal, b: Literal) -> Literal:
        complement = (a ^ b) & 1
        a, b = a & ~1, b & ~1
        if a > b:
            a, b = b, a
        if a == b:
            return complement
        if a == FALSE:
            return b ^ complement
        return self._node(XOR, a, b) ^ complement

    def or_(self, a: Literal, b: Literal) -> Literal:
        return self.and_(a ^ 1, b ^ 1) ^ 1

    def mux(self, select: Literal, if_one: Literal, if_zero: Literal) -> Literal:
        """One AND: `select & (if_one ^ if_zero) ^ if_zero`."""
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
