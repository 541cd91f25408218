"""What could be fitted or set, and what each choice would leave."""
