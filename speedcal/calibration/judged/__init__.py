"""What to make of a dial that was measured: uncertainty, trust, and what is worth telling."""
