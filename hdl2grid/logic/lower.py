"""From word cells to an XOR-AND graph, bit by bit and only as far as something asks for it.

Going bit by bit lets a word depend on its own lower bits, as long as no bit depends on itself.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from hdl2grid.base.errors import InputError
from hdl2grid.logic import arithmetic, divide
from hdl2grid.logic.assign import apart_from_earlier, choose, conditions_of, pattern_masks
from hdl2grid.logic.cells import (
    AssignmentList,
    AsyncRead,
    Cell,
    Matches,
    Memory,
    Net,
    Netlist,
    Operator,
    Part,
    PriorityMatch,
)
from hdl2grid.logic.lookup import tabulate
from hdl2grid.logic.xag import AND, FALSE, TRUE, Literal, XagBuilder

BITWISE = frozenset("~&|^m")

MAX_TABLE_BITS = 1 << 15
"""Largest table that becomes logic, in bits. Guessed."""

MAX_TABLE_ANDS = 1000
"""Most ANDs that looking a table up may take. Guessed: more stacks than a person lays."""


@dataclass
class Lowering:
    """Literals of nets, made on demand. `known` starts with the constants and every variable of the graph;
    `rows` holds the literals of each writable memory's rows."""

    netlist: Netlist
    graph: XagBuilder
    known: dict[Net, Literal]
    rows: Mapping[int, Sequence[Sequence[Literal]]]
    _drivers: dict[Net, tuple[Cell, int]] = field(init=False)
    # Of priority matches and assignment lists, by their first output net, which no other cell has.
    _apart: dict[Net, list[bool]] = field(init=False, default_factory=dict)
    _rests: dict[Net, list[Literal]] = field(init=False, default_factory=dict)
    _steps: dict[Net, list[list[tuple[Net, Net]]]] = field(init=False, default_factory=dict)

    def __post_init__(self) -> None:
        self._drivers = {net: (cell, bit) for cell in self.netlist.cells for bit, net in enumerate(cell.outputs)}
        self._matches = {cell.outputs[0]: cell for cell in self.netlist.cells if isinstance(cell, Matches)}
        self._conditions = conditions_of(self.netlist.cells)

    def word(self, nets: Iterable[Net]) -> list[Literal]:
        """The literals of nets, with all that they depend on; never recurses."""
        nets = list(nets)
        stack = [net for net in nets if net not in self.known]
        while stack:
            net = stack[-1]
            if net in self.known:
                stack.pop()
                continue
            cell, bit = self._drivers[net]
            missing = [n for n in self._needs(cell, bit) if n not in self.known]
            if missing:
                stack.extend(missing)
            else:
                self._make(cell, bit)
                stack.pop()
        return [self.known[net] for net in nets]

    def net(self, net: Net) -> Literal:
        return self.word([net])[0]

    def read(self, memory: int, address: Sequence[Literal]) -> list[Literal]:
        """The row of a memory at an address."""
        rows = self.rows.get(memory)
        contents = self.netlist.memories[memory]
        if rows is not None:
            return _select_row(self.graph, address, rows, contents)
        before = len(self.graph.kinds)
        literals = tabulate(self.graph, address, contents.init, contents.width)
        cost = self.graph.kinds[before:].count(AND)
        if cost > MAX_TABLE_ANDS:
            raise too_large(contents, f"and looking it up takes {cost} ANDs; at most {MAX_TABLE_ANDS} can be had")
        return literals

    # -- what a bit needs --------------------------------------------------------------------------------------

    def _needs(self, cell: Cell, bit: int) -> list[Net]:
        match cell:
            case Operator(op=op, operands=operands):
                if op == "m":
                    return [operands[0][0], operands[1][bit], operands[2][bit]]
                if op in BITWISE:
                    return [operand[bit] for operand in operands]
                return [net for operand in operands for net in operand]
            case Part():
                return [*cell.value, *cell.offset]
            case Matches():
                return list(cell.value)
            case PriorityMatch():
                return [cell.enable, *cell.inputs[: bit + 1]]
            case AssignmentList():
                steps = self._steps_of(cell)[bit]
                return [cell.default[bit], *(net for step in steps for net in step)]
            case AsyncRead():
                return list(cell.address)

    def _steps_of(self, cell: AssignmentList) -> list[list[tuple[Net, Net]]]:
        """For each bit of an assignment list, the (condition, value) that reach it."""
        steps = self._steps.get(cell.outputs[0])
        if steps is None:
            steps = [[] for _ in cell.default]
            for assignment in cell.assignments:
                for i, value in enumerate(assignment.value):
                    if assignment.start + i < len(steps):
                        steps[assignment.start + i].append((assignment.condition, value))
            self._steps[cell.outputs[0]] = steps
        return steps

    # -- how it is made ------------------------------------------------------------------------------------------

    def _make(self, cell: Cell, bit: int) -> None:
        """Makes one output bit, or all of a cell's where they are made together."""
        match cell:
            case Operator(op=op) if op in BITWISE:
                self.known[cell.outputs[bit]] = self._bitwise(cell, bit)
            case Operator():
                self._set(cell, operate(self.graph, cell.op, [self._have(w) for w in cell.operands]))
            case Part():
                self._set(cell, self._part(cell))
            case Matches():
                self._set(cell, [match_any(self.graph, self._have(cell.value), cell.patterns)])
            case PriorityMatch():
                self._priority(cell, bit)
            case AssignmentList():
                steps = [(c, self.known[c], self.known[v]) for c, v in self._steps_of(cell)[bit]]
                default = self.known[cell.default[bit]]
                self.known[cell.outputs[bit]] = choose(self.graph, self._conditions, default, steps)
            case AsyncRead():
                self._set(cell, self.read(cell.memory, self._have(cell.address)))

    def _have(self, nets: Iterable[Net]) -> list[Literal]:
        return [self.known[net] for net in nets]

    def _set(self, cell: Cell, literals: Sequence[Literal]) -> None:
        self.known.update(zip(cell.outputs, literals, strict=True))

    def _bitwise(self, cell: Operator, bit: int) -> Literal:
        g = self.graph
        if cell.op == "m":
            select, one, zero = (self.known[cell.operands[i][bit if i else 0]] for i in range(3))
            return g.mux(select, one, zero)
        literals = [self.known[operand[bit]] for operand in cell.operands]
        if cell.op == "~":
            return literals[0] ^ 1
        return {"&": g.and_, "|": g.or_, "^": g.xor}[cell.op](*literals)

    def _part(self, cell: Part) -> list[Literal]:
        value, offset = self._have(cell.value), self._have(cell.offset)
        fill = value[-1] if cell.signed and value else FALSE
        return arithmetic.shift_right(self.graph, value, offset, fill, len(cell.outputs), cell.stride)

    def _priority(self, cell: PriorityMatch, bit: int) -> None:
        """The choices are apart, so what is left for the next is the enable XOR all choices so far: one AND
        each, and none where an input excludes all earlier ones and the enable is 1."""
        g, enable = self.graph, self.known[cell.enable]
        if cell.outputs[0] not in self._apart:
            self._apart[cell.outputs[0]] = apart_from_earlier(cell.inputs, self._matches)
        apart = self._apart[cell.outputs[0]]
        rests = self._rests.setdefault(cell.outputs[0], [enable])
        for i in range(len(rests) - 1, bit + 1):
            chosen = g.and_(enable if apart[i] else rests[i], self.known[cell.inputs[i]])
            self.known[cell.outputs[i]] = chosen
            rests.append(g.xor(rests[i], chosen))


def too_large(memory: Memory, why: str) -> InputError:
    return InputError(
        "L002",
        f"memory '{memory.name}' is too large for the grid: {memory.depth} rows of {memory.width} bits, {why}",
        where=memory.source,
        hint="Compute what it holds, split it, or store less; on the grid every bit of it is devices.",
    )


def match_any(g: XagBuilder, value: Sequence[Literal], patterns: Sequence[str]) -> Literal:
    """1 where one of the patterns fits; patterns that exclude each other are joined by XOR, which is free."""
    result = FALSE
    earlier: list[tuple[int, int]] = []
    for pattern in patterns:
        care, bits = pattern_masks(pattern)
        fits = g.and_all([v ^ (bits >> i & 1 ^ 1) for i, v in enumerate(value) if care >> i & 1])
        join = g.xor if all((bits ^ b) & care & c for c, b in earlier) else g.or_
        result = join(result, fits)
        earlier.append((care, bits))
    return result


def _select_row(
    g: XagBuilder, address: Sequence[Literal], rows: Sequence[Sequence[Literal]], memory: Memory
) -> list[Literal]:
    """A tree of multiplexers over rows that are registers, from the lowest address bit up."""
    zeros = [FALSE] * memory.width
    level = [list(row) for row in rows]
    level += [zeros] * ((1 << len(address)) - len(level))
    for bit in address:
        level = [arithmetic.mux(g, bit, level[i + 1], level[i]) for i in range(0, len(level), 2)]
    return level[0]


def operate(g: XagBuilder, op: str, operands: Sequence[list[Literal]]) -> list[Literal]:
    """The operators of `cells.Operator` that look at whole words."""
    a = operands[0]
    if len(operands) == 1:
        return _reduce(g, op, a)
    b = operands[1]
    if op in _ARITHMETIC:
        return _ARITHMETIC[op](g, a, b)
    return [_COMPARE[op](g, a, b)]


def _reduce(g: XagBuilder, op: str, a: list[Literal]) -> list[Literal]:
    match op:
        case "-":
            return arithmetic.negate_if(g, TRUE, a)
        case "b" | "r|":
            return [arithmetic.any_bit(g, a)]
        case "r&":
            return [g.and_all(a)]
        case "r^":
            return [g.xor_all(a)]
    raise ValueError(op)


def _shift_right_signed(g: XagBuilder, a: list[Literal], b: list[Literal]) -> list[Literal]:
    return arithmetic.shift_right(g, a, b, a[-1] if a else FALSE, len(a))


_ARITHMETIC: dict[str, Callable[[XagBuilder, list[Literal], list[Literal]], list[Literal]]] = {
    "+": arithmetic.add,
    "-": arithmetic.subtract,
    "*": arithmetic.multiply,
    "u//": lambda g, a, b: divide.divide(g, a, b)[0],
    "u%": lambda g, a, b: divide.divide(g, a, b)[1],
    "s//": lambda g, a, b: divide.divide_signed(g, a, b)[0],
    "s%": lambda g, a, b: divide.divide_signed(g, a, b)[1],
    "<<": arithmetic.shift_left,
    "u>>": lambda g, a, b: arithmetic.shift_right(g, a, b, FALSE, len(a)),
    "s>>": _shift_right_signed,
}
"""Functions of two words, by Amaranth's operator."""

_COMPARE: dict[str, Callable[[XagBuilder, list[Literal], list[Literal]], Literal]] = {
    "==": arithmetic.equal,
    "!=": lambda g, a, b: arithmetic.equal(g, a, b) ^ 1,
    "u<": arithmetic.less,
    "u>": lambda g, a, b: arithmetic.less(g, b, a),
    "u<=": lambda g, a, b: arithmetic.less(g, b, a) ^ 1,
    "u>=": lambda g, a, b: arithmetic.less(g, a, b) ^ 1,
    "s<": arithmetic.less_signed,
    "s>": lambda g, a, b: arithmetic.less_signed(g, b, a),
    "s<=": lambda g, a, b: arithmetic.less_signed(g, b, a) ^ 1,
    "s>=": lambda g, a, b: arithmetic.less_signed(g, a, b) ^ 1,
}
"""Comparisons of two words, by Amaranth's operator."""
