"""Machines put together word by word: adders, counters, comparators and their like of any width."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from hdl2grid.logic import arithmetic as words
from hdl2grid.logic.model import InputBit, Logic, OutputBit, RegisterBit
from hdl2grid.logic.xag import FALSE, XagBuilder
from support.dice import Dice


class Build:
    """A machine under construction, word by word."""

    def __init__(self) -> None:
        self.g = XagBuilder()
        self.inputs: list[InputBit] = []
        self.names: list[tuple[str, int]] = []
        self.data: dict[str, int] = {}

    def switches(self, name: str, width: int) -> list[int]:
        word = [self.g.variable(f"{name}[{i}]") for i in range(width)]
        self.inputs += [InputBit(f"{name}[{i}]", x, 0) for i, x in enumerate(word)]
        return word

    def register(self, name: str, width: int) -> list[int]:
        word = [self.g.variable(f"{name}[{i}]") for i in range(width)]
        self.names += [(f"{name}[{i}]", q) for i, q in enumerate(word)]
        return word

    def next(self, name: str, word: Sequence[int]) -> None:
        self.data |= {f"{name}[{i}]": x for i, x in enumerate(word)}

    def loaded(self, name: str, width: int) -> list[int]:
        word = self.register(name, width)
        self.next(name, self.switches(f"{name}_in", width))
        return word

    def logic(self, name: str, outputs: dict[str, Sequence[int]]) -> Logic:
        bits = tuple(RegisterBit(n, q, self.data[n], 0, "sync", True) for n, q in self.names)
        shown = tuple(OutputBit(f"{port}[{i}]", x) for port, word in outputs.items() for i, x in enumerate(word))
        return Logic(name, self.g.freeze(), ("sync",), True, tuple(self.inputs), bits, shown)


def _grown(a: Sequence[int]) -> list[int]:
    return [*a, FALSE]


def accumulator(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    b.next("q", words.add(b.g, q, b.switches("s", n)))
    return b.logic("accumulator", {"q": q})


def accumulate_register(n: int) -> Logic:
    b = Build()
    q, a = b.register("q", n), b.loaded("a", n)
    b.next("q", words.add(b.g, q, a))
    return b.logic("accumulate_register", {"q": q})


def subtract_from(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    b.next("q", words.subtract(b.g, q, b.switches("s", n)))
    return b.logic("subtract_from", {"q": q})


def adder(n: int) -> Logic:
    b = Build()
    x, y = b.loaded("a", n), b.loaded("b", n)
    return b.logic("adder", {"sum": words.add(b.g, _grown(x), _grown(y))})


def adder_of_switches(n: int) -> Logic:
    b = Build()
    x, y = b.switches("a", n), b.switches("b", n)
    return b.logic("adder_of_switches", {"sum": words.add(b.g, _grown(x), _grown(y))})


def incrementer(n: int) -> Logic:
    b = Build()
    x = b.loaded("a", n)
    return b.logic("incrementer", {"sum": words.add(b.g, x, [FALSE] * n, 1)})


def counter(n: int) -> Logic:
    b = Build()
    q = b.register("q", n)
    b.next("q", words.add(b.g, q, [FALSE] * n, 1))
    return b.logic("counter", {"q": q})


def loaded_counter(n: int) -> Logic:
    b = Build()
    q, load = b.register("q", n), b.switches("load", 1)[0]
    up = words.add(b.g, q, [FALSE] * n, 1)
    b.next("q", words.mux(b.g, load, b.switches("s", n), up))
    return b.logic("loaded_counter", {"q": q})


def up_down(n: int) -> Logic:
    b = Build()
    q, down = b.register("q", n), b.switches("down", 1)[0]
    b.next("q", words.add(b.g, q, [down] * n, down ^ 1))
    return b.logic("up_down", {"q": q})


def less(n: int) -> Logic:
    b = Build()
    return b.logic("less", {"y": [words.less(b.g, b.loaded("a", n), b.loaded("b", n))]})


def equal(n: int) -> Logic:
    b = Build()
    return b.logic("equal", {"y": [words.equal(b.g, b.loaded("a", n), b.loaded("b", n))]})


def maximum(n: int) -> Logic:
    b = Build()
    x, y = b.loaded("a", n), b.loaded("b", n)
    return b.logic("maximum", {"max": words.mux(b.g, words.less(b.g, x, y), y, x)})


def magnitude(n: int) -> Logic:
    b = Build()
    x = b.loaded("a", n)
    return b.logic("magnitude", {"abs": words.negate_if(b.g, x[-1], x)})


def times_ten(n: int) -> Logic:
    b = Build()
    x = b.loaded("a", n)
    wide = [*x, *[FALSE] * 4]
    ten = [10 >> i & 1 for i in range(n + 4)]
    return b.logic("times_ten", {"y": words.multiply(b.g, wide, ten)})


def multiplier(n: int) -> Logic:
    b = Build()
    x, y = b.loaded("a", n), b.loaded("b", n)
    return b.logic("multiplier", {"y": words.multiply(b.g, [*x, *[FALSE] * n], [*y, *[FALSE] * n])})


ARITHMETIC: tuple[Callable[[int], Logic], ...] = (
    accumulator,
    accumulate_register,
    subtract_from,
    adder,
    adder_of_switches,
    incrementer,
    counter,
    loaded_counter,
    up_down,
    less,
    equal,
    maximum,
    magnitude,
    times_ten,
    multiplier,
)


def is_number(b: Build, q: Sequence[int], number: int) -> int:
    """Whether the word is that number."""
    return b.g.and_all([x ^ 1 ^ (number >> i & 1) for i, x in enumerate(q)])


def any_machine(n: int) -> Logic:
    """A state machine of `n` states and two switches, drawn at random: next states, and one lamp."""
    rng = Dice(n)
    b = Build()
    width = (n - 1).bit_length()
    q, s = b.register("q", width), b.switches("s", 2)
    data, shown = [FALSE] * width, FALSE
    for state in range(n):
        for level in range(4):
            here = b.g.and_(is_number(b, q, state), is_number(b, s, level))
            after = rng.randrange(n)
            data = [b.g.xor(d, here) if after >> i & 1 else d for i, d in enumerate(data)]
            shown = b.g.xor(shown, here) if rng.randrange(2) else shown
    b.next("q", data)
    return b.logic("machine", {"y": [shown]})
