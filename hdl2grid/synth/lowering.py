"""From the XOR-AND graph to products of affine forms: XORs dissolve, nested ANDs become one wide product."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence

from hdl2grid.logic.xag import AND, VARIABLE, XOR, Literal, Xag
from hdl2grid.synth.gf2 import Basis
from hdl2grid.synth.network import ONE, PRODUCT, ZERO, Form, Network


def lower(
    network: Network,
    xag: Xag,
    variables: Mapping[int, Form],
    roots: Sequence[Literal],
    assumed: Iterable[Form] = (),
    forced: Mapping[int, int] | None = None,
    majorities: bool = False,
    known: Mapping[int, Form] | None = None,
) -> list[Form]:
    """The roots as forms, their products added to `network`.

    `variables` maps variable nodes to forms. What is asked for matters only while every form of `assumed`
    is 1 and every node of `forced` has the value given there, and is simplified by that. With `majorities` the
    carry of a full adder is one stack of its own, otherwise a product and a sum. `known` has the forms of nodes that
    are there already.
    """
    given = Basis(ignore=1)
    for form in assumed:
        given.add(form ^ 1)
    forms: dict[int, Form] = {0: ZERO, **(known or {}), **(forced or {})}
    ends = frozenset(forms)
    cone = xag.cone(roots, ends)
    readers = _count_readers(xag, cone, roots, ends)
    for node in cone:
        kind = xag.kinds[node]
        if node in forms:
            continue
        if kind == VARIABLE:
            form = variables[node]
        else:
            left, right = (forms[literal >> 1] ^ (literal & 1) for literal in xag.fanins[node])
            form = conjunction(network, left, right) if kind == AND else left ^ right
            if kind == XOR:
                for literal, other in zip(xag.fanins[node], (right, left), strict=True):
                    if xag.kinds[literal >> 1] == AND and readers[literal >> 1] == 1 and literal >> 1 not in ends:
                        inputs = [forms[i >> 1] ^ (i & 1) for i in xag.fanins[literal >> 1]]
                        rest = other ^ (literal & 1)
                        form = min(form, _lightest_sum(network, inputs, rest), key=_weight)
                        if majorities and _is_majority(inputs, rest):
                            form = network.majority(inputs[0] ^ rest, inputs[1] ^ rest, rest)
                            break
        forms[node] = given.reduce(form)
    return [forms[root >> 1] ^ (root & 1) for root in roots]


def _count_readers(xag: Xag, cone: Sequence[int], roots: Sequence[Literal], ends: frozenset[int]) -> Counter[int]:
    readers = Counter(root >> 1 for root in roots)
    for node in cone:
        if xag.kinds[node] in (AND, XOR) and node not in ends:
            readers.update({literal >> 1 for literal in xag.fanins[node]})
    return readers


def _weight(form: Form) -> int:
    return (form & ~1).bit_count()


def _is_majority(inputs: Sequence[Form], rest: Form) -> bool:
    """Whether `x & y ^ rest`, the majority of x ^ rest, y ^ rest and rest, is more simply said so."""
    x, y = inputs
    return bool(rest & ~1) and _weight(x ^ rest) < _weight(x) and _weight(y ^ rest) < _weight(y)


def _lightest_sum(network: Network, inputs: Sequence[Form], rest: Form) -> Form:
    """`x & y ^ rest` with the product's inputs inverted or not, whichever leaves the shortest sum.

    For a majority, `(a ^ c) & (b ^ c) ^ c`, the rest may so become a or b instead of a long carry c. An input that is
    a product stays as it is: it goes up in this one.
    """
    x, y = inputs
    sums = (rest, rest ^ x, rest ^ y, rest ^ x ^ y ^ 1)
    kept = (len(_factors(network, x)) > 1) << 1 | (len(_factors(network, y)) > 1)
    best = min((i for i in range(4) if not i & kept), key=lambda i: (_weight(sums[i]), i))
    if best == 0:
        return conjunction(network, x, y) ^ rest
    return conjunction(network, x ^ (best >> 1 & 1), y ^ (best & 1)) ^ sums[best]


def conjunction(network: Network, left: Form, right: Form) -> Form:
    a, b = _factors(network, left), _factors(network, right)
    if len(a) + len(b) > network.max_toggles:
        if len(a) > len(b):
            a = [left]
        else:
            b = [right]
        if len(a) + len(b) > network.max_toggles:
            a, b = [left], [right]
    return network.product(a + b)


def _factors(network: Network, form: Form) -> list[Form]:
    """The factors of a form that is one product, not inverted; else the form itself."""
    if form not in (ZERO, ONE) and form & (form - 1) == 0:
        cell = network.cells.get(form.bit_length() - 1)
        if cell is not None and cell.kind == PRODUCT:
            return list(cell.factors)
    return [form]
