"""Several drives of one state of a vehicle, taken together after a check that they agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from speedcal.calibration.curve import deviation_covariance, driven_points, knots_for
from speedcal.calibration.dial import Dial
from speedcal.calibration.result import BudgetLine, Calibration
from speedcal.calibration.tuning import (
    CURVE_SIZES_MPS,
    FACTOR_PRIOR_U,
    OFFSET_PRIOR_MPS,
    STRAIGHT_SHARE,
    TIRE_STATE_U,
)
from speedcal.errors import FitError
from speedcal.finding import Finding, Trust
from speedcal.interval import FloatArray, Interval

if TYPE_CHECKING:
    import pandas as pd

CONSISTENT = 0.05
"""Drives whose differences are less probable than this do not agree."""
_POINTS = 7
"""Speeds at which a dial is asked what its drive told."""
_LEAST_SHARED_MPS = 1.0
_LEAST_U_MPS = 1e-4
"""Added to what is known at each speed, so that dials without uncertainty can be pooled. [m/s]"""


def pool(calibrations: Sequence[Calibration]) -> Calibration:
    """Combine drives of the same vehicle in the same state into one calibration.

    Dials are weighted by what each drive itself tells, over the speeds it was driven at; what is believed of any
    dial before a drive, which is in every one of them, is counted once. Drives that differ by more than their
    uncertainties and the state of the tires from day to day allow are named; that state then counts in the weights,
    and the covariance is widened by the Birge ratio with all of the disagreement charged to one quantity: two drives
    far apart give an interval that holds both.

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
        raise FitError("no_drive_to_pool")
    if len(calibrations) == 1:
        return calibrations[0]
    findings, widening = consistency(calibrations)
    belief = _Belief.about([c.dial for c in calibrations])
    told = [belief.told_by(c.dial, another_day=bool(findings)) for c in calibrations]
    covariance = np.linalg.inv(np.linalg.inv(belief.covariance) + sum(weight for weight, _ in told))
    shown = belief.mean_mps + covariance @ np.sum([moment for _, moment in told], axis=0)
    dial = replace(
        belief.dial,
        shown_mps=shown,
        knot_covariance=covariance * widening,
        degrees_of_freedom=min(sum(c.dial.degrees_of_freedom for c in calibrations), 1e6),
        shape="bent" if any(c.dial.shape == "bent" for c in calibrations) else "straight",
    )
    readings, ground = _joined(calibrations, dial)
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
        budget=_budget(calibrations, [covariance @ weight @ covariance for weight, _ in told], covariance, dial),
        reference_speed_mps=calibrations[0].reference_speed_mps,
        findings=(
            Finding("pooled", count=len(calibrations)),
            *findings,
            *(
                Finding(f.code, **{**f.values, "of_drive": i})
                for i, c in enumerate(calibrations, start=1)
                for f in c.findings
            ),
        ),
        sources=tuple(source for c in calibrations for source in c.sources),
    )


def consistency(calibrations: Sequence[Calibration]) -> tuple[list[Finding], float]:
    """Say which drives do not agree, and by how much their variances fall short (1 when they agree).

    Chi-square of the readings at both ends of the speeds that the drives share about their weighted mean, two degrees
    of freedom a drive beyond the first; the tires' state on another day adds to each drive's factor.
    """
    from scipy import stats

    belief = _Belief.about([c.dial for c in calibrations])
    low = max(c.speed_range_mps[0] for c in calibrations)
    high = min(c.speed_range_mps[1] for c in calibrations)
    if high - low < _LEAST_SHARED_MPS:
        low, high = belief.dial.driven_mps
    told = [belief.told_at(c.dial, np.array([low, high]), another_day=True) for c in calibrations]
    mean = np.linalg.solve(sum(weight for weight, _ in told), np.sum([moment for _, moment in told], axis=0))
    apart = [np.linalg.solve(weight, moment) - mean for weight, moment in told]
    parts = [float(x @ weight @ x) for x, (weight, _) in zip(apart, told, strict=True)]
    freedom, total = 2 * (len(calibrations) - 1), sum(parts)
    if stats.chi2.sf(total, freedom) >= CONSISTENT:
        return [], 1.0
    middle = calibrations[0].reference_speed_mps or float(np.mean(calibrations[0].speed_range_mps))
    errors = [100 * (float(c.indicated(middle)) / middle - 1) for c in calibrations]
    found = Finding("drives_disagree", errors_percent=errors, farthest=int(np.argmax(parts)) + 1, speed_mps=middle)
    return [found], max(total / (len(calibrations) - 1), 1.0)


@dataclass(frozen=True, eq=False)
class _Belief:
    """What is believed of a dial before any drive: the prior of the analysis, on knots that serve all drives."""

    dial: Dial
    """Its knots, with the prior mean and covariance."""

    @classmethod
    def about(cls, dials: Sequence[Dial]) -> _Belief:
        """Return the belief about these dials; where all of them know a line only, about a line."""
        used = driven_points(np.concatenate([dial.used_mps for dial in dials]))
        straight = all(dial.is_line for dial in dials)
        knots = np.array([0.0, max(2 * used[-1], 1.0)]) if straight else knots_for(used)
        design = np.column_stack([np.ones_like(knots), knots])
        covariance = design @ np.diag([OFFSET_PRIOR_MPS**2, FACTOR_PRIOR_U**2]) @ design.T
        if not straight:
            share = (1 - STRAIGHT_SHARE) * float(np.mean(np.square(CURVE_SIZES_MPS)))
            covariance = covariance + share * deviation_covariance(knots, knots, used)
            covariance = covariance + np.eye(len(knots)) * _LEAST_U_MPS**2
        return cls(Dial(knots, knots, covariance, used))

    @property
    def mean_mps(self) -> FloatArray:
        """What the dial is believed to show at the knots. [m/s]."""
        return self.dial.shown_mps

    @property
    def covariance(self) -> FloatArray:
        """Of that. [m2/s2]."""
        return self.dial.knot_covariance

    def told_by(self, dial: Dial, *, another_day: bool) -> tuple[FloatArray, FloatArray]:
        """Return what a drive itself tells of the knots: weight, and weight times departure from the belief."""
        count = 2 if dial.is_line else _POINTS
        speeds = np.linspace(*_ends(dial), count)
        weight, moment = self.told_at(dial, speeds, another_day=another_day)
        rows = self.dial.weights(speeds)
        return rows.T @ weight @ rows, rows.T @ (moment - weight @ speeds)

    def told_at(self, dial: Dial, speeds_mps: FloatArray, *, another_day: bool) -> tuple[FloatArray, FloatArray]:
        """Return what a drive itself tells of the readings at some speeds: weight, and weight times reading.

        The belief, which is in the dial, is taken out of it: where nothing narrower came out, nothing was told.
        """
        nugget = np.eye(len(speeds_mps)) * _LEAST_U_MPS**2
        root = np.linalg.cholesky(self.dial.covariance(speeds_mps, speeds_mps) + nugget)
        inverse = np.linalg.inv(root)
        known = dial.covariance(speeds_mps, speeds_mps) + nugget
        left, vectors = np.linalg.eigh(inverse @ known @ inverse.T)
        left = np.clip(left, 1e-15, 1 - 1e-9)
        back = vectors.T @ inverse
        weight = back.T @ ((1 / left - 1)[:, None] * back)
        moment = back.T @ (back @ (dial.indicated(speeds_mps) - speeds_mps) / left) + weight @ speeds_mps
        if another_day:
            moved = TIRE_STATE_U * speeds_mps * dial.slope(speeds_mps)
            spread = np.linalg.inv(weight)
            reading = spread @ moment
            weight = np.linalg.inv(spread + np.outer(moved, moved))
            moment = weight @ reading
        return weight, moment


def _ends(dial: Dial) -> tuple[float, float]:
    low, high = dial.driven_mps
    return (low, high) if high - low > _LEAST_SHARED_MPS else (low - _LEAST_SHARED_MPS, high + _LEAST_SHARED_MPS)


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


def _joined(calibrations: Sequence[Calibration], dial: Dial) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the readings and the ground speeds of all drives; steady runs and pieces keep numbers of their own."""
    import pandas as pd

    readings, ground, runs, pieces = [], [], 0, 0
    for drive, c in enumerate(calibrations, start=1):
        run = c.readings["run"].to_numpy()
        predicted = dial.indicated(c.readings["ground_mps"].to_numpy(float))
        residual = c.readings["indicated_mps"] - predicted
        own = c.readings.assign(predicted_mps=predicted, residual_mps=residual, drive=drive)
        readings.append(own.assign(run=np.where(run >= 0, run + runs, -1)))
        ground.append(c.ground.assign(piece=c.ground["piece"] + pieces))
        runs += int(run.max(initial=-1)) + 1
        pieces += int(c.ground["piece"].max()) + 1 if len(c.ground) else 0
    return pd.concat(readings, ignore_index=True), pd.concat(ground, ignore_index=True)


def _budget(
    calibrations: Sequence[Calibration], spreads: Sequence[FloatArray], covariance: FloatArray, dial: Dial
) -> tuple[BudgetLine, ...]:
    """Return what each component of the drives, and their disagreement, contributes at the first's reference speed."""
    parts: dict[tuple[str, Literal["A", "B"]], FloatArray] = {}
    for c, spread in zip(calibrations, spreads, strict=True):
        own = [((line.component, line.evaluation), line.share) for line in c.budget if line.share > 0]
        for key, share in own or [(("drives", "A"), 1.0)]:
            parts[key] = parts.get(key, 0.0) + share * spread
    disagreement = dial.knot_covariance - covariance
    if disagreement.any():
        parts["disagreement", "A"] = disagreement
    at = calibrations[0].reference_speed_mps
    sizes = {}
    for key, spread in parts.items():
        part = replace(dial, knot_covariance=spread)
        sizes[key] = float(part.u_indicated(at)), float(np.sqrt(max(part.line.covariance[1, 1], 0.0)))
    total = sum(u**2 for u, _ in sizes.values())
    lines = [BudgetLine(name, kind, u_factor, u, u**2 / total) for (name, kind), (u, u_factor) in sizes.items()]
    return tuple(sorted(lines, key=lambda line: -line.share))
