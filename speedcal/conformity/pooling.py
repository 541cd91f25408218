"""Several drives of one state of a vehicle, taken together after a check that they agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from speedcal.calibration.clock_search import log_offset_prior
from speedcal.calibration.curve import driven_points
from speedcal.calibration.dial import Dial
from speedcal.calibration.result import BudgetLine, Calibration
from speedcal.calibration.tuning import TIRE_STATE_U
from speedcal.errors import FitError
from speedcal.finding import Finding, Trust
from speedcal.interval import FloatArray, Interval

if TYPE_CHECKING:
    import pandas as pd

CONSISTENT = 0.05
"""Drives whose differences are less probable than this do not agree."""


def pool(calibrations: Sequence[Calibration]) -> Calibration:
    """Combine drives of the same vehicle in the same state into one calibration.

    Lines are weighted by the inverse of their joint covariances; the prior on the needle offset, which every drive
    carries, is counted once. Drives that differ by more than their uncertainties and the state of the tires from day
    to day allow are named; that state then counts in the weights, and the covariance is widened by the Birge ratio
    with all of the disagreement charged to one quantity: two drives far apart give an interval that holds both.

    Parameters
    ----------
    calibrations
        At least one.

    Raises
    ------
    FitError
        There is no drive.

    References
    ----------
    .. [1] R. T. Birge, "The calculation of errors by the method of least squares," Phys. Rev., vol. 40, p. 207, 1932.
    """
    if not calibrations:
        raise FitError("there is no drive to pool", remedy="Give at least one drive")
    if len(calibrations) == 1:
        return calibrations[0]
    findings, widening = consistency(calibrations)
    told = [_told(c) for c in calibrations] if not findings else [(w, w @ x) for w, x in _told_of_a_day(calibrations)]
    weights = [weight for weight, _ in told]
    total, moment = sum(weights, start=np.zeros((2, 2))), sum((m for _, m in told), start=np.zeros(2))
    line = np.mean([[c.offset_mps.value, c.error_factor.value] for c in calibrations], axis=0)
    covariance: FloatArray = np.eye(2)
    for _ in range(20):
        covariance = np.asarray(np.linalg.inv(total + np.diag([_prior_weight(float(line[0])), 0.0])))
        line = covariance @ moment
    covariance = np.asarray(covariance * widening)
    dial = Dial.straight(
        float(line[0]),
        float(line[1]),
        covariance,
        used_mps=driven_points(np.concatenate([c.dial.used_mps for c in calibrations])),
        degrees_of_freedom=min(sum(c.dial.degrees_of_freedom for c in calibrations), 1e6),
    )
    readings, ground = _joined(calibrations, line)
    used = readings["used"].to_numpy(bool)
    residual = readings["residual_mps"].to_numpy(float)[used]
    return replace(
        calibrations[0],
        dial=dial,
        clock_offset_s=None,
        odometer_factor=_odometer(calibrations),
        scatter_mps=float(np.sqrt(np.mean(residual**2))) if residual.any() else calibrations[0].scatter_mps,
        speed_source="recorded" if all(c.speed_source == "recorded" for c in calibrations) else "positions",
        trust=_trust(calibrations, agree=not findings),
        readings=readings,
        ground=ground,
        steady_runs=sum(c.steady_runs for c in calibrations),
        budget=_budget(calibrations, weights, covariance / widening, widening),
        reference_speed_mps=calibrations[0].reference_speed_mps,
        findings=(
            Finding("pooled", f"{len(calibrations)} drives are pooled."),
            *findings,
            *(Finding(f.code, f"drive {i}: {f.text}") for i, c in enumerate(calibrations, start=1) for f in c.findings),
        ),
        sources=tuple(source for c in calibrations for source in c.sources),
    )


def consistency(calibrations: Sequence[Calibration]) -> tuple[list[Finding], float]:
    """Say which drives do not agree, and by how much their variances fall short (1 when they agree).

    Chi-square of the lines about their weighted mean, two degrees of freedom a drive beyond the first; the tires' state
    on another day adds to each drive's factor.
    """
    from scipy import stats

    told = _told_of_a_day(calibrations)
    mean = np.linalg.inv(sum((w for w, _ in told), start=np.zeros((2, 2)))) @ sum(
        (w @ x for w, x in told), start=np.zeros(2)
    )
    parts = [float((x - mean) @ w @ (x - mean)) for w, x in told]
    freedom = 2 * (len(calibrations) - 1)
    total = sum(parts)
    if stats.chi2.sf(total, freedom) >= CONSISTENT:
        return [], 1.0
    worst = int(np.argmax(parts)) + 1
    middle = calibrations[0].reference_speed_mps or float(np.mean(calibrations[0].speed_range_mps))
    percent = [100 * (float(c.indicated(middle)) / middle - 1) for c in calibrations]
    shown = ", ".join(f"drive {i} {value:+.1f} %" for i, value in enumerate(percent, start=1))
    text = (
        f"The drives do not agree ({shown}); drive {worst} lies farthest out. Between them something changed, or one "
        "of them is not of this vehicle in this state. The interval is widened accordingly."
    )
    return [Finding("drives_disagree", text)], max(total / (len(calibrations) - 1), 1.0)


def _told_of_a_day(calibrations: Sequence[Calibration]) -> list[tuple[FloatArray, FloatArray]]:
    """Return the weight and the line of each drive, the tires' state on its day being part of what is not known."""
    told = []
    for c in calibrations:
        weight, moment = _told(c)
        spread = np.linalg.inv(weight)
        day = np.diag([0.0, (TIRE_STATE_U * c.error_factor.value) ** 2])
        told.append((np.linalg.inv(spread + day), spread @ moment))
    return told


def _told(calibration: Calibration) -> tuple[FloatArray, FloatArray]:
    """Return what a drive itself tells of (offset, factor), as information and information times estimate.

    The prior on the offset, mean zero, is in the covariance of every drive and is taken out here. A drive that tells
    nothing of the offset leaves only the prior there; rounding must not make its information negative.
    """
    floor = np.diag([1e-12, 1e-16])
    information = np.linalg.inv(np.asarray(calibration.covariance, float) + floor)
    moment = information @ [calibration.offset_mps.value, calibration.error_factor.value]
    information[0, 0] -= _prior_weight(calibration.offset_mps.value)
    values, vectors = np.linalg.eigh(information)
    return np.asarray((vectors * np.maximum(values, 1e-3)) @ vectors.T), np.asarray(moment)


def _prior_weight(offset_mps: float) -> float:
    """Return the weight of the prior as an observation of offset zero: minus slope of its log density over offset."""
    at, h = max(abs(offset_mps), 1e-3), 1e-4
    density = log_offset_prior(np.array([at - h, at + h]))
    return float(density[0] - density[1]) / (2 * h * at)


def _odometer(calibrations: Sequence[Calibration]) -> Interval | None:
    known = [(c.odometer_factor, c.odometer_factor.half_width / 2) for c in calibrations if c.odometer_factor]
    if not known:
        return None
    weights = np.array([1 / max(u, 1e-9) ** 2 for _, u in known])
    value = float(np.average([factor.value for factor, _ in known], weights=weights))
    return Interval.around(value, 2 / float(np.sqrt(weights.sum())))


def _trust(calibrations: Sequence[Calibration], *, agree: bool) -> Trust:
    if not agree:
        return Trust("WEAK", (Finding("pooled_disagree"),))
    weak = [c.trust for c in calibrations if c.trust.word == "WEAK"]
    return weak[0] if len(weak) == len(calibrations) else Trust("TRUSTED")


def _joined(calibrations: Sequence[Calibration], line: FloatArray) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the readings and the ground speeds of all drives; steady runs and pieces keep numbers of their own."""
    import pandas as pd

    readings, ground, runs, pieces = [], [], 0, 0
    for drive, c in enumerate(calibrations, start=1):
        run = c.readings["run"].to_numpy()
        predicted = line[0] + line[1] * c.readings["ground_mps"]
        residual = c.readings["indicated_mps"] - predicted
        own = c.readings.assign(predicted_mps=predicted, residual_mps=residual, drive=drive)
        readings.append(own.assign(run=np.where(run >= 0, run + runs, -1)))
        ground.append(c.ground.assign(piece=c.ground["piece"] + pieces))
        runs += int(run.max(initial=-1)) + 1
        pieces += int(c.ground["piece"].max()) + 1 if len(c.ground) else 0
    return pd.concat(readings, ignore_index=True), pd.concat(ground, ignore_index=True)


def _budget(
    calibrations: Sequence[Calibration], weights: list[FloatArray], covariance: FloatArray, widening: float
) -> tuple[BudgetLine, ...]:
    """Return what each component of the drives, and their disagreement, contributes at the first's reference speed."""
    row = np.array([1.0, calibrations[0].reference_speed_mps])
    spread = [(covariance @ w @ covariance) for w in weights]
    parts: dict[tuple[str, Literal["A", "B"]], FloatArray] = {}
    for i, (c, s) in enumerate(zip(calibrations, spread, strict=True), start=1):
        own = [((line.component, line.evaluation), line.share) for line in c.budget if line.share > 0]
        for key, share in own or [((f"drive {i}", "A"), 1.0)]:
            parts[key] = parts.get(key, 0.0) + share * s
    if widening > 1:
        parts["disagreement of the drives", "A"] = covariance * (widening - 1)
    total = float(sum(row @ s @ row for s in parts.values()))
    lines = [
        BudgetLine(
            name, kind, float(np.sqrt(max(s[1, 1], 0.0))), float(np.sqrt(row @ s @ row)), float(row @ s @ row) / total
        )
        for (name, kind), s in parts.items()
    ]
    return tuple(sorted(lines, key=lambda line: -line.share))
