"""One module a format: its files to tracks and readings."""
