"""Quantiles of Student's t distribution."""

from __future__ import annotations


def student_quantile(degrees_of_freedom: float, *, probability: float = 0.975) -> float:
    """Return the quantile of Student's t; the default is the factor of a two-sided 95 % interval."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees_of_freedom, probability))
