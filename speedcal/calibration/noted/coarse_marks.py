"""Readings to coarse marks: each says that the needle stood within its step, and no more.

With a Gaussian of the step's variance in its place a dial that is read in fives comes out a tenth farther off: readings
next to a boundary tell most, and speeds held alike are rounded alike. What each interval tells beside all others is a
Gaussian message of the same effect (:mod:`speedcal.calibration.dial.rounded_likelihood`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.dial_mixture import Basis, Laid, solved
from speedcal.calibration.dial.rounded_likelihood import Message, told_by, without
from speedcal.calibration.tuning.notes import COARSE_U_MPS
from speedcal.interval import FloatArray

_ROUNDS, _BLEND = 8, 0.7
_LEAST_TOLD = 1e-3
"""Of what an even spread over the step says, at the least."""


def within_marks(ways: Sequence[Laid], basis: Basis) -> list[Laid]:
    """Return readings to coarse marks as what their intervals tell; others as they are."""
    if all(way.rounding_variance < COARSE_U_MPS**2 for way in ways):
        return list(ways)
    # how people scatter and dials bend is alike for all ways
    nodes = solved(max(ways, key=lambda way: way.weight), basis)
    scatter2, prior_variance = float(nodes.weight @ nodes.scatter**2), nodes.weight @ nodes.prior_sd**2
    return [_as_told(way, basis, scatter2, prior_variance) for way in ways]


def _as_told(way: Laid, basis: Basis, scatter2: float, prior_variance: FloatArray) -> Laid:
    own = scatter2 * way.widening + way.known_variance
    message = marks_tell(way, basis, own=own, prior_variance=prior_variance)
    return replace(
        way,
        shown_mps=way.speed_mps + message.shift / message.precision,
        known_variance=way.known_variance + 1 / message.precision,
        rounding_variance=0.0,
    )


def marks_tell(way: Laid, basis: Basis, *, own: FloatArray, prior_variance: FloatArray) -> Message:
    """Return what each interval tells of what would have been read without marks, less the true speed.

    Parameters
    ----------
    own
        Variance of each reading beside its rounding.
    prior_variance
        Of the parts of the dial and the play.
    """
    rows = np.column_stack([basis.rows(way.speed_mps), way.play])
    value, step = way.shown_mps - way.speed_mps, float(np.sqrt(12 * way.rounding_variance))
    even = np.full(len(value), 1 / way.rounding_variance)
    message = Message(even, even * value)
    for _ in range(_ROUNDS):
        seen = 1 / (1 / message.precision + own)  # of the dial, through the reading's own error
        beside = Message(seen, seen * message.shift / message.precision)
        covariance = np.linalg.inv(np.diag(1 / prior_variance) + (rows.T * seen) @ rows)
        mean = rows @ (covariance @ (rows.T @ beside.shift))
        away, variance = without(mean, np.einsum("np,pq,nq->n", rows, covariance, rows), beside)
        told = told_by(value, step, np.zeros(len(value)), away, variance + own).message
        precision = np.maximum(told.precision, _LEAST_TOLD * even)
        message = message.blended(Message(precision, told.shift / told.precision * precision), _BLEND)
    return message
