"""How a change of the drive is judged: what it would show, within which limits."""
