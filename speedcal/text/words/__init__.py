"""How numbers, names, parts, sources and rules are written."""
