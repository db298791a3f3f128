"""Blocks mapped in one level with the fewest stacks, and proofs that fewer do not do."""
