"""Arithmetic over words of literals, lowest bit first, with few ANDs: XOR and inversion cost nothing.

A full adder, a multiplexer and a step of a comparison take one AND a bit each: Boyar, Peralta and Pochuev, "On
the multiplicative complexity of Boolean functions over the basis (and, xor, 1)", 2000.
"""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.logic.xag import FALSE, TRUE, Literal, XagBuilder

Word = list[Literal]
_FEW_ROWS = 2
"""A product of more rows than this is added column by column. Guessed."""


def constant_of(word: Sequence[Literal]) -> int | None:
    """The number that a word of constants stands for, None for any other word."""
    if all(literal in (FALSE, TRUE) for literal in word):
        return sum(literal << i for i, literal in enumerate(word))
    return None


def majority(g: XagBuilder, a: Literal, b: Literal, c: Literal) -> Literal:
    """1 where two of three are: ((a ^ c) & (b ^ c)) ^ c, or a plain AND or OR where one is constant."""
    for one, two, three in ((a, b, c), (b, a, c), (c, a, b)):
        if one in (FALSE, TRUE):
            return g.or_(two, three) if one else g.and_(two, three)
        if two == three ^ 1:
            return one
    return g.xor(g.and_(g.xor(a, c), g.xor(b, c)), c)


def add(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal], carry: Literal = FALSE) -> Word:
    """a + b + carry, in as many bits as `a` and `b` have."""
    result = []
    last = len(a) - 1
    for i, (x, y) in enumerate(zip(a, b, strict=True)):
        result.append(g.xor(g.xor(x, y), carry))
        if i < last:
            carry = majority(g, x, y, carry)
    return result


def subtract(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> Word:
    """a - b, in as many bits as `a` and `b` have."""
    return add(g, a, invert(b), TRUE)


def invert(a: Sequence[Literal]) -> Word:
    return [literal ^ 1 for literal in a]


def negate_if(g: XagBuilder, condition: Literal, a: Sequence[Literal]) -> Word:
    """-a where the condition is 1, else a."""
    zeros = [FALSE] * len(a)
    return add(g, [g.xor(literal, condition) for literal in a], zeros, condition)


def and_each(g: XagBuilder, condition: Literal, a: Sequence[Literal]) -> Word:
    return [g.and_(condition, literal) for literal in a]


def xor_each(g: XagBuilder, condition: Literal, a: Sequence[Literal]) -> Word:
    return [g.xor(condition, literal) for literal in a]


def mux(g: XagBuilder, select: Literal, if_one: Sequence[Literal], if_zero: Sequence[Literal]) -> Word:
    return [g.mux(select, x, y) for x, y in zip(if_one, if_zero, strict=True)]


def less(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> Literal:
    """a < b, unsigned: the borrow of a - b."""
    borrow = FALSE
    for x, y in zip(a, b, strict=True):
        borrow = majority(g, x ^ 1, y, borrow)
    return borrow


def less_signed(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> Literal:
    """a < b in two's complement: the same with both sign bits inverted."""
    if not a:
        return FALSE
    return less(g, [*a[:-1], a[-1] ^ 1], [*b[:-1], b[-1] ^ 1])


def equal(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> Literal:
    return g.and_all([g.xor(x, y) ^ 1 for x, y in zip(a, b, strict=True)])


def any_bit(g: XagBuilder, a: Sequence[Literal]) -> Literal:
    return g.and_all(invert(a)) ^ 1


def _trimmed(a: Sequence[Literal]) -> tuple[Word, bool]:
    """A word in as few bits as carry its value, and whether it is signed: copies of the top bit are cut."""
    word = list(a)
    while len(word) > 1 and word[-1] == word[-2]:
        word.pop()
    if word and word[-1] == FALSE:
        return word[:-1], False
    return (word, True) if len(word) < len(a) else (word, False)


def _extended(a: Sequence[Literal], signed: bool, width: int) -> Word:
    fill = a[-1] if signed and a else FALSE
    return [*a, *[fill] * (width - len(a))][:width]


def multiply(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> Word:
    """a * b, in as many bits as `a` and `b` have: one row of ANDs and one adder for each bit of one factor.

    Operands that are extended to the result's width are cut back first, so a signed factor's top row is
    subtracted instead of added (Baugh and Wooley, "A two's complement parallel array multiplication
    algorithm", 1973).
    """
    width = len(a)
    (x, x_signed), (y, y_signed) = sorted((_trimmed(a), _trimmed(b)), key=lambda t: _rows(t[0]), reverse=True)
    if not x_signed and not y_signed and _rows(y) > _FEW_ROWS:
        return _column_by_column(g, x, y, width)
    total: Word = [FALSE] * width
    for i, bit in enumerate(y):
        row = [FALSE] * i + and_each(g, bit, _extended(x, x_signed, width))
        row = row[:width]
        if i == len(y) - 1 and y_signed:
            total = subtract(g, total, row)
        else:
            # No carry goes beyond the sum's own top bit: the rest is sign, or zeros.
            top = min(width, i + len(x) + 1)
            if x_signed:
                top = width
            total = [*total[:i], *add(g, total[i:top], row[i:top]), *total[top:]]
    return total


def _column_by_column(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal], width: int) -> Word:
    """a * b: bits of equal weight are added three by three until two rows are left (L. Dadda, "Some schemes for
    parallel multipliers", Alta Frequenza 34, 1965)."""
    columns: list[Word] = [[] for _ in range(width)]
    for i, y in enumerate(b):
        for j, x in enumerate(a):
            if i + j < width and (made := g.and_(x, y)) != FALSE:
                columns[i + j].append(made)
    heights = [2]
    while heights[-1] < max(map(len, columns)):
        heights.append(heights[-1] * 3 // 2)
    for height in reversed(heights[:-1]):
        carried: Word = []
        for k, column in enumerate(columns):
            bits, moved = [*column, *carried], []
            while len(bits) > height:
                three = [bits.pop(0), bits.pop(0), FALSE if len(bits) < height else bits.pop(0)]
                bits.append(g.xor(g.xor(three[0], three[1]), three[2]))
                moved.append(majority(g, *three))
            columns[k], carried = bits, [x for x in moved if x != FALSE]
    first, second = ([column[r] if r < len(column) else FALSE for column in columns] for r in (0, 1))
    return add(g, first, second)


def _rows(word: Sequence[Literal]) -> int:
    """How many rows of a multiplication a factor makes: constant zeros make none."""
    return sum(literal != FALSE for literal in word)


def shift_left(g: XagBuilder, a: Sequence[Literal], amount: Sequence[Literal]) -> Word:
    """a << amount, in as many bits as `a` has."""
    word = list(a)
    for i, bit in enumerate(amount):
        step = min(1 << i, len(word)) if i < 64 else len(word)
        moved = [FALSE] * step + word[: len(word) - step]
        word = mux(g, bit, moved, word)
    return word


def shift_right(
    g: XagBuilder, a: Sequence[Literal], amount: Sequence[Literal], fill: Literal, width: int, stride: int = 1
) -> Word:
    """The lowest `width` bits of a >> (amount * stride), with `fill` moving in at the top.

    The large steps come first, so that each step keeps no more bits than the smaller ones can still reach.
    """
    word = [*a, *[fill] * (width - len(a))]
    for i in reversed(range(len(amount))):
        step = stride << i
        moved = [*word[step:], *[fill] * min(step, len(word))]
        keep = min(len(word), width + step - stride)
        word = mux(g, amount[i], moved[:keep], word[:keep])
    return word[:width]
