"""The shortest road test that answers a question: designs, what they would tell, and how long they take."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from speedcal.conformity.roadtest import Assumption
from speedcal.interval import FloatArray

MOST_HOLDS, MOST_READINGS_A_HOLD = 25, 6
"""What fits on one sheet, and what a passenger can be asked for."""
MOST_READINGS = MOST_HOLDS * MOST_READINGS_A_HOLD
_FEWEST_HOLDS = 6
_LEVELS = (3, 4, 5)


@dataclass(frozen=True, slots=True)
class Expected:
    """How the instrument is expected to read: offset [m/s] and error factor."""

    offset_mps: float
    factor: float
    known: bool
    """Whether a drive says so, or nothing is known and the dial is taken at its word."""

    def true(self, mark_mps: FloatArray) -> FloatArray:
        """Return the true speed when the pointer is held on a mark. [m/s]."""
        return np.asarray((mark_mps - self.offset_mps) / self.factor)


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard uncertainties of a reading, by what shares them. [m/s]."""

    shared_mps: float
    reading_mps: float
    ground_mps: float
    offset_mps: float


def noise_of(assumed: Mapping[str, Assumption]) -> Noise:
    """Return the noise that the assumptions amount to."""
    stamp = assumed["stamp_scatter"].si * assumed["wander"].si
    single = (assumed["pointer_scatter"].si, assumed["reading_step"].si / np.sqrt(12), stamp)
    return Noise(
        assumed["shared_in_hold"].si,
        float(np.linalg.norm(single)),
        assumed["ground_scatter"].si,
        max(assumed["offset_scatter"].si, 1e-6),
    )


@dataclass(frozen=True, slots=True)
class Design:
    """Holds and what they will tell."""

    round_mps: FloatArray
    """Marks of one round, in order; every second round runs backwards."""
    rounds: int
    readings: int
    """Readings a hold."""
    covariance: FloatArray
    """Joint covariance of (offset [m/s], error factor) after the test."""
    coverage: float
    """Half width of the interval reached in nine drives of ten, in standard uncertainties."""
    hold_s: float

    @property
    def holds(self) -> int:
        """Holds in all."""
        return len(self.round_mps) * self.rounds

    @property
    def half_width_factor(self) -> float:
        """Half width of the 95 % interval of the error factor, reached in nine drives of ten."""
        return self.coverage * float(np.sqrt(self.covariance[1, 1]))

    def order(self) -> FloatArray:
        """Return the marks in the order they are held. [m/s]."""
        return np.concatenate([self.round_mps[:: 1 if i % 2 == 0 else -1] for i in range(self.rounds)])

    def road(self, expected: Expected, assumed: Mapping[str, Assumption]) -> tuple[float, float]:
        """Return seconds and metres of the whole test, from standing to standing."""
        true = np.concatenate([[0.0], expected.true(self.order()), [0.0]])
        a = max(assumed["acceleration"].si, 1e-3)
        seconds = self.holds * self.hold_s + np.abs(np.diff(true)).sum() / a
        metres = true.sum() * self.hold_s + np.abs(np.diff(true**2)).sum() / (2 * a)
        return float(seconds), float(metres)


def shortest(
    marks_mps: FloatArray,
    expected: Expected,
    noise: Noise,
    assumed: Mapping[str, Assumption],
    answers: Callable[[Design], bool],
) -> Design | None:
    """Return the design of least time that answers the question; None when none on one sheet does.

    Parameters
    ----------
    marks_mps
        Marks of the dial that may be held. [m/s]
    expected, noise, assumed
        How the instrument reads, how readings scatter, how long things take.
    answers
        Tells whether a design answers the question.
    """
    designs = [
        design_of(round_mps, rounds, m, expected, noise, assumed)
        for round_mps in _rounds(marks_mps)
        for rounds in range(1, MOST_HOLDS // len(round_mps) + 1)
        if len(round_mps) * rounds >= _FEWEST_HOLDS
        for m in range(2, MOST_READINGS_A_HOLD + 1)
    ]
    designs.sort(key=lambda d: (round(d.road(expected, assumed)[0], 3), d.holds))
    return next((design for design in designs if answers(design)), None)


def _rounds(marks_mps: FloatArray) -> Iterator[FloatArray]:
    """Yield rounds: three to five marks evenly over the range, and one that holds the ends twice and the middle once.

    The ends carry the factor, the middle shows whether the instrument is straight.
    """
    for count in _LEVELS:
        if count <= len(marks_mps):
            yield marks_mps[np.round(np.linspace(0, len(marks_mps) - 1, count)).astype(int)]
    low, middle, high = marks_mps[[0, len(marks_mps) // 2, -1]]
    yield np.array([low, high, middle, low, high])


def design_of(
    round_mps: FloatArray,
    rounds: int,
    readings: int,
    expected: Expected,
    noise: Noise,
    assumed: Mapping[str, Assumption],
) -> Design:
    """Return what holding these marks will tell.

    Readings of one hold share a part of their error, so a hold counts as one observation of variance
    ``shared² + (reading² + ground²)/m``. The analysis estimates the scatter from the drive itself, so t replaces 1.96
    and the scatter found varies: nine drives in ten are planned for with its 90 % quantile.
    """
    from scipy import stats

    true = expected.true(round_mps)
    variance = noise.shared_mps**2 + (noise.reading_mps**2 + (expected.factor * noise.ground_mps) ** 2) / readings
    rows = np.column_stack([np.ones_like(true), true])
    information = rounds * rows.T @ rows / variance
    information[0, 0] += 1 / noise.offset_mps**2
    dof = len(round_mps) * rounds * readings - 2
    coverage = float(stats.t.ppf(0.975, dof) * np.sqrt(stats.chi2.ppf(0.9, dof) / dof))
    hold_s = assumed["settle"].si + (readings - 1) * assumed["between_readings"].si + 5.0
    return Design(round_mps, rounds, readings, np.asarray(np.linalg.inv(information)), coverage, hold_s)
