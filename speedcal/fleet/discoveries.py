"""Which of many vehicles are wrong, with a stated share of false alarms among those named."""

from __future__ import annotations

import numpy as np

from speedcal.interval import BoolArray, FloatArray


def discoveries(p_values: FloatArray, rate: float) -> BoolArray:
    """Return which hypotheses of "nothing is wrong" to give up.

    Of those given up, on average at most the share ``rate`` is given up wrongly, however many vehicles there are.

    Parameters
    ----------
    p_values
        Chance of a result as bad as this from a vehicle that is right, shape (n,); NaN where nothing is known.
    rate
        False discovery rate, between 0 and 1.

    References
    ----------
    .. [1] Y. Benjamini and Y. Hochberg, "Controlling the false discovery rate: a practical and powerful approach to
       multiple testing," J. R. Stat. Soc. B, vol. 57, pp. 289-300, 1995.

    Examples
    --------
    >>> import numpy as np
    >>> from speedcal.fleet.discoveries import discoveries
    >>> discoveries(np.array([0.02, 0.001, 0.9, np.nan]), 0.05).tolist()
    [True, True, False, False]
    """
    p_values = np.asarray(p_values, float)
    known = np.flatnonzero(np.isfinite(p_values))
    order = known[np.argsort(p_values[known], kind="stable")]
    under = np.flatnonzero(p_values[order] <= rate * np.arange(1, len(order) + 1) / max(len(order), 1))
    found = np.zeros(len(p_values), bool)
    found[order[: under[-1] + 1 if len(under) else 0]] = True
    return found
