"""The odometer: its factor is the error factor without any needle offset."""

from __future__ import annotations

import numpy as np

from speedcal.measure.ground import GroundSpeed
from speedcal.values import FloatArray

_SHORTEST_M = 1500.0
_LENGTH_U = 0.0005
"""Standard uncertainty of the measured length of a drive, relative; from memory."""


def odometer_factor(
    ground: GroundSpeed, moment_s: FloatArray, odometer_m: FloatArray, *, resolution_m: float, u_time_s: float
) -> tuple[float, float] | None:
    """Return the factor of the odometer and its standard uncertainty, or None when the drive does not carry one.

    A line through odometer readings against the distance really travelled, piece by piece, since distance across a
    gap is not known. An odometer cut off at its last digit shifts all of its readings alike; what is left is uniform
    over one step (JCGM 100:2008, F.2.2.1).

    Parameters
    ----------
    ground
        Ground speed of the drive.
    moment_s, odometer_m
        When each reading was taken on the GPS clock, and what it was, shape (n,); NaN where there is none. [s, m]
    resolution_m
        Step of the odometer. [m]
    u_time_s
        Standard uncertainty of a moment. [s]
    """
    known = np.isfinite(odometer_m) & np.isfinite(moment_s)
    moment, shown = moment_s[known], odometer_m[known]
    distance, piece, inside = ground.travelled_m(moment)
    speed, _, _ = ground.at(moment)
    shown, distance, piece, speed = shown[inside], distance[inside], piece[inside], speed[inside]
    variance = resolution_m**2 / 12 + (speed * u_time_s) ** 2
    if len(shown) < 2:
        return None
    weight = 1 / variance
    _, label = np.unique(piece, return_inverse=True)
    total = np.bincount(label, weights=weight)
    away, risen = (a - (np.bincount(label, weights=weight * a) / total)[label] for a in (distance, shown))
    length = max(float(np.ptp(distance[label == k])) for k in range(len(total)))
    if length < _SHORTEST_M:
        return None
    spread = float(np.sum(weight * away**2))
    factor = float(np.sum(weight * away * risen)) / spread
    return factor, float(np.hypot(1 / np.sqrt(spread), _LENGTH_U))


def with_odometer(
    line: tuple[float, float], covariance: FloatArray, odometer: tuple[float, float]
) -> tuple[tuple[float, float], FloatArray, float]:
    """Combine the line of the speeds with the factor of the odometer by inverse variance.

    Returns
    -------
    line, covariance
        Offset and gain [m/s, 1] and their covariance, after the odometer.
    disagreement
        Difference of the two factors in standard uncertainties of the difference.
    """
    factor, u = odometer
    variance = float(covariance[1, 1]) + u**2
    step = factor - line[1]
    pull = covariance[:, 1] / variance
    offset, gain = np.asarray(line) + pull * step
    return (float(offset), float(gain)), covariance - np.outer(pull, covariance[1]), step / float(np.sqrt(variance))
