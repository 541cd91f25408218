"""Tolerances, verdicts and the road test."""
