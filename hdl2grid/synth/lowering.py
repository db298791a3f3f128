"""From the XOR-AND graph to products of affine forms: XORs dissolve, nested ANDs become one wide product."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from hdl2grid.logic.xag import AND, VARIABLE, Literal, Xag
from hdl2grid.synth.gf2 import Basis
from hdl2grid.synth.network import ONE, PRODUCT, ZERO, Form, Network


def lower(
    network: Network,
    xag: Xag,
    variables: Mapping[int, Form],
    roots: Sequence[Literal],
    assumed: Iterable[Form] = (),
) -> list[Form]:
    """The roots as forms, their products added to `network`.

    `variables` maps variable nodes to forms. What is asked for matters only while every form of `assumed`
    is 1, and is simplified by that.
    """
    given = Basis(ignore=1)
    for form in assumed:
        given.add(form ^ 1)
    forms: dict[int, Form] = {0: ZERO}
    for node in xag.cone(roots):
        kind = xag.kinds[node]
        if node == 0:
            continue
        if kind == VARIABLE:
            form = variables[node]
        else:
            left, right = (forms[literal >> 1] ^ (literal & 1) for literal in xag.fanins[node])
            form = _and(network, left, right) if kind == AND else left ^ right
        forms[node] = given.reduce(form)
    return [forms[root >> 1] ^ (root & 1) for root in roots]


def _and(network: Network, left: Form, right: Form) -> Form:
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
