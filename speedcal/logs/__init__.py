"""Files to tracks and readings."""
