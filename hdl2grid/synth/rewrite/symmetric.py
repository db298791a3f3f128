"""Symmetric functions by counting: full adders reduce literals of one weight to the bits of their number.

A full adder is one stack (its sum is free), so `n` literals are counted by n less the ones in the binary form of n
(J. Boyar, R. Peralta, "Tight bounds for the multiplicative complexity of symmetric functions", 2008), and a function
of the number is a function of few bits. 'Exactly one' and its relatives are one stack.
"""

from __future__ import annotations

from collections.abc import Sequence

from hdl2grid.synth.network import ONE, ZERO, Form, Network


def count_bits(network: Network, literals: Sequence[Form]) -> list[Form]:
    """The bits of the number of literals that are 1, lowest first. Adders stand in as few rounds as they can."""
    bits: list[Form] = []
    weight = list(literals)
    while weight:
        carries: list[Form] = []
        while len(weight) > 1:
            even = len(weight) % 2 == 0
            sums: list[Form] = []
            for start in range(0, len(weight), 3):
                chosen = weight[start : start + 3]
                if len(chosen) == 3:
                    carries.append(network.majority(chosen[0], chosen[1], chosen[2]))
                    sums.append(chosen[0] ^ chosen[1] ^ chosen[2])
                elif len(chosen) == 2 and even:  # an even number of literals needs one half adder, an odd one none
                    carries.append(network.product(chosen))
                    sums.append(chosen[0] ^ chosen[1])
                else:
                    sums.extend(chosen)
            weight = sums
        bits.append(weight[0])
        weight = [c for c in carries if c != ZERO]
    return bits


def one_stack(network: Network, literals: Sequence[Form], values: Sequence[int]) -> Form | None:
    """The function that is `values[k]` where k literals are 1, if it is one stack of 'exactly one' up to parity and
    complement; None otherwise."""
    size = len(literals)
    if size + 1 > network.max_toggles:
        return None
    parity = ZERO
    for literal in literals:
        parity ^= literal
    inverted = [literal ^ 1 for literal in literals]
    stacks: tuple[tuple[list[Form], list[int]], ...] = (
        (list(literals), [int(k == 1) for k in range(size + 1)]),
        (inverted, [int(k == size - 1) for k in range(size + 1)]),
        ([*literals, parity ^ 1], [int(k <= 1) for k in range(size + 1)]),
        ([*inverted, parity ^ 1 ^ size & 1], [int(k >= size - 1) for k in range(size + 1)]),
    )
    for factors, says in stacks:
        for odd in (0, 1):
            for complement in (0, 1):
                if all(v == s ^ (k & odd) ^ complement for k, (v, s) in enumerate(zip(values, says, strict=True))):
                    rest = (parity if odd else ZERO) ^ (ONE if complement else ZERO)
                    return network.exactly_one(factors) ^ rest
    return None
