"""The change that the work should have made, against the change that was measured."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from speedcal.calibration.tuning import TIRE_STATE_U
from speedcal.finding import Finding
from speedcal.interval import FloatArray, Interval, tidy
from speedcal.units import MILE_M

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import GainChange, Vehicle, Work

PRESSURE_PERCENT = 1.0
"""Largest change of circumference that tire pressure makes, in per cent; one private GPS experiment found less than
this from very low to very high pressure (read in a secondary text)."""


_EXACT_PERCENT = 0.02
"""A planned change known better than this has no interval worth showing."""


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that would explain a change other than planned, and how large it would have to be."""

    name: str
    text: str
    size_percent: float | None
    """Change of the error factor against the plan that this cause makes; None when it has no fixed size."""
    fits: bool
    """Whether that size agrees with what was measured."""

    def to_dict(self) -> dict[str, Any]:
        """Return the cause, ready for JSON."""
        size = None if self.size_percent is None else tidy(self.size_percent, 2)
        return {"cause": self.name, "text": self.text, "size_percent": size, "fits": self.fits}

    def __str__(self) -> str:
        return f"{self.text}{' (fits)' if self.fits else ''}"


@dataclass(frozen=True, slots=True)
class ChangeCheck:
    """Predicted and measured change of a gain, each with its interval."""

    quantity: str
    """``speed`` or ``odometer``."""
    planned: Interval
    """Gain after the work over gain before it, from the parts; wide where tires or a rounded axle ratio are changed."""
    predicted_factor: Interval
    measured_factor: Interval
    measured_change: Interval
    """Needs no agreement on the needle offset: the offset belongs to the instrument and is the same in both drives."""
    agrees: bool
    causes: tuple[Cause, ...] = ()
    offset_shift_mps: Interval | None = None
    """Change of the needle offset between the drives when the change of gain is left free; None for the odometer."""

    @property
    def planned_change(self) -> float:
        """Gain after the work over gain before it, as planned."""
        return self.planned.value

    @property
    def planned_text(self) -> str:
        """The planned change in per cent, with its interval where it has one."""
        value, low, high = (100 * (gain - 1) for gain in (self.planned.value, self.planned.low, self.planned.high))
        return f"{value:+.1f} %" + (f" ({low:+.1f} to {high:+.1f})" if high - low > _EXACT_PERCENT else "")

    @property
    def excess(self) -> float:
        """Measured over planned change; 1 when all went to plan."""
        return self.measured_change.value / self.planned_change

    def to_dict(self) -> dict[str, Any]:
        """Return the comparison, ready for JSON."""
        return {
            "quantity": self.quantity,
            "planned_change": tidy(self.planned_change, 6),
            "planned_interval": self.planned.to_dict(),
            "measured_change": self.measured_change.to_dict(),
            "predicted_factor": self.predicted_factor.to_dict(),
            "measured_factor": self.measured_factor.to_dict(),
            "agrees": self.agrees,
            "causes": [cause.to_dict() for cause in self.causes],
        }

    def __str__(self) -> str:
        word = "agree" if self.agrees else "DO NOT AGREE"
        lines = [
            f"{self.quantity}: planned change {self.planned_text}, measured "
            f"{100 * (self.measured_change.value - 1):+.1f} % ({100 * (self.measured_change.low - 1):+.1f} to "
            f"{100 * (self.measured_change.high - 1):+.1f}): they {word}"
        ]
        return "\n".join(lines + [f"  possible cause: {cause}" for cause in self.causes])


def compare_speed(
    before: Calibration,
    after: Calibration,
    planned: GainChange,
    *,
    vehicle: Vehicle | None = None,
    work: Work | None = None,
) -> ChangeCheck:
    """Compare the drive after the work with what the drive before it predicts.

    The needle offset a is the instrument's own and unchanged, the factor is multiplied by the change r:
    a' = a, b' = r b. With the joint covariance C of both drives, generalised least squares gives r; the factors
    alone would be several times less certain than the lines they belong to.

    Parameters
    ----------
    before, after
        The two drives.
    planned
        Gain after over gain before, from the parts that were changed, and how well that is known.
    vehicle, work
        For the causes: which gear was meant to be fitted.
    """
    measured, offset_shift = _measured_change(before, after)
    agrees = _agree(measured, planned)
    result = ChangeCheck(
        quantity="speed",
        planned=_planned(planned),
        predicted_factor=_predicted(before.error_factor, planned),
        measured_factor=after.error_factor,
        measured_change=measured,
        agrees=agrees,
        offset_shift_mps=offset_shift,
    )
    return result if agrees else replace(result, causes=likely_causes(result, vehicle, work))


def compare_odometer(before: Interval, after: Interval, planned: GainChange) -> ChangeCheck:
    """Compare the odometer factors of two drives; the odometer has no offset."""
    ratio = after.value / before.value
    half = ratio * float(
        np.sqrt(
            (before.half_width / before.value) ** 2 + (after.half_width / after.value) ** 2 + (1.96 * TIRE_STATE_U) ** 2
        )
    )
    change = Interval.around(ratio, half)
    predicted = _predicted(before, planned)
    return ChangeCheck("odometer", _planned(planned), predicted, after, change, _agree(change, planned))


def _planned(change: GainChange) -> Interval:
    return Interval.around(change.value, 1.96 * change.u_relative * change.value)


def _predicted(before: Interval, change: GainChange) -> Interval:
    value = before.value * change.value
    return Interval.around(value, value * float(np.hypot(before.half_width / before.value, 1.96 * change.u_relative)))


def _agree(measured: Interval, planned: GainChange) -> bool:
    """Tell whether two changes differ by no more than their joint 95 % interval."""
    half = float(np.hypot(measured.half_width, 1.96 * planned.u_relative * planned.value))
    return abs(measured.value - planned.value) <= half


def _measured_change(before: Calibration, after: Calibration) -> tuple[Interval, Interval]:
    a0, b0 = before.offset_mps.value, before.error_factor.value
    target = np.array([after.offset_mps.value - a0, after.error_factor.value])
    direction = np.array([0.0, b0])
    ratio = float(target[1] / b0)
    weight: FloatArray = np.eye(2)
    tire = np.diag([0.0, (TIRE_STATE_U * after.error_factor.value) ** 2])
    for _ in range(20):
        scale = np.diag([1.0, ratio])
        weight = np.asarray(np.linalg.pinv(after.covariance + scale @ before.covariance @ scale + tire, hermitian=True))
        new = float(direction @ weight @ target / (direction @ weight @ direction))
        if abs(new - ratio) < 1e-12:
            break
        ratio = new
    k = max(before.coverage_factor, after.coverage_factor)
    u = 1 / float(np.sqrt(direction @ weight @ direction))
    u_shift = float(np.sqrt(before.covariance[0, 0] + after.covariance[0, 0]))
    return Interval.around(ratio, k * u), Interval.around(float(target[0]), k * u_shift)


def likely_causes(change: ChangeCheck, vehicle: Vehicle | None, work: Work | None) -> tuple[Cause, ...]:
    """List what would explain a change other than planned, in the order in which a shop would look."""
    return (
        _other_gear(change, vehicle, work),
        _wrong_range(change),
        _tires(change),
        _wrong_file(change),
    )


def _fits(change: ChangeCheck, excess: float) -> bool:
    return change.measured_change.contains(change.planned_change * excess)


def _other_gear(change: ChangeCheck, vehicle: Vehicle | None, work: Work | None) -> Cause:
    """Name the tooth count that the measured change stands for; a driven gear divides, a drive gear multiplies."""
    percent = 100 * (change.excess - 1)
    for name, power in (("driven_gear", -1), ("drive_gear", 1)):
        planned = getattr(work, name, None) or (getattr(vehicle, name, None) if name == "driven_gear" else None)
        if planned:
            implied = planned * change.excess**power
            teeth = max(1, round(implied))
            size = 100 * ((teeth / planned) ** power - 1)
            word = name.replace("_", " ")
            fits = teeth != planned and _fits(change, 1 + size / 100)
            text = (
                f"another gear than planned: the drive stands for {implied:.1f} teeth on the {word} instead of "
                f"{planned}; {teeth} teeth would make {size:+.1f} %; count the teeth"
            )
            return Cause("another gear", text, size, fits)
    text = f"another gear or setting than planned: it would have to make {percent:+.1f} %; look at what is fitted"
    return Cause("another gear", text, percent, False)


def _wrong_range(change: ChangeCheck) -> Cause:
    low = change.excess < 1
    text = (
        "the housing turned to the wrong range: the gears then mesh too deep or hardly at all; the reading drops or "
        f"jumps by no fixed amount{', never high' if not low else ''}; look at the mark of the housing"
    )
    return Cause("housing range", text, None, low and change.excess < 0.8)


def _tires(change: ChangeCheck) -> Cause:
    """Say what the tires would have to roll; the reading goes with 1/circumference."""
    needed = 100 * (1 / change.excess - 1)
    by_pressure = abs(needed) <= PRESSURE_PERCENT
    how = "pressure or wear could do that" if by_pressure else "too much for pressure, another tire size could do it"
    text = f"tire pressure or size: the tires would have to roll {needed:+.1f} % farther a turn; {how}"
    return Cause("tires", text, 100 * (change.excess - 1), by_pressure)


def _wrong_file(change: ChangeCheck) -> Cause:
    km_per_mile = MILE_M / 1000
    known = (
        (
            1 / change.planned_change,
            "nothing has changed since the drive before: the same readings, or the part is not fitted",
        ),
        (km_per_mile, "km/h were taken for mph"),
        (1 / km_per_mile, "mph were taken for km/h"),
    )
    for excess, why in known:
        if abs(excess - 1) > 1e-9 and _fits(change, excess):
            return Cause("readings file", f"the wrong readings file: {why}", 100 * (excess - 1), True)
    return Cause(
        "readings file",
        "the wrong readings file or the wrong track: no fixed amount; look at dates and names",
        None,
        False,
    )


def change_findings(change: ChangeCheck) -> list[Finding]:
    """Say a disagreement, or a needle that moved, in a sentence."""
    found = []
    if not change.agrees:
        fitting = [cause.text for cause in change.causes if cause.fits]
        found.append(
            Finding(
                "not_as_predicted",
                f"The {change.quantity} changed by {100 * (change.measured_change.value - 1):+.1f} % where "
                f"{change.planned_text} was planned, more apart than the two drives allow. "
                + (f"What would fit: {'; '.join(fitting)}." if fitting else "No usual cause fits by its size."),
            )
        )
    shift = change.offset_shift_mps
    if shift is not None and not shift.contains(0.0):
        found.append(
            Finding(
                "offset_moved",
                "The needle offset is not the same before and after: the pointer, the face or the instrument was "
                "touched, or one of the drives was not read in the unit it says.",
            )
        )
    return found
