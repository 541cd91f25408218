"""What is shown, or counted, once a change was made to the drive: expected, and as it may be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.interval import COVERAGE_FACTOR, FloatArray, Interval
from speedcal.vehicle.judged.limits import POINTER_DIFFERS, TireSet
from speedcal.vehicle.judged.plausible_dials import plausible_dials


@dataclass(frozen=True)
class Showing:
    """A dial and the odometer beside it, on each set of tires that is driven.

    Parameters
    ----------
    dial
        As it reads now. A change by g makes it show at v what it showed at g v.
    speeds_mps
        True speeds that matter. [m/s]
    odometer_factor
        Of the odometer where it was measured; None takes the dial's slope.
    tire_sets
        The first is that of the drive.
    is_odometer
        Whether what is asked for is the distance counted, as a speed, and not the speed shown.
    """

    dial: Dial
    speeds_mps: FloatArray
    odometer_factor: Interval | None
    tire_sets: tuple[TireSet, ...]
    is_odometer: bool
    truths: FloatArray = field(init=False, repr=False)
    """Readings at the knots for equally likely truths, shape (truths, knots). [m/s]"""
    tires: FloatArray = field(init=False, repr=False)
    """Standard normal deviates of the tires of the further sets, shape (truths,)."""
    hands: FloatArray = field(init=False, repr=False)
    """Standard normal deviates of the hand that sets a needle over; of no judgment of an odometer."""
    odometers: FloatArray = field(init=False, repr=False)
    """Factors of the odometer for the same truths."""

    def __post_init__(self) -> None:
        knots, spare = plausible_dials(self.dial, self.speeds_mps)
        object.__setattr__(self, "truths", knots)
        object.__setattr__(self, "tires", spare[:, 0])
        object.__setattr__(self, "hands", spare[:, 1])
        if self.odometer_factor is None:
            used = self.dial.used_mps
            used = used if np.ptp(used) > 0 else used[0] + np.array([-1.0, 1.0])
            rise = (used - used.mean()) / np.sum((used - used.mean()) ** 2)
            odometers = knots @ self.dial.weights(used).T @ rise
            if self.is_odometer:
                odometers = odometers * (1 + POINTER_DIFFERS / COVERAGE_FACTOR * spare[:, 1])
        else:
            odometers = self.odometer_factor.value + self.odometer_factor.half_width / COVERAGE_FACTOR * spare[:, 1]
        object.__setattr__(self, "odometers", odometers)

    @cached_property
    def odometer(self) -> Interval:
        """Gain of the odometer: measured, or else that of the pointer, which the same shaft drives."""
        if self.odometer_factor is not None:
            return self.odometer_factor
        line = self.dial.line
        return Interval.known_to(line.error_factor, line.u_factor)

    def expected(self, v: FloatArray, gain: float) -> FloatArray:
        """Return what is expected at true speeds, one set of tires after the other. [m/s]."""
        at = np.concatenate([gain * tires.gain * v for tires in self.tire_sets])
        return at * self.odometer.value if self.is_odometer else self.dial.indicated(at)

    def plausible(self, v: FloatArray, gains: Sequence[float] | FloatArray) -> FloatArray:
        """Return what it may be at true speeds, shape (truths, gains, speeds and sets). [m/s]."""
        found = []
        for tires in self.tire_sets:
            at = np.multiply.outer(np.asarray(gains, float) * tires.gain, v)
            if self.is_odometer:
                shown = np.multiply.outer(self.odometers * np.exp(tires.u_ln_gain * self.tires), at.ravel())
            else:
                shown = self.truths @ self.dial.weights(at.ravel()).T
                if tires.u_ln_gain:
                    moved = tires.u_ln_gain * (at * self.dial.slope(at)).ravel()
                    shown = shown + self.tires[:, None] * moved
            found.append(shown.reshape(len(self.truths), *at.shape))
        return np.concatenate(found, axis=2)
