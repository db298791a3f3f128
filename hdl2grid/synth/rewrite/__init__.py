"""Everything that makes a network smaller without a proof of least size."""
