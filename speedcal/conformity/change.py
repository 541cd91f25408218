"""The change that the work should have made, against the change that was measured."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from speedcal.calibration.tuning.general import TIRE_STATE_U
from speedcal.conformity.two_dials import measured_change, needle_that_moved
from speedcal.finding import Finding, codes_of
from speedcal.interval import COVERAGE_FACTOR, Interval, tidy
from speedcal.logs.drive.readings import DIAL_UNIT_SEEN
from speedcal.units import MILE_M

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.vehicle import GainChange, Vehicle, Work

PRESSURE_PERCENT = 1.0
"""Largest change of circumference that tire pressure makes, in per cent; one private GPS experiment found less than
this from very low to very high pressure (read in a secondary text)."""
_KM_A_MILE = MILE_M / 1000
_RANGE_SLACK = 0.04
"""How far, relative, a change may be from the ratio of a range and still be called that: ratios are stated rounded, and
what else differs is a few per cent, where ranges differ by a third and more. Our own judgment."""
_TOOTH_REACH = 1.5
"""A whole count of teeth still explains a change that is so many times its 95 % interval off: counts are few, and one
that is three standard uncertainties away is likelier than a gear as planned. Our own judgment."""


_POWERS = (("driven_gear", -1), ("drive_gear", 1))
"""Gears, and the power to which the reading goes with their teeth."""


@dataclass(frozen=True, slots=True)
class Cause:
    """Something that would explain a change other than planned, and how large it would have to be."""

    what: Finding
    """Code and values: ``cause_gear``, ``cause_old_gear``, ``cause_setting``, ``cause_housing``, ``cause_tires``,
    ``cause_file``, ``cause_range`` or ``cause_needle``."""
    size_percent: float | None
    """Change of the error factor against the plan that this cause makes; None when it has no fixed size."""
    fits: bool
    """Whether that size agrees with what was measured."""

    def to_dict(self) -> dict[str, Any]:
        """Return the cause, ready for JSON."""
        size = None if self.size_percent is None else tidy(self.size_percent, 2)
        return {**self.what.to_dict(), "size_percent": size, "fits": self.fits}


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
    """Shift of the needle between the drives when the change of gain is left free; None for the odometer."""
    righted: float = 1.0
    """Part of the plan that is a unit or a count of pulses put right since the drive before."""

    @property
    def excess(self) -> float:
        """Measured over planned change; 1 when all went to plan."""
        return self.measured_change.value / self.planned.value

    @property
    def findings(self) -> tuple[Finding, ...]:
        """A disagreement, and a needle that moved."""
        found = []
        if not self.agrees:
            found.append(
                Finding(
                    "not_as_predicted",
                    quantity=self.quantity,
                    planned=self.planned,
                    measured=self.measured_change,
                    fitting=[cause.what for cause in self.causes if cause.fits],
                )
            )
        if self.offset_shift_mps is not None and not self.offset_shift_mps.contains(0.0):
            found.append(Finding("needle_moved", shift_mps=self.offset_shift_mps.value))
        return tuple(found)

    def to_dict(self) -> dict[str, Any]:
        """Return the comparison, ready for JSON."""
        return {
            "quantity": self.quantity,
            "planned_change": self.planned.to_dict(),
            "measured_change": self.measured_change.to_dict(),
            "predicted_factor": self.predicted_factor.to_dict(),
            "measured_factor": self.measured_factor.to_dict(),
            "agrees": self.agrees,
            "causes": [cause.to_dict() for cause in self.causes],
        }


def compare_speed(
    before: Calibration,
    after: Calibration,
    planned: GainChange,
    *,
    vehicle: Vehicle | None = None,
    work: Work | None = None,
) -> ChangeCheck:
    """Compare the drive after the work with what the drive before it predicts.

    An instrument whose drive is changed by r shows at a true v what it showed at r v. Generalised least squares over a
    few speeds, with the joint covariance of both dials, gives r; the factors alone would be several times less
    certain than the dials they belong to.

    Parameters
    ----------
    planned
        Gain after over gain before, from the parts that were changed, and how well that is known.
    vehicle, work
        For the causes: which gear was meant to be fitted.
    """
    measured, shift = measured_change(before.dial, after.dial)
    agrees = _agree(measured, planned)
    result = ChangeCheck(
        quantity="speed",
        planned=_planned(planned),
        predicted_factor=_predicted(before.error_factor, planned),
        measured_factor=after.error_factor,
        measured_change=measured,
        agrees=agrees,
        offset_shift_mps=shift,
    )
    if agrees:
        return result
    needle = needle_that_moved(before.dial, after.dial, planned, after.unit)
    if needle is not None:  # then nothing speaks for another gear or other files
        return replace(result, causes=(Cause(needle, None, True),))
    unit_seen = DIAL_UNIT_SEEN in codes_of(after.findings)
    return replace(result, causes=_causes(result, vehicle, work, unit_seen=unit_seen))


def compare_odometer(before: Interval, after: Interval, planned: GainChange) -> ChangeCheck:
    """Compare the odometer factors of two drives; the odometer has no offset."""
    ratio = after.value / before.value
    parts = before.half_width / before.value, after.half_width / after.value, COVERAGE_FACTOR * TIRE_STATE_U
    change = Interval.around(ratio, ratio * math.hypot(*parts))
    predicted = _predicted(before, planned)
    return ChangeCheck("odometer", _planned(planned), predicted, after, change, _agree(change, planned))


def _planned(change: GainChange) -> Interval:
    return Interval.known_to(change.value, change.u_relative * change.value)


def _predicted(before: Interval, change: GainChange) -> Interval:
    value = before.value * change.value
    half = value * math.hypot(before.half_width / before.value, COVERAGE_FACTOR * change.u_relative)
    return Interval.around(value, half)


def _agree(measured: Interval, planned: GainChange) -> bool:
    """Tell whether two changes differ by no more than their joint 95 % interval."""
    half = math.hypot(measured.half_width, COVERAGE_FACTOR * planned.u_relative * planned.value)
    return abs(measured.value - planned.value) <= half


def _causes(change: ChangeCheck, vehicle: Vehicle | None, work: Work | None, *, unit_seen: bool) -> tuple[Cause, ...]:
    """List what would explain a change other than planned, in the order in which a shop would look."""
    if ranges := _other_range(change, vehicle):  # nobody takes gears out before he has asked the driver
        return ranges
    wrong_file = _wrong_file(change, unit_seen=unit_seen)
    return (*_other_gear(change, vehicle, work), _wrong_range(change), _tires(change), wrong_file)


def _other_range(change: ChangeCheck, vehicle: Vehicle | None) -> tuple[Cause, ...]:
    """Return that one of the drives was made in another range that the vehicle has, where that is the change."""
    from speedcal.vehicle.drivetrain import range_gains

    found = range_gains(vehicle) if vehicle is not None else []
    return tuple(
        Cause(Finding("cause_range", part=part, phase=phase, times=max(gain, 1 / gain)), 100 * (excess - 1), True)
        for part, gain in found
        for phase, excess in (("after", gain), ("before", 1 / gain))
        if abs(math.log(change.excess / excess)) < _RANGE_SLACK
    )[:1]


def _fits(change: ChangeCheck, excess: float, *, reach: float = 1.0) -> bool:
    """Tell whether the measured change leaves room for this one: within so many times its 95 % interval."""
    measured = change.measured_change
    return abs(change.planned.value * excess - measured.value) <= reach * measured.half_width


def _other_gear(change: ChangeCheck, vehicle: Vehicle | None, work: Work | None) -> tuple[Cause, ...]:
    """Name the tooth counts that the measured change stands for; a driven gear divides, a drive gear multiplies.

    A gear that was left alone explains no change, unless none was changed as told: then somebody may have. Nothing is
    named of gears that were counted.
    """
    gears = [(gear, power) for gear, power in _POWERS if getattr(work, gear, None)]
    told = work if gears else vehicle
    gears = [(gear, power) for gear, power in gears or _POWERS[:1] if getattr(told, gear, None)]
    if told is None or not gears:
        percent = 100 * (change.excess - 1)
        return (Cause(Finding("cause_setting", percent=percent), percent, False),)
    if told.gears_counted:
        return ()
    return tuple(cause for gear, power in gears for cause in _gear(change, vehicle, told, gear, power))


def _gear(
    change: ChangeCheck, vehicle: Vehicle | None, told: Vehicle | Work, gear: str, power: int
) -> tuple[Cause, ...]:
    """Return the gear that is in now, and the one that came out, with other teeth than stated."""
    planned = getattr(told, gear)
    implied = planned * change.excess**power
    teeth = max(1, round(implied))
    size = 100 * ((teeth / planned) ** power - 1)
    stated = getattr(vehicle, gear, None) if told is not vehicle else None
    came_out = round(stated * change.excess**-power) if stated else None
    fits = teeth != planned and _fits(change, 1 + size / 100, reach=_TOOTH_REACH)
    values = {"implied": implied, "planned": planned, "teeth": teeth, "percent": size, "came_out": came_out}
    old = () if fits else _old_gear(change, vehicle, gear, came_out, power)
    return (Cause(Finding("cause_gear", gear=gear, **values), size, fits), *old)


def _old_gear(
    change: ChangeCheck, vehicle: Vehicle | None, gear: str, came_out: int | None, power: int
) -> tuple[Cause, ...]:
    """Return that the gear that came out had other teeth than stated, where that is the change; it was not counted."""
    stated = getattr(vehicle, gear, None)
    if vehicle is None or not stated or not came_out or vehicle.gears_counted or came_out == stated:
        return ()
    excess = (came_out / stated) ** -power
    what = Finding("cause_old_gear", gear=gear, teeth=came_out, stated=stated)
    return (Cause(what, 100 * (excess - 1), True),) if _fits(change, excess) else ()


def _wrong_range(change: ChangeCheck) -> Cause:
    """Say what a housing turned to the wrong range would do: the gears mesh too deep or hardly; it never reads high."""
    low = change.excess < 1
    return Cause(Finding("cause_housing", reads_low=low), None, low and change.excess < 0.8)


def _tires(change: ChangeCheck) -> Cause:
    """Say what the tires would have to roll; the reading goes with 1/circumference."""
    needed = 100 * (1 / change.excess - 1)
    by_pressure = abs(needed) <= PRESSURE_PERCENT
    what = Finding("cause_tires", roll_percent=needed, pressure_could=by_pressure)
    return Cause(what, 100 * (change.excess - 1), by_pressure)


def _wrong_file(change: ChangeCheck, *, unit_seen: bool) -> Cause:
    """Say which files may be mixed up; where somebody saw the unit on the dial, no other is suspected."""
    known = {"unchanged": 1 / change.planned.value}
    if not unit_seen:
        known |= {"kmh_taken_for_mph": _KM_A_MILE, "mph_taken_for_kmh": 1 / _KM_A_MILE}
    for why, excess in known.items():
        if abs(excess - 1) > 1e-9 and _fits(change, excess):
            return Cause(Finding("cause_file", why=why), 100 * (excess - 1), True)
    return Cause(Finding("cause_file", why="unknown"), None, False)
