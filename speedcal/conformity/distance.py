"""The distance really driven since the work, by what the odometer showed then and shows now: a report only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from speedcal.calibration.tuning.general import TIRE_STATE_U
from speedcal.errors import VehicleError
from speedcal.interval import COVERAGE_FACTOR, Interval, tidy
from speedcal.vehicle.judged.limits import POINTER_DIFFERS
from speedcal.wording import Spoken

if TYPE_CHECKING:
    from speedcal.calibration.result import Calibration
    from speedcal.units import DisplayUnit
    from speedcal.vehicle import Work

_READ_TO = 1.0
"""Whole miles or km that an odometer is read to, at either end."""


@dataclass(frozen=True, slots=True)
class DrivenDistance(Spoken):
    """What was shown and what was driven since the work, in miles or km as the odometer counts."""

    unit: DisplayUnit
    shown: float
    driven: Interval
    told_by: Literal["odometer", "pointer"]
    """Whether the odometer's own factor was measured, or that of the pointer stands in for it."""
    date: str = ""
    """Day of the work, ISO; empty when it is not stated."""

    def to_dict(self) -> dict[str, Any]:
        """Return the distance, ready for JSON."""
        return {
            "since": self.date or None,
            "shown": tidy(self.shown, 1),
            "driven": self.driven.to_dict(digits=1),
            "unit": "miles" if self.unit == "mph" else "km",
            "told_by": self.told_by,
            "text": str(self),
        }


def distance_since(work: Work | None, after: Calibration | None) -> DrivenDistance | None:
    """Return the distance driven since the work; None where the work or the drive after it does not tell.

    Parameters
    ----------
    work
        With what the odometer showed when it was done, and shows now.
    after
        How the instrument has read since.

    Raises
    ------
    VehicleError
        The odometer shows less now than then.

    Examples
    --------
    >>> import speedcal
    >>> from speedcal.conformity.distance import distance_since
    >>> track = speedcal.read_track("data_demo/after.gpx")
    >>> after = speedcal.calibrate(track, speedcal.read_readings("data_demo/after_notes.csv"))
    >>> from speedcal.vehicle import Work
    >>> found = distance_since(Work(odometer=48200, odometer_now=51400), after)
    >>> found.shown, found.told_by
    (3200, 'pointer')
    """
    if work is None or after is None or work.odometer is None or work.odometer_now is None:
        return None
    shown = work.odometer_now - work.odometer
    if shown < 0:
        raise VehicleError("odometer_shows_less", then=work.odometer, now=work.odometer_now)
    own = after.odometer_factor
    factor = own or after.error_factor
    relative = [factor.half_width / factor.value, COVERAGE_FACTOR * TIRE_STATE_U, 0.0 if own else POINTER_DIFFERS]
    driven = shown / factor.value
    reading = COVERAGE_FACTOR * _READ_TO / np.sqrt(12) * np.sqrt(2) / factor.value
    half = float(np.hypot(driven * np.linalg.norm(relative), reading))
    return DrivenDistance(after.unit, shown, Interval.around(driven, half), "odometer" if own else "pointer", work.date)
