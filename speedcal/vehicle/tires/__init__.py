"""Tires: what a sidewall says, how high they are, how far they roll."""
