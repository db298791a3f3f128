"""Two plans compared: the list of changes by which a laid machine becomes another."""
