"""Notes whose slope rests on one of them, which may be the one that is wrong.

Where all others are at nearly one speed, the line bends to the one that is far off, and then it fits. So the answer is
the mean over both, with and without it (J. A. Hoeting et al. 1999, Statist. Sci. 14, 382).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.dial_mixture import Basis, Laid, solved
from speedcal.calibration.dial.lone_reading import lone_reading
from speedcal.calibration.tuning.general import SLIP_MPS

_OF_READINGS = ("speed_mps", "shown_mps", "widening", "known_variance", "run", "play", "moment_s")


def with_slips(ways: Sequence[Laid], basis: Basis, wrong_share: float) -> list[Laid]:
    """Return the ways, and beside each that rests on one reading the same without it, by their odds."""
    both = []
    for way in ways:
        lone = lone_reading(way.speed_mps, 1 / way.widening)
        both += [way] if lone is None else _with_and_without(way, lone, basis, wrong_share)
    return both


def _with_and_without(way: Laid, lone: int, basis: Basis, wrong_share: float) -> list[Laid]:
    """Return a way with and without one reading: it is right, or off the dial of the others by a slip."""
    keep = np.arange(len(way.speed_mps)) != lone
    others = replace(way, **{name: getattr(way, name)[keep] for name in _OF_READINGS})
    with_it, without = solved(way, basis), solved(others, basis)
    at = basis.rows(way.speed_mps[lone : lone + 1])[0]
    middle = without.mean @ at
    variance = SLIP_MPS**2 + np.einsum("p,kpq,q->k", at, without.covariance, at)
    away = way.shown_mps[lone] - way.speed_mps[lone] - middle
    slipped = float(without.weight @ (np.exp(-0.5 * away**2 / variance) / np.sqrt(variance)))
    log_right = with_it.log_evidence - without.log_evidence  # both densities less the root of 2 pi
    odds = wrong_share / (1 - wrong_share) * slipped * float(np.exp(-log_right))
    right = 1 / (1 + odds)
    return [replace(way, weight=way.weight * right), replace(others, weight=way.weight * (1 - right))]
