"""Text as rows of cells: where the header is, whose rows they are, and cells that hold several things."""
