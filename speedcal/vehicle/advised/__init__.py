"""What to do first, and why."""
