"""Operator by operator against Amaranth's own simulator, and arithmetic against Python's."""

from __future__ import annotations

import pytest
from amaranth.hdl import Array, Cat, Const, Mux, Shape, signed, unsigned
from hypothesis import given, settings
from hypothesis import strategies as st
from support.dice import Dice
from support.expressions import Expressions, assert_equal_everywhere, num_ands
from support.random_machines import BINARY, CONSTANT, TERNARY, UNARY, random_value

from hdl2grid.logic import arithmetic as words
from hdl2grid.logic import divide
from hdl2grid.logic.elaborate import elaborate
from hdl2grid.logic.lookup import tabulate
from hdl2grid.logic.xag import AND, FALSE, TRUE, XagBuilder

shapes = st.builds(Shape, st.integers(1, 4), st.booleans())
quick = settings(max_examples=12, deadline=None, derandomize=True)


@quick
@given(a=shapes, b=shapes)
def test_every_binary_operator(a, b):
    functions = {name: lambda a, b, op=op: op(a, b) for name, op in BINARY.items()}
    functions |= {f"no bits {name}": lambda a, b, op=op: op(a[:0], b) for name, op in BINARY.items()}
    functions |= {f"{name} no bits": lambda a, b, op=op: op(a, b[:0]) for name, op in BINARY.items()}
    assert_equal_everywhere(Expressions({"a": a, "b": b}, functions))


@quick
@given(a=st.builds(Shape, st.integers(1, 7), st.booleans()))
def test_every_unary_operator(a):
    functions = {name: lambda a, op=op: op(a) for name, op in UNARY.items()}
    functions |= {f"no bits {name}": lambda a, op=op: op(a[:0]) for name, op in UNARY.items() if name != "slice"}
    assert_equal_everywhere(Expressions({"a": a}, functions))


@quick
@given(a=st.builds(Shape, st.integers(1, 7), st.booleans()), k=st.integers(-9, 9))
def test_every_operator_with_a_constant(a, k):
    functions = {f"{name} {k}": lambda a, op=op: op(a, k) for name, op in CONSTANT.items()}
    assert_equal_everywhere(Expressions({"a": a}, functions))


@quick
@given(
    a=shapes, b=st.builds(Shape, st.integers(1, 3), st.booleans()), c=st.builds(Shape, st.integers(1, 2), st.booleans())
)
def test_choices(a, b, c):
    functions = {name: lambda a, b, c, op=op: op(a, b, c) for name, op in TERNARY.items()}
    functions["nested"] = lambda a, b, c: Mux(c, Mux(a, b, 1), Array([a, b, c, 0])[b.as_unsigned()[:2]])
    assert_equal_everywhere(Expressions({"a": a, "b": b, "c": c}, functions))


@settings(max_examples=60, deadline=None, derandomize=True)
@given(seed=st.integers(0, 1 << 32))
def test_random_expressions(seed):
    rng = Dice(seed)
    sizes = {name: Shape(rng.randrange(1, 4), rng.random() < 0.4) for name in "abc"}

    def expression(number):
        return lambda **ports: random_value(Dice(f"{seed} {number}"), list(ports.values()), 4)

    assert_equal_everywhere(Expressions(sizes, {str(i): expression(i) for i in range(8)}))


def test_beyond_the_end_of_a_value_the_netlist_means_what_the_simulator_means():
    at = {"a": signed(3), "offset": unsigned(3)}
    functions = {
        "plain": lambda a, offset: a.bit_select(offset, 2),
        "inverted": lambda a, offset: (~a).bit_select(offset, 2),
        "inverted word": lambda a, offset: (~a.as_unsigned()).word_select(offset, 2),
        "reinterpreted": lambda a, offset: a.as_unsigned().bit_select(offset, 3),
        "twice": lambda a, offset: (~a.as_unsigned().as_signed()).as_unsigned().bit_select(offset, 3),
        "mux": lambda a, offset: Mux(offset[0], ~a, a[:2].as_signed()).bit_select(offset, 3),
    }
    assert_equal_everywhere(Expressions(at, functions))


@pytest.mark.parametrize("width", [1, 3, 8])
def test_an_adder_takes_one_and_a_bit(width):
    """n ANDs for two n-bit numbers: Boyar and Peralta, "Tight bounds for the multiplicative complexity of
    symmetric functions", 2008 (the carry of a full adder is a majority, which takes one AND)."""
    two = {"a": unsigned(width), "b": unsigned(width)}
    assert num_ands(elaborate(Expressions(two, {"+": lambda a, b: a + b}).machine())) == width
    assert num_ands(elaborate(Expressions(two, {"-": lambda a, b: a - b}).machine())) == width
    assert num_ands(elaborate(Expressions(two, {"<": lambda a, b: a < b}).machine())) == width
    assert num_ands(elaborate(Expressions(two, {"==": lambda a, b: a == b}).machine())) == width - 1
    assert num_ands(elaborate(Expressions(two, {"^": lambda a, b: ~(a ^ b)}).machine())) == 0


def test_choices_take_few_ands():
    shape = {"s": unsigned(1), "a": unsigned(4), "b": unsigned(4)}
    assert num_ands(elaborate(Expressions(shape, {"mux": lambda s, a, b: Mux(s, a, b)}).machine())) == 4
    # A decoder of constants needs its row tests alone, whatever it shows.
    table = Array([Const(v, 7) for v in (0x3F, 0x06, 0x5B, 0x4F)])
    decoder = Expressions({"a": unsigned(2)}, {"table": lambda a: table[a]})
    assert num_ands(elaborate(decoder.machine())) <= 4
    # A counter's increment is the chain of its bits.
    assert num_ands(elaborate(Expressions({"a": unsigned(5)}, {"+1": lambda a: (a + 1)[:5]}).machine())) == 3


def _number(values: dict[int, int], word: list[int]) -> int:
    return sum((values[literal >> 1] ^ (literal & 1)) << i for i, literal in enumerate(word))


def _all_values(g: XagBuilder, inputs: dict[int, int]) -> dict[int, int]:
    values = {0: 0, **inputs}
    for node in range(1, len(g.kinds)):
        if node not in values:
            a, b = (values[f >> 1] ^ (f & 1) for f in g.fanins[node])
            values[node] = a & b if g.kinds[node] == AND else a ^ b
    return values


def _signed(number: int, width: int) -> int:
    return number - (1 << width) if number >> (width - 1) & 1 else number


@pytest.mark.parametrize("width", [1, 2, 5, 9])
def test_division_agrees_with_python(width):
    """Python's // and % round as Amaranth's do; x // 0 and x % 0 are 0 in Amaranth."""
    g = XagBuilder()
    a, b = ([g.variable(f"{n}{i}") for i in range(width)] for n in "ab")
    quotient, remainder = divide.divide(g, a, b)
    signed_quotient, signed_remainder = divide.divide_signed(g, a, b)
    product = words.multiply(g, [*a, *[a[-1]] * width], [*b, *[b[-1]] * width])
    rng = Dice(width)
    pairs = [(rng.randrange(1 << width), rng.randrange(1 << width)) for _ in range(200)]
    for x, y in [*pairs, (0, 0), (1 << (width - 1), (1 << width) - 1), ((1 << width) - 1, 0)]:
        levels = {literal >> 1: x >> i & 1 for i, literal in enumerate(a)}
        levels |= {literal >> 1: y >> i & 1 for i, literal in enumerate(b)}
        values = _all_values(g, levels)
        assert _number(values, quotient) == (x // y if y else 0)
        assert _number(values, remainder) == (x % y if y else 0)
        sx, sy, mask = _signed(x, width), _signed(y, width), (1 << width) - 1
        assert _number(values, signed_quotient) == (sx // sy if sy else 0) & mask
        assert _number(values, signed_remainder) == (sx % sy if sy else 0) & mask
        assert _number(values, product) == sx * sy & (1 << 2 * width) - 1


@pytest.mark.parametrize("seed", range(8))
def test_tables(seed):
    rng = Dice(seed)
    size, width = rng.randrange(1, 6), rng.randrange(1, 9)
    density = rng.random()
    rows = [
        rng.randrange(1 << width) if rng.random() < density else 0 for _ in range(rng.randrange(1, 1 + (1 << size)))
    ]
    g = XagBuilder()
    address = [g.variable(f"a{i}") for i in range(size)]
    if seed % 4 == 3:
        address[-1] = rng.choice([FALSE, TRUE])
    result = tabulate(g, address, rows, width)
    for row in range(1 << size):
        values = _all_values(g, {literal >> 1: row >> i & 1 for i, literal in enumerate(address) if literal > 1})
        at = _number(values, address)
        assert _number(values, result) == (rows[at] if at < len(rows) else 0)


@settings(max_examples=300, deadline=None, derandomize=True)
@given(steps=st.lists(st.tuples(st.booleans(), st.integers(0, 40), st.integers(0, 40)), max_size=25))
def test_simplification_changes_no_function(steps):
    g = XagBuilder()
    literals = [FALSE, TRUE, *(g.variable(f"v{i}") for i in range(4))]
    meant = [[0] * 16, [1] * 16, *([row >> i & 1 for row in range(16)] for i in range(4))]
    for is_and, i, j in steps:
        (a, p), (b, q) = ((literals[k // 2 % len(literals)] ^ k & 1, k) for k in (i, j))
        x, y = (([v ^ (k & 1) for v in meant[k // 2 % len(literals)]]) for k in (p, q))
        literals.append(g.and_(a, b) if is_and else g.xor(a, b))
        meant.append([v & w if is_and else v ^ w for v, w in zip(x, y, strict=True)])
    for row in range(16):
        values = _all_values(g, {literals[2 + i] >> 1: row >> i & 1 for i in range(4)})
        assert [values[n >> 1] ^ (n & 1) for n in literals] == [column[row] for column in meant]


def test_cat_and_slices_cost_nothing():
    e = assert_equal_everywhere(Expressions({"a": unsigned(5)}, {"cat": lambda a: Cat(a[3:], ~a[:3], a.xor())}))
    assert num_ands(e) == 0
