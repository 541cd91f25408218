"""From checks to a calibration: a few pairs of reading and truth, each with an uncertainty of its own."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from speedcal.calibration.checked.check_dial import Pairs, dial_of_checks
from speedcal.calibration.checked.wrong_checks import right_checks
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.dial.measured import WRONG
from speedcal.calibration.judged.quality import trust_in_checks
from speedcal.calibration.result import BudgetLine, Calibration
from speedcal.calibration.tuning import general as tuned
from speedcal.errors import FitError, check_kind
from speedcal.finding import Finding, Trust
from speedcal.interval import BoolArray, FloatArray, IntArray, Interval
from speedcal.logs.checks.checks import Checks
from speedcal.logs.limits import FASTEST_MPS
from speedcal.units import SPEED_UNIT_MPS, DisplayUnit, check_display_unit, display_unit_of

if TYPE_CHECKING:
    import pandas as pd

_MARKS: dict[DisplayUnit, float] = {"mph": 5.0, "km/h": 10.0}
"""Numbers that stand on a scale are multiples of these."""

USUAL_SPEEDS: dict[DisplayUnit, tuple[float, ...]] = {
    "mph": (30.0, 40.0, 50.0, 60.0, 70.0),
    "km/h": (50.0, 70.0, 90.0, 110.0),
}
"""Speeds that matter when nobody names any and the dial was not driven against a truth."""


def calibrate_checks(checks: Checks, *, unit: DisplayUnit | None = None) -> Calibration:
    """Find out how an instrument reads from checks whose truth is known otherwise.

    Every pair weighs by its own uncertainty: the rounding of the dial, how well the speed was held, and the truth's.
    What the truths share (the length of the mile) is carried once and never averaged away.

    Parameters
    ----------
    checks
        At least two rows with dial and true speed.
    unit
        Unit for people; None takes that of the checks.

    Raises
    ------
    FitError
        Fewer than two rows check the dial, or it would be further out than tires and gears can put it.
    ValueError
        ``unit`` is another.

    References
    ----------
    .. [1] JCGM 100:2008, 5.2 (correlated inputs) and F.1.2.3 (errors that observations share).

    Examples
    --------
    Held at 30 and at 60 mph, a measured mile each way; a stopwatch read to half a second.

    >>> import numpy as np
    >>> import speedcal
    >>> from speedcal.logs.checks.checks import Checks
    >>> mile_m, mph = 1609.344, 0.44704
    >>> seconds = np.array([112.5, 113.0, 57.0, 56.5])
    >>> true_mps, none = mile_m / seconds, np.full(4, np.nan)
    >>> checks = Checks(
    ...     dial_mps=np.array([35.0, 35.0, 67.0, 67.0]) * mph,
    ...     true_mps=true_mps,
    ...     u_true_mps=true_mps * 0.3 / seconds,
    ...     odometer_m=none,
    ...     distance_m=none,
    ...     line=np.arange(1, 5),
    ...     dial_step_mps=mph,
    ...     odometer_step_m=np.nan,
    ...     u_common=0.001,
    ...     speed_unit="mph",
    ... )
    >>> result = speedcal.calibrate_checks(checks)
    >>> low, high = (result.indicated(60 * mph) + sign * result.half_width(60 * mph) for sign in (-1, 1))
    >>> bool(low < 63.5 * mph < high)  # on the straight line from 31.9 (35 shown) to 63.4 mph (67 shown)
    True
    >>> result.trust.codes  # a dial may bend between two marks 32 mph apart
    ['wide_interval']
    """
    check_kind("checks", checks, Checks)
    check_display_unit(unit)
    rows = np.flatnonzero(checks.has_speed)
    odometer = _odometer(checks)
    if not len(rows) and odometer is not None:
        return _by_odometer(checks, odometer, unit)
    if len(rows) < tuned.FEWEST_CHECKS:
        raise FitError("too_few_checks", source=checks.source, count=len(rows))
    speed, shown = checks.true_mps[rows], checks.dial_mps[rows]
    if speed.max() > FASTEST_MPS:
        raise FitError("impossible_checks", source=checks.source, factor=float(np.min(shown / speed)))
    pairs = _pairs(checks, rows)
    right = right_checks(pairs)
    dial, size = dial_of_checks(pairs.only(np.flatnonzero(right)))
    dial = dial.geared(1.0, u_ln_factor=checks.u_common).shifted(tuned.CHECK_HABIT_MPS**2)
    ratio = float(np.median(shown[right] / speed[right]))
    if not tuned.SMALLEST_FACTOR < ratio < tuned.LARGEST_FACTOR:
        raise FitError("impossible_checks", source=checks.source, factor=ratio)
    residual = shown - dial.indicated(speed)
    low, high = dial.driven_mps
    reference = (low + high) / 2
    calibration = Calibration(
        unit=unit or display_unit_of(checks.speed_unit),
        dial=dial,
        clock_offset_s=None,
        odometer_factor=odometer,
        scatter_mps=float(np.sqrt(np.mean(residual[right] ** 2))),
        speed_source="checks",
        trust=Trust("TRUSTED"),
        readings=_table(checks, dial, rows, right, size * np.sqrt(np.diag(pairs.noise))),
        ground=_no_ground(),
        steady_runs=int(right.sum()),
        budget=_budget(checks, dial, reference, pairs.only(np.flatnonzero(right)), size),
        reference_speed_mps=reference,
        findings=checks.findings,
        sources=((checks.source, checks.digest),),
    )
    return trust_in_checks(calibration)


def _by_odometer(checks: Checks, odometer: Interval, unit: DisplayUnit | None) -> Calibration:
    """Return what the odometer alone tells of the dial: one drive turns both, and the dial may be out by itself.

    Raises
    ------
    FitError
        The odometer would be further out than tires and gears can put it.
    """
    if not tuned.SMALLEST_FACTOR < odometer.value < tuned.LARGEST_FACTOR:
        raise FitError("impossible_checks", source=checks.source, factor=odometer.value)
    shown = unit or display_unit_of(checks.speed_unit)
    speeds = np.array(USUAL_SPEEDS[shown]) * SPEED_UNIT_MPS[shown]
    u = float(np.hypot(odometer.half_width / 2, tuned.UNCHECKED_DIAL_U * odometer.value))
    dial = Dial.straight(0.0, odometer.value, np.diag([tuned.OFFSET_PRIOR_MPS**2, u**2]), used_mps=speeds)
    rows = np.empty(0, np.int64)
    return Calibration(
        unit=shown,
        dial=dial,
        clock_offset_s=None,
        odometer_factor=odometer,
        scatter_mps=0.0,
        speed_source="checks",
        trust=Trust("WEAK", (Finding("dial_not_checked", odometer_factor=odometer),)),
        readings=_table(checks, dial, rows, np.empty(0, bool), np.empty(0)),
        ground=_no_ground(),
        steady_runs=0,
        reference_speed_mps=float(np.mean(speeds)),
        findings=checks.findings,
        sources=((checks.source, checks.digest),),
    )


def _pairs(checks: Checks, rows: IntArray) -> Pairs:
    """Return readings and truths with what they usually err by.

    Numbers that all stand on the scale of a dial were held there by the needle; others were read, and rounded.
    """
    shown, u_true = checks.dial_mps[rows], checks.u_true_mps[rows]
    together = np.eye(len(rows)) if checks.correlation is None else checks.correlation[np.ix_(rows, rows)]
    mark = _MARKS[display_unit_of(checks.speed_unit)] * SPEED_UNIT_MPS[display_unit_of(checks.speed_unit)]
    held = bool(np.allclose(shown / mark, np.round(shown / mark), atol=1e-6))
    eye = checks.dial_step_mps**2 / 12 if held else 0.0
    return Pairs(
        true_mps=checks.true_mps[rows],
        shown_mps=shown,
        own=np.full(len(rows), tuned.CHECK_HOLD_MPS**2 + eye),
        truth=np.outer(u_true, u_true) * together,
        step_mps=np.full(len(rows), 0.0 if held else checks.dial_step_mps),
        cut_mps=np.zeros(len(rows)) if checks.cut_mps is None else checks.cut_mps[rows],
        stretch=np.arange(len(rows)) if checks.stretch is None else checks.stretch[rows],
    )


def _odometer(checks: Checks) -> Interval | None:
    """Return the counted over the true distance of all rows that have both, weighted by distance."""
    known = np.isfinite(checks.odometer_m) & np.isfinite(checks.distance_m) & (checks.distance_m > 0)
    if not known.any():
        return None
    true = checks.distance_m[known]
    factor = float(checks.odometer_m[known].sum() / true.sum())
    step = 0.0 if np.isnan(checks.odometer_step_m) else checks.odometer_step_m
    u = float(np.hypot(tuned.ODOMETER_STEPS_U * step * np.sqrt(len(true)) / true.sum(), factor * checks.u_common))
    return Interval.around(factor, 2.0 * u)


def _budget(checks: Checks, dial: Dial, reference: float, pairs: Pairs, size: float) -> tuple[BudgetLine, ...]:
    """Return what rounding, holding the speed, the truths by themselves and what they share contribute."""
    total = float(dial.u_indicated(reference)) ** 2
    shared = (checks.u_common * reference * float(dial.slope(reference))) ** 2
    rounding = float(np.mean(pairs.step_mps**2 + 4 * pairs.cut_mps**2)) / 12
    own = {
        "resolution": rounding,
        "holding": size**2 * float(np.mean(pairs.own)),
        "true_speed": size**2 * float(np.mean(np.diag(pairs.truth))),
    }
    parts = {name: (total - shared) * part / sum(own.values()) for name, part in own.items()} | {"shared_truth": shared}
    variance_factor = float(dial.line.covariance[1, 1])
    lines = [
        BudgetLine(name, "B", float(np.sqrt(part / total * variance_factor)), float(np.sqrt(part)), part / total)
        for name, part in parts.items()
    ]
    return tuple(sorted(lines, key=lambda entry: -entry.share))


def _table(checks: Checks, dial: Dial, rows: IntArray, right: BoolArray, u_mps: FloatArray) -> pd.DataFrame:
    """Return what became of each check, as :attr:`Calibration.readings` documents it."""
    import pandas as pd

    count = len(checks)
    used, reason = np.zeros(count, bool), np.full(count, "no_speed", dtype=object)
    used[rows] = right
    reason[rows] = np.where(right, "", WRONG)
    u = np.full(count, np.nan)
    u[rows] = u_mps
    predicted = dial.indicated(np.nan_to_num(checks.true_mps))
    return pd.DataFrame(
        {
            "line": checks.line,
            "time_s": np.full(count, np.nan),
            "ground_mps": checks.true_mps,
            "indicated_mps": checks.dial_mps,
            "predicted_mps": np.where(checks.has_speed, predicted, np.nan),
            "residual_mps": checks.dial_mps - predicted,
            "u_mps": u,
            "run": np.where(used, np.arange(count), -1),
            "used": used,
            "reason": reason,
        }
    )


def _no_ground() -> pd.DataFrame:
    import pandas as pd

    return pd.DataFrame({"time_s": np.empty(0), "speed_mps": np.empty(0), "piece": np.empty(0, int)})
