"""What every way of fitting a drive returns, whatever the readings were like."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.speed.tracking_receiver import Tracking
from speedcal.finding import Finding
from speedcal.interval import FloatArray

NO_SPEED = "no_speed"
UNUSED = "unusable"
NO_GROUND = "no_ground_speed"
TOO_SLOW = "too_slow"
WRONG = "wrong"
STOPPED = "at_stop"
APART = "apart"
DOWN = "needle_down"
SPARE = "spare"
UNMATCHED = "unmatched"


@dataclass(frozen=True, slots=True)
class RoughLog:
    """A log beside its drive, with the clock offset and the line that a finer fit starts from."""

    ground: GroundSpeed
    time_s: FloatArray
    """Of the readings on their own clock, in order, shape (n,)."""
    indicated_mps: FloatArray
    step_mps: float
    """Step the readings are rounded to."""
    tau_s: float
    """What to add to the clock of the readings."""
    offset_mps: float
    factor: float
    scatter_mps: float
    """Of one reading about the line."""


@dataclass(frozen=True, slots=True)
class StraightWindows:
    """Windows of some ten seconds on straight road, where the way is known better than any speed, shape (k,)."""

    time_s: FloatArray
    ground_mps: FloatArray
    """Mean of the true speed."""
    off_mps: FloatArray
    """By how much the dial showed more than it was found to show, as true speed."""
    wander_mps: float
    """How far windows stray beyond the noise of the positions at their ends, robust."""


@dataclass(frozen=True, slots=True)
class MeasuredLine:
    """The dial of a drive, and what each reading was found to be; arrays of shape (n,)."""

    dial: Dial
    clock_offset_s: float | None
    u_clock_offset_s: float
    scatter_mps: float
    """Standard deviation of one steady reading about the dial."""
    time_s: FloatArray
    """Moment of each reading on the GPS clock; NaN when unknown."""
    ground_mps: FloatArray
    """Ground speed then; NaN when there is none."""
    reason: tuple[str, ...]
    """Why each reading was left out; empty for those used."""
    time_share: float = 0.0
    """Part of the variance at the middle of the speeds that comes from not knowing the clock offset."""
    reasons: tuple[Finding, ...] = ()
    """What the fit itself found that costs trust."""
    findings: tuple[Finding, ...] = ()
    """What it found that does not."""
    reading_shift_mps: float = 0.0
    """What was added to every reading for how it was rounded."""
    habits: Mapping[str, FloatArray] = field(default_factory=dict)
    """Covariance at the dial's knots of what errs alike in all readings, by budget line; the dial has it in."""
    hangs_mps: FloatArray = field(default_factory=lambda: np.zeros(0))
    """How much more a pointer with play shows at each reading, empty where nothing tells it."""
    receiver_lag_s: float = 0.0
    """Time constant by which the recorded speed is smoothed."""
    tracking: Tracking | None = None
    """How the receiver follows speed and its change, where it overshoots."""
    needle_lag_s: float | None = None
    """Time constant with which the needle follows, 0 for one that follows at once; None where nothing tells it."""
    windows: StraightWindows | None = None
    """Where only the way between fixes is told."""
    log_doubt: float = 0.0
    """Log odds of all that explains notes better than one dial, one reader and one watch, against those."""
    log_belongs: float = np.inf
    """Log odds that notes belong to the track; infinite where nobody asks."""
    u_rounding_mps: float | None = None
    """Of a reading, as the fit found it to be rounded; None as it is written."""
    rests_mps: tuple[float, float] = (-np.inf, np.inf)
    """True speeds below and above which the fit found the needle to rest at an end of its scale."""

    @property
    def gain(self) -> float:
        """Error factor. [1]."""
        return self.dial.line.error_factor


def with_shared(line: MeasuredLine, covariances: Mapping[str, FloatArray]) -> MeasuredLine:
    """Return a fit with more that errs alike in all readings, as covariances at the knots of its dial."""
    if not covariances:
        return line
    dial = line.dial.shifted(sum(covariances.values()))
    return replace(line, dial=dial, habits={**line.habits, **covariances})
