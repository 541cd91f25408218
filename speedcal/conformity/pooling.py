"""Several drives of one state of a vehicle, taken together after a check that they agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np

from speedcal.calibration.dial.curve import driven_points, knots_for
from speedcal.calibration.dial.dial import Dial
from speedcal.calibration.judged.needle_belief import OF_LOGS, OF_NOTES, Belief, belief_of, believed_line, told_of_line
from speedcal.calibration.result import BudgetLine, Calibration
from speedcal.calibration.speed.ground_speed import SpeedSource
from speedcal.calibration.tuning.general import TIRE_STATE_U
from speedcal.errors import FitError
from speedcal.finding import Finding, Trust
from speedcal.interval import FloatArray, Interval

if TYPE_CHECKING:
    import pandas as pd

CONSISTENT = 0.05
"""Drives whose differences are less probable than this do not agree."""
_LEAST_SHARED_MPS = 1.0
"""Speeds that two drives must share to be compared there."""
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
    dial, spreads = _pooled_dial(calibrations, another_day=bool(findings))
    covariance = dial.knot_covariance
    dial = replace(dial, knot_covariance=covariance * widening)
    readings, ground = _joined(calibrations, dial)
    return replace(
        calibrations[0],
        dial=dial,
        clock_offset_s=None,
        odometer_factor=_odometer(calibrations),
        scatter_mps=_scatter_mps(calibrations, dial),
        needle_lag_s=max((c.needle_lag_s for c in calibrations if c.needle_lag_s is not None), default=None),
        speed_source=_source(calibrations),
        trust=_trust(calibrations, agree=not findings),
        readings=readings,
        ground=ground,
        steady_runs=sum(c.steady_runs for c in calibrations),
        budget=_budget(calibrations, spreads, covariance, dial),
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


def _scatter_mps(calibrations: Sequence[Calibration], dial: Dial) -> float:
    """Return how far the readings scatter about the pooled dial: about their own, and by what their own is from it.

    Not their residuals, in which a needle that lags is off whenever the speed changes; and by the information in them,
    so that coarse notes beside a log tell of no stranger.
    """
    count, square = [], []
    for c in calibrations:
        at = c.dial.used_mps
        count.append(len(at))
        square.append(c.scatter_mps**2 + float(np.mean((c.indicated(at) - dial.indicated(at)) ** 2)))
    told = np.array(count) / (np.array(square) + _LEAST_U_MPS**2)
    return float(np.sqrt(sum(count) / told.sum()))


def _source(calibrations: Sequence[Calibration]) -> SpeedSource:
    """Return the least of where the true speeds come from."""
    found = {c.speed_source for c in calibrations}
    return "checks" if "checks" in found else "positions" if "positions" in found else "recorded"


def consistency(calibrations: Sequence[Calibration]) -> tuple[list[Finding], float]:
    """Say which drives do not agree, and by how much their variances fall short (1 when they agree).

    Chi-square of the readings at both ends of the speeds that the drives share about their weighted mean, two degrees
    of freedom a drive beyond the first; the tires' state on another day adds to each drive's factor.
    """
    parts = _apart(calibrations)
    if _agree(parts):
        return [], 1.0
    middle = calibrations[0].reference_speed_mps or float(np.mean(calibrations[0].speed_range_mps))
    errors = [100 * (float(c.indicated(middle)) / middle - 1) for c in calibrations]
    odd = int(np.argmax(parts))
    others = [c for i, c in enumerate(calibrations) if i != odd]
    others_agree = len(others) > 1 and _agree(_apart(others))
    values = {
        "farthest": odd + 1,
        "speed_mps": middle,
        "others_agree": others_agree,
        "groups": [] if others_agree else _groups(calibrations, errors),
    }
    found = Finding("drives_disagree", errors_percent=errors, **values)
    return [found], max(sum(parts) / (len(calibrations) - 1), 1.0)


def _groups(calibrations: Sequence[Calibration], errors: Sequence[float]) -> list[list[int]]:
    """Return the numbers of the drives in two groups of which each agrees, parted where errors lie farthest apart.

    Empty where there are none: a drive by itself is no group.
    """
    order = np.argsort(errors)
    behind = 1 + int(np.argmax(np.diff(np.asarray(errors)[order])))
    groups = [sorted(part.tolist()) for part in (order[:behind], order[behind:])]
    if any(len(group) < 2 or not _agree(_apart([calibrations[i] for i in group])) for group in groups):
        return []
    return [[i + 1 for i in group] for group in sorted(groups)]


def _agree(parts: Sequence[float]) -> bool:
    """Tell whether drives agree, by how far each is from their mean."""
    from scipy.special import chdtrc

    return float(chdtrc(2 * (len(parts) - 1), sum(parts))) >= CONSISTENT


def _apart(calibrations: Sequence[Calibration]) -> list[float]:
    """Return how far each drive is from the mean of all, the square in units of its covariance."""
    low = max(c.speed_range_mps[0] for c in calibrations)
    high = min(c.speed_range_mps[1] for c in calibrations)
    if high - low < _LEAST_SHARED_MPS:
        low, high = min(c.speed_range_mps[0] for c in calibrations), max(c.speed_range_mps[1] for c in calibrations)
    ends = np.array([low, high])
    to_line = np.linalg.inv(np.column_stack([np.ones(2), ends]))
    told = []
    for c in calibrations:
        line, covariance = to_line @ c.dial.indicated(ends), to_line @ c.dial.covariance(ends, ends) @ to_line.T
        told.append(_told(line, covariance, belief_of(c), another_day=True)[:2])
    mean = np.linalg.solve(sum(weight for weight, _ in told), np.sum([moment for _, moment in told], axis=0))
    apart = [np.linalg.solve(weight, moment) - mean for weight, moment in told]
    return [float(x @ weight @ x) for x, (weight, _) in zip(apart, told, strict=True)]


def _pooled_dial(calibrations: Sequence[Calibration], *, another_day: bool) -> tuple[Dial, list[FloatArray]]:
    """Return the dial that all drives tell together, and what each contributes to its covariance at the knots.

    The lines are combined by what each drive tells of them, the belief about a line that is in every drive counted
    once. The deviations from the line are averaged at each speed by the inverse of their variances.
    """
    dials, beliefs = [c.dial for c in calibrations], [belief_of(c) for c in calibrations]
    used = driven_points(np.concatenate([dial.used_mps for dial in dials]))
    straight = all(dial.is_line for dial in dials)
    knots = np.array([0.0, max(2 * used[-1], 1.0)]) if straight else knots_for(used)
    along = np.column_stack([np.ones_like(knots), knots])
    bare = Dial(knots, knots, np.zeros((len(knots),) * 2), used)
    to_line = np.linalg.pinv(np.column_stack([np.ones_like(used), used])) @ bare.weights(used)
    rest = np.eye(len(knots)) - along @ to_line
    shown = [dial.indicated(knots) for dial in dials]
    known = [dial.covariance(knots, knots) for dial in dials]
    told = []
    for reading, covariance, belief in zip(shown, known, beliefs, strict=True):
        told.append(_told(to_line @ reading, to_line @ covariance @ to_line.T, belief, another_day=another_day))
    line, together = believed_line(
        sum((weight for weight, _, _ in told), np.zeros((2, 2))),
        np.sum([moment for _, moment, _ in told], axis=0),
        OF_NOTES if OF_NOTES in beliefs else OF_LOGS,
    )
    share = np.array([1 / (np.diag(rest @ covariance @ rest.T) + _LEAST_U_MPS**2) for covariance in known])
    share /= share.sum(axis=0)
    rows = [
        along @ together @ told_[2] @ to_line + part[:, None] * rest for told_, part in zip(told, share, strict=True)
    ]
    spreads = [row @ covariance @ row.T for row, covariance in zip(rows, known, strict=True)]
    lines = [to_line @ covariance @ to_line.T for covariance in known]
    counted = sum(
        (together @ b @ c @ b.T @ together for (_, _, b), c in zip(told, lines, strict=True)), np.zeros((2, 2))
    )
    covariance = sum(spreads, np.zeros_like(spreads[0])) + along @ (together - counted) @ along.T
    deviation = np.sum([part * (rest @ reading) for part, reading in zip(share, shown, strict=True)], axis=0)
    return (
        replace(
            bare,
            shown_mps=along @ line + deviation,
            knot_covariance=(covariance + covariance.T) / 2,
            shape="bent" if any(dial.shape == "bent" for dial in dials) else "straight",
        ),
        spreads,
    )


def _told(
    line: FloatArray, covariance: FloatArray, belief: Belief, *, another_day: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return what a drive itself tells: weight, weight times line, and how the latter goes with the line found.

    The belief, which is in what was found, is taken out. On another day the tires are in another state.
    """
    weight, moment = told_of_line(line, covariance, belief)
    found = np.asarray(np.linalg.pinv(covariance, hermitian=True), float)
    if not another_day:
        return weight, moment, found
    spread, day = np.linalg.inv(weight), np.array([0.0, line[1]])
    later = np.linalg.inv(spread + np.outer(day, day) * TIRE_STATE_U**2)
    return np.asarray(later), np.asarray(later @ spread @ moment), np.asarray(later @ spread @ found)


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
    if len(weak) < len(calibrations):
        return Trust("TRUSTED")
    shared = tuple(why for why in weak[0].reasons if all(why.code in other.codes for other in weak))
    return Trust("WEAK", shared or weak[0].reasons)  # what one drive alone was doubted for is not of them all


def _joined(calibrations: Sequence[Calibration], dial: Dial) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return the readings and the ground speeds of all drives; steady runs and pieces keep numbers of their own."""
    import pandas as pd

    if not any(len(c.readings) + len(c.ground) for c in calibrations):  # of a fleet, which keeps none
        return calibrations[0].readings, calibrations[0].ground
    readings, ground, runs, pieces = [], [], 0, 0
    for drive, c in enumerate(calibrations, start=1):
        run = c.readings["run"].to_numpy()
        speed = c.readings["ground_mps"].to_numpy(float)
        predicted = c.readings["predicted_mps"] + dial.indicated(speed) - c.dial.indicated(speed)  # as it was rounded
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
        sizes[key] = float(part.u_indicated(at)), part.line.u_factor
    total = sum(u**2 for u, _ in sizes.values()) or 1.0  # drives that are exact there share nothing
    lines = [BudgetLine(name, kind, u_factor, u, u**2 / total) for (name, kind), (u, u_factor) in sizes.items()]
    return tuple(sorted(lines, key=lambda line: -line.share))
