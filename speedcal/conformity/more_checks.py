"""How many more checks are worth it: where to hold the dial next, and when another run changes nothing."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.dial.curve import dial_through
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.units import ROUND_SPEED, SPEED_UNIT_MPS

if TYPE_CHECKING:
    from speedcal.calibration.dial.dial import Dial
    from speedcal.calibration.result import Calibration

_MOST = 12
"""Runs that a person may be asked for on top of those made."""
_LEAST_GAIN = 0.03
"""Another run that narrows the widest interval by less is not worth its fuel."""
_ONE_SPEED, _LOWER = 1.25, 0.65
"""Checks whose speeds differ by less count as one speed; the next are then also held at this part of it."""


@dataclass(frozen=True, eq=False)
class _Made:
    """The checks that were made: what they tell, and what one more would."""

    speed_mps: FloatArray
    shown_mps: FloatArray
    variance: FloatArray
    u_common: float

    def with_more(self, more_mps: list[float], dial: Dial) -> Dial:
        """Return the dial as it will be known after more runs at some true speeds."""
        more = np.array(more_mps, float)
        speed = np.concatenate([self.speed_mps, more])
        shown = np.concatenate([self.shown_mps, dial.indicated(more)])
        variance = np.concatenate([self.variance, np.full(len(more), self.variance.mean())])
        return dial_through(speed, shown, np.diag(variance), used_mps=speed).geared(1.0, u_ln_factor=self.u_common)


def more_checks(calibration: Calibration, teeth: float) -> Finding | None:
    """Say how many more runs at which marks would tell the tooth, or that more are not worth it.

    The runs are laid one by one where they narrow the widest interval most, until the reading is known to half a tooth
    or another run hardly narrows it.

    Parameters
    ----------
    calibration
        From checks of the dial; None is returned for a recorded drive, and where only the odometer was checked.
    teeth
        Of the driven gear: half a tooth is 1/(2 teeth) of the reading.
    """
    if calibration.speed_source != "checks" or not calibration.readings["used"].any():
        return None
    made, dial = _made(calibration), calibration.dial
    low, high = calibration.speed_range_mps
    low = _LOWER * low if high < _ONE_SPEED * low else low
    judged, wanted = np.linspace(low, high, 5), 1 / (2 * teeth)
    places = _marks(np.array([low, (low + high) / 2, high]), calibration)
    more: list[float] = []
    width = now = _widest(dial, judged)
    while width > wanted and len(more) < _MOST:
        tried = [(_widest(made.with_more([*more, place], dial), judged), place) for place in places]
        best, place = min(tried)
        if best > width * (1 - _LEAST_GAIN):
            break
        more.append(place)
        width = best
    unit = SPEED_UNIT_MPS[calibration.unit]
    marks = Counter(round(float(dial.indicated(place)) / unit) for place in more)
    return Finding(
        "more_checks",
        count=len(more),
        marks={f"{mark} {calibration.unit}": count for mark, count in sorted(marks.items())},
        now_percent=100 * now,
        then_percent=100 * width,
        wanted_percent=100 * wanted,
        teeth=teeth,
    )


def _made(calibration: Calibration) -> _Made:
    used = calibration.readings[calibration.readings["used"].to_numpy(bool)]
    at = calibration.reference_speed_mps
    shared = next((line.u_indicated_mps for line in calibration.budget if line.component == "shared_truth"), 0.0)
    speed, shown, u = (used[name].to_numpy(float) for name in ("ground_mps", "indicated_mps", "u_mps"))
    return _Made(speed, shown, u**2, shared / (at * float(calibration.dial.slope(at))))


def _widest(dial: Dial, at_mps: FloatArray) -> float:
    """Return the largest half width of the 95 % interval, as a part of the reading."""
    return float(np.max(dial.half_width(at_mps) / dial.indicated(at_mps)))


def _marks(true_mps: FloatArray, calibration: Calibration) -> list[float]:
    """Return the true speeds at the marks of the dial next to some speeds. [m/s]."""
    step = ROUND_SPEED[calibration.unit] * SPEED_UNIT_MPS[calibration.unit]
    marks = np.unique(np.round(calibration.indicated(true_mps) / step)) * step
    return [float(v) for v in calibration.dial.true_speed(marks)]
