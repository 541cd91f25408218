"""Designs of a road test: which marks are held, how often and how long, and what they would tell."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from speedcal.calibration.dial.curve import dial_through
from speedcal.calibration.dial.dial import Dial
from speedcal.conformity.road_test import Assumption
from speedcal.interval import FloatArray

MOST_HOLDS, MOST_READINGS_A_HOLD = 25, 6
"""What fits on one sheet, and what a passenger can be asked for."""
_FAIR_READINGS = 60
"""Readings of a test of a dial that nobody can foretell: half an hour or so. Our own judgment."""
_FEWEST_HOLDS = 6
"""Fewest holds of a test. Our own judgment."""
LEVELS = (4, 5, 6)
"""Different marks in a round: four and more show a bend, which three cannot tell from a wrong reading."""


@dataclass(frozen=True, eq=False)
class Expected:
    """How the instrument is expected to read."""

    dial: Dial
    known: bool
    """Whether a drive says so, or nothing is known and the dial is taken at its word."""

    def true(self, mark_mps: FloatArray) -> FloatArray:
        """Return the true speed when the pointer is held on a mark. [m/s]."""
        return self.dial.true_speed(mark_mps)


@dataclass(frozen=True, slots=True)
class Noise:
    """Standard uncertainties of a reading, by what shares them. [m/s]."""

    shared_mps: float
    reading_mps: float
    ground_mps: float

    @classmethod
    def of(cls, assumed: Mapping[str, Assumption]) -> Noise:
        """Return the noise that the assumptions amount to."""
        stamp = assumed["stamp_scatter"].si * assumed["wander"].si
        single = (assumed["pointer_scatter"].si, assumed["reading_step"].si / np.sqrt(12), stamp)
        return cls(assumed["shared_in_hold"].si, float(np.linalg.norm(single)), assumed["ground_scatter"].si)


@dataclass(frozen=True, eq=False)
class Design:
    """Holds and what they will tell."""

    round_mps: FloatArray
    """Marks of one round, in order; every second round runs backwards."""
    rounds: int
    readings: int
    """Readings a hold."""
    hold_s: float
    expected: Expected
    noise: Noise

    @property
    def holds(self) -> int:
        """Holds in all."""
        return len(self.round_mps) * self.rounds

    def order(self) -> FloatArray:
        """Return the marks in the order they are held. [m/s]."""
        return np.concatenate([self.round_mps[:: 1 if i % 2 == 0 else -1] for i in range(self.rounds)])

    def dial(self) -> Dial:
        """Return the dial as the analysis will know it after this road test.

        Readings of one hold share a part of their error, so a hold counts as one observation of variance
        ``shared² + (reading² + ground²)/m``.
        """
        true, noise = self.expected.true(self.round_mps), self.noise
        ground = self.expected.dial.line.error_factor * noise.ground_mps
        variance = (noise.shared_mps**2 + (noise.reading_mps**2 + ground**2) / self.readings) / self.rounds
        shown = self.expected.dial.indicated(true)
        return dial_through(true, shown, np.eye(len(true)) * variance, used_mps=np.repeat(true, self.rounds))

    def coverage(self) -> float:
        """Return the half width of the 95 % interval reached in nine drives of ten, in standard uncertainties.

        The analysis estimates the scatter from the drive itself, so t replaces 1.96 and the scatter found varies as
        that of the means of holds does: nine drives in ten are planned for with its 90 % quantile.
        """
        from scipy.special import chdtri, stdtrit

        return float(
            stdtrit(self.holds * self.readings - 2, 0.975) * np.sqrt(chdtri(self.holds - 2, 0.1) / (self.holds - 2))
        )

    def half_width_factor(self) -> float:
        """Return the half width of the 95 % interval of the error factor, reached in nine drives of ten."""
        return self.coverage() * self.dial().line.u_factor

    def road(self, assumed: Mapping[str, Assumption]) -> tuple[float, float]:
        """Return seconds and metres of the whole test, from standing to standing."""
        true = np.concatenate([[0.0], self.expected.true(self.order()), [0.0]])
        a = max(assumed["acceleration"].si, 1e-3)
        seconds = self.holds * self.hold_s + np.abs(np.diff(true)).sum() / a
        metres = true.sum() * self.hold_s + np.abs(np.diff(true**2)).sum() / (2 * a)
        return float(seconds), float(metres)


def designs_of(marks_mps: FloatArray, expected: Expected, assumed: Mapping[str, Assumption]) -> Iterator[Design]:
    """Yield every road test that fits on one sheet, the shortest first."""
    noise = Noise.of(assumed)
    even = [
        marks_mps[np.round(np.linspace(0, len(marks_mps) - 1, count)).astype(int)]
        for count in LEVELS
        if count <= len(marks_mps)
    ]
    low, lower, upper, high = even[0]
    rounds = [*even, np.array([low, upper, high, low, lower, high])]  # the ends carry the factor
    designs = [
        Design(round_mps, times, m, _hold_s(m, assumed), expected, noise)
        for round_mps in rounds
        for times in range(1, MOST_HOLDS // len(round_mps) + 1)
        if len(round_mps) * times >= _FEWEST_HOLDS
        for m in range(2, MOST_READINGS_A_HOLD + 1)
    ]
    yield from sorted(designs, key=lambda d: (round(d.road(assumed)[0], 3), d.holds))


def _hold_s(readings: int, assumed: Mapping[str, Assumption]) -> float:
    return assumed["settle"].si + (readings - 1) * assumed["between_readings"].si + 5.0


def fair_design(designs: Sequence[Design]) -> Design:
    """Return the design that tells most in a fair number of readings, where none is sure to settle the question."""
    fair = [design for design in designs if design.holds * design.readings <= _FAIR_READINGS]
    return min(fair or designs, key=lambda design: design.half_width_factor())
