"""State encoding: which codes groups of registers get."""
