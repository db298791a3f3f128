"""Synthesis: from bits and an XOR-AND graph to stacks (GF(2) algebra, one level, many levels, gating, rounds)."""
