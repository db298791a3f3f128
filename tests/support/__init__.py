"""What tests and benchmarks share: machines, plans, second readers, published formats. It imports neither of them."""
