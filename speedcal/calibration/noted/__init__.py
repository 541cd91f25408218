"""Readings that a person noted, with times or as a list: clocks, doubts and the dial of them."""
