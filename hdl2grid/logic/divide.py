"""Division and remainder over words of literals, as Amaranth means them: rounded towards minus infinity, the
remainder with the divisor's sign, and both 0 where the divisor is 0."""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.logic.arithmetic import (
    Word,
    add,
    and_each,
    any_bit,
    constant_of,
    less,
    mux,
    negate_if,
    subtract,
    xor_each,
)
from hdl2grid.logic.xag import FALSE, Literal, XagBuilder


def divide(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> tuple[Word, Word]:
    """Unsigned quotient and remainder, in as many bits as `a` and `b` have."""
    quotient, remainder = _divide(g, a, b)
    sound = any_bit(g, b)
    return and_each(g, sound, quotient), and_each(g, sound, remainder)


def _divide(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> tuple[Word, Word]:
    """The same, with any result where the divisor is 0."""
    divisor = constant_of(b)
    return _divide_by_constant(g, a, divisor) if divisor else _restoring(g, a, b)


def _restoring(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> tuple[Word, Word]:
    """Long division in base 2: for each bit from the top, subtract if it goes."""
    width = len(b)
    while width and b[width - 1] == FALSE:
        width -= 1
    bits_from = [FALSE] * (len(b) + 1)
    for i in reversed(range(len(b))):
        bits_from[i] = g.or_(b[i], bits_from[i + 1])
    quotient = [FALSE] * len(a)
    remainder: Word = []
    for i in reversed(range(len(a))):
        remainder = [a[i], *remainder]
        # The remainder so far has few bits: where the divisor has higher ones, it does not go.
        size = min(len(remainder), len(b))
        goes = less(g, remainder[:size], b[:size]) ^ 1
        for overflow in remainder[size:]:
            goes = g.or_(goes, overflow)
        goes = g.and_(goes, bits_from[size] ^ 1)
        quotient[i] = goes
        kept = remainder[: min(size, width)]
        remainder = mux(g, goes, subtract(g, kept, b[: len(kept)]), kept)
    return quotient, [*remainder, *[FALSE] * (len(a) - len(remainder))]


def _divide_by_constant(g: XagBuilder, a: Sequence[Literal], divisor: int) -> tuple[Word, Word]:
    """Long division by a number that is not 0; its trailing zeros only move the point."""
    shift = (divisor & -divisor).bit_length() - 1
    odd = divisor >> shift
    low, high = list(a[:shift]), list(a[shift:])
    if odd == 1:
        quotient, remainder = high, list[Literal]()
    else:
        width = max(len(high), odd.bit_length())
        word = [odd >> i & 1 for i in range(width)]
        padded = [*high, *[FALSE] * (width - len(high))]
        quotient, remainder = _restoring(g, padded, word)
        quotient = quotient[: len(high)]
    size = len(a)
    remainder = [*low, *remainder, *[FALSE] * size][:size]
    return [*quotient, *[FALSE] * size][:size], remainder


def divide_signed(g: XagBuilder, a: Sequence[Literal], b: Sequence[Literal]) -> tuple[Word, Word]:
    """Quotient and remainder in two's complement.

    By floor(a / b) = floor(-a / -b) the divisor is made positive; then by floor(a / b) = ~(~a // b) for
    negative a the dividend is, which costs nothing.
    """
    width = len(a)
    if not width:
        return [], []
    b_sign = b[-1]
    divisor = negate_if(g, b_sign, b)
    wide = negate_if(g, b_sign, [*a, a[-1]])
    sign = wide[-1]
    positive = xor_each(g, sign, wide[:-1])
    quotient, remainder = _divide(g, positive, divisor)
    sound = any_bit(g, b)
    quotient = and_each(g, sound, xor_each(g, sign, quotient))
    # For negative a: r = b - 1 - r', which is ~r' + b.
    shifted = add(g, xor_each(g, sign, remainder), and_each(g, sign, divisor))
    return quotient, and_each(g, sound, negate_if(g, b_sign, shifted))
