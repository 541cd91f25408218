"""What every way of fitting a drive returns, whatever the readings were like."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from speedcal.calibration.curve import driven_points
from speedcal.calibration.dial import Dial
from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.tracking_receiver import Tracking
from speedcal.finding import Finding
from speedcal.interval import FloatArray

NO_SPEED = "no_speed"
UNUSED = "unusable"
NO_GROUND = "no_ground_speed"
TOO_SLOW = "too_slow"
WRONG = "wrong"
STOPPED = "at_stop"
APART = "apart"
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
    """Offset and gain with their covariance, and what each reading was found to be; arrays of shape (n,)."""

    offset_mps: float
    gain: float
    covariance: FloatArray
    """Of offset [m/s] and gain [1], shape (2, 2)."""
    clock_offset_s: float | None
    u_clock_offset_s: float
    scatter_mps: float
    """Standard deviation of one steady reading about the line."""
    time_share: float
    """Part of the variance at the middle of the speeds that comes from not knowing the clock offset."""
    time_s: FloatArray
    """Moment of each reading on the GPS clock; NaN when unknown."""
    ground_mps: FloatArray
    """Ground speed then; NaN when there is none."""
    reason: tuple[str, ...]
    """Why each reading was left out; empty for those used."""
    degrees_of_freedom: float = float("inf")
    dial: Dial | None = None
    """The curve, from a fit that follows one."""
    reasons: tuple[Finding, ...] = ()
    """What the fit itself found that costs trust."""
    findings: tuple[Finding, ...] = ()
    """What it found that does not."""
    log_evidence: float = float("inf")
    """Log odds that the readings belong to the track; infinite where that is not in question."""
    reading_shift_mps: float = 0.0
    """What was added to every reading for how it was rounded."""
    habits: Mapping[str, FloatArray] = field(default_factory=dict)
    """Covariance at the dial's knots of what errs alike in all readings, by budget line; the dial has it in."""
    wrong_share: float = 0.0
    """Expected share of wrong readings."""
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
    rests_mps: tuple[float, float] = (-np.inf, np.inf)
    """True speeds below and above which the fit found the needle to rest at an end of its scale."""


def with_shared(line: MeasuredLine, covariances: Mapping[str, FloatArray]) -> MeasuredLine:
    """Return a fit with more that errs alike in all readings, as covariances at the knots of its dial."""
    if not covariances:
        return line
    dial = (line.dial or straight_dial(line)).shifted(sum(covariances.values()))
    return replace(line, dial=dial, covariance=dial.line.covariance, habits={**line.habits, **covariances})


def straight_dial(line: MeasuredLine) -> Dial:
    """Return the dial of a fit that knows only a line."""
    used = np.array([not reason for reason in line.reason]) & np.isfinite(line.ground_mps)
    speeds = line.ground_mps[used] if used.any() else np.array([10.0, 20.0])
    return Dial.straight(
        line.offset_mps,
        line.gain,
        line.covariance,
        used_mps=driven_points(speeds),
        degrees_of_freedom=line.degrees_of_freedom,
    )


def told_by_dial(
    dial: Dial,
    *,
    clock_offset_s: float,
    u_clock_offset_s: float,
    scatter_mps: float,
    time_s: FloatArray,
    ground_mps: FloatArray,
    reason: NDArray[np.object_] | NDArray[np.str_],
    reasons: tuple[Finding, ...] = (),
    needle_lag_s: float | None = None,
    receiver_lag_s: float = 0.0,
    tracking: Tracking | None = None,
    hangs_mps: FloatArray | None = None,
    windows: StraightWindows | None = None,
) -> MeasuredLine:
    """Return what a fit that follows a curve found; the line is that of the dial."""
    line = dial.line
    return MeasuredLine(
        offset_mps=line.offset_mps,
        gain=line.error_factor,
        covariance=line.covariance,
        degrees_of_freedom=dial.degrees_of_freedom,
        clock_offset_s=clock_offset_s,
        u_clock_offset_s=u_clock_offset_s,
        scatter_mps=scatter_mps,
        time_share=0.0,
        time_s=time_s,
        ground_mps=ground_mps,
        reason=tuple(reason.tolist()),
        dial=dial,
        reasons=reasons,
        needle_lag_s=needle_lag_s,
        receiver_lag_s=receiver_lag_s,
        tracking=tracking,
        hangs_mps=np.zeros(0) if hangs_mps is None else hangs_mps,
        windows=windows,
    )
