"""Probability that quantities known together lie inside their limits, and the risk of a wrong decision.

What a dial shows at several speeds is known together: the probability that it is inside its limits at all of them is
the content of a box under their joint distribution. Independence of the speeds is never assumed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from speedcal.conformity import lattice, polygon
from speedcal.interval import FloatArray

_SURE, _PLANAR = 1e-12, 1e-9
"""Below these, a standard uncertainty counts as none, and a third principal variance of several speeds as rounding."""


@dataclass(frozen=True, eq=False)
class Box:
    """Quantities known together, and the limits they have to keep.

    Examples
    --------
    >>> import numpy as np
    >>> from speedcal.conformity.probability import Box
    >>> box = Box(np.array([48.0]), np.array([52.0]), np.array([50.0]), np.array([[1.0]]))
    >>> round(box.probability(), 4)  # within two standard uncertainties
    0.9545
    """

    low: FloatArray
    high: FloatArray
    """Limits, shape (n,), infinite where there is none."""
    mean: FloatArray
    covariance: FloatArray
    """Shape (n, n)."""

    def widened(self, factor: float) -> Box:
        """Return the same estimate with every standard uncertainty times ``factor``."""
        return replace(self, covariance=self.covariance * factor**2)

    def probability(self) -> float:
        """Return the probability that every quantity is inside its limits (JCGM 106:2012, 7.2)."""
        standard = self._standardised()
        return 0.0 if standard is None else standard.content(standard.low, standard.high)

    def risk_of_false_fail(self) -> float:
        """Return how often, at most, an instrument inside all limits would break one as clearly as this.

        The test statistic is the largest violation in standard uncertainties. Its chance under a conforming truth is
        the content of the box widened by that violation; being log-concave in the truth (Prékopa 1973), it is
        worst at a corner of what conforms, so looking at the corners is exact. Where three or more speeds move on
        their own, the corners are the dials that go from limit to limit at most twice over the speeds: all of them
        up to three speeds. A small probability of conformance alone would not do: limits narrower than the
        uncertainty make it small for every instrument, good or bad.
        """
        standard = self._standardised()
        if standard is None:
            return 0.0
        violation = float(max(standard.low.max(initial=-np.inf), (-standard.high).max(initial=-np.inf)))
        return 1.0 if violation <= 0 else standard.risk(violation)

    def _standardised(self) -> _Standard | None:
        """Return the box about zero in standard uncertainties; None when something known for sure is outside."""
        u = np.sqrt(np.maximum(np.diag(self.covariance), 0.0))
        ends = [np.where(np.isfinite(end), np.abs(end), 0.0) for end in (self.low, self.high)]
        scale = np.abs(self.mean) + ends[0] + ends[1] + 1.0
        sure, slack = u <= _SURE * scale, 1e-9 * scale
        if np.any(sure & ((self.mean < self.low - slack) | (self.mean > self.high + slack))):
            return None
        keep = ~sure & (np.isfinite(self.low) | np.isfinite(self.high))
        u, mean = u[keep], self.mean[keep]
        correlation = self.covariance[np.ix_(keep, keep)] / np.outer(u, u)
        return _Standard((self.low[keep] - mean) / u, (self.high[keep] - mean) / u, correlation)


@dataclass(frozen=True, eq=False)
class _Standard:
    """A box about zero in standard uncertainties."""

    low: FloatArray
    high: FloatArray
    correlation: FloatArray

    def plane(self) -> FloatArray | None:
        """Return how the quantities follow from two independent ones, shape (n, 2), or None when they do not."""
        values, vectors = np.linalg.eigh(self.correlation)
        if len(values) > 2 and values[-3] > _PLANAR * values[-1]:
            return None
        root = (vectors * np.sqrt(np.maximum(values, 0.0)))[:, -2:]
        return np.column_stack([np.zeros((len(root), 2 - root.shape[1])), root])

    def content(self, low: FloatArray, high: FloatArray) -> float:
        """Return the probability between limits."""
        if not len(low):
            return 1.0
        plane = self.plane()
        if plane is None:
            return lattice.content(low, high, self.correlation)
        return polygon.content(*_half_planes(low, high, plane))

    def risk(self, violation: float) -> float:
        """Return how often the worst conforming truth would show a violation as large."""
        plane = self.plane()
        if plane is None:
            return self._risk_at_corners(violation)
        truths = polygon.extreme_points(*_half_planes(self.low, self.high, plane))
        moved = [plane @ truth for truth in truths]
        risks = [1 - self.content(self.low - violation - at, self.high + violation - at) for at in moved]
        return max(risks, default=0.0)

    def _risk_at_corners(self, violation: float) -> float:
        """Return the risk at the worst corner that goes from limit to limit at most twice; speeds are in order."""
        error = lattice.sample(self.correlation).T
        width = (self.high - self.low)[:, None]
        low, high = np.isfinite(self.low)[:, None], np.isfinite(self.high)[:, None]
        on_low = (error <= -violation) | (error >= violation + width)
        on_high = (error >= violation) | (error <= -violation - width)
        sides = np.where(low, on_low, on_high), np.where(high, on_high, on_low)
        worst = 0.0
        for here, there in (sides, sides[::-1]):
            before = np.logical_or.accumulate(here, axis=0)
            after = np.logical_or.accumulate(here[::-1], axis=0)[::-1]
            for start in range(len(error)):
                seen = before[start - 1] if start else np.zeros(error.shape[1], bool)
                for end in range(start, len(error)):
                    seen = seen | there[end]
                    whole = seen | after[end + 1] if end + 1 < len(error) else seen
                    worst = max(worst, float(whole.mean()))
        return worst


def _half_planes(low: FloatArray, high: FloatArray, plane: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return distances and normals of the finite limits."""
    below, above = np.isfinite(low), np.isfinite(high)
    distance = np.concatenate([-low[below], high[above]])
    return distance, np.vstack([plane[below], -plane[above]])
