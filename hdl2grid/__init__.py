"""hdl2grid: from a clock in a hardware description language to a proven plan on the grid."""
