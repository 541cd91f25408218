"""What a drive is once it is read: track and readings, their rows in order, what cannot be one left out and counted."""
