"""The clock of a column of times."""
