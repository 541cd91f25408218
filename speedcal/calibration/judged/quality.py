"""What to make of a calibration: how far it can be trusted, and what is worth telling."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from speedcal.calibration.dial.measured import STOPPED, WRONG
from speedcal.calibration.judged.noticed import is_of_log, reads_as_gps, rests_on_one
from speedcal.calibration.noted.wrong_together import wrong_together
from speedcal.calibration.readings.clock_search import zone_near
from speedcal.calibration.readings.habits import PARALLAX
from speedcal.calibration.readings.odometer import OdometerFactor
from speedcal.calibration.readings.rows import DAY_S
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.recorded_speed import SPEED_AGAINST_POSITIONS
from speedcal.calibration.tuning import general as tuned
from speedcal.calibration.tuning.logs import SLOW_NEEDLE_S
from speedcal.finding import Finding, Trust, codes_of
from speedcal.interval import COVERAGE_FACTOR, median
from speedcal.logs.drive.readings import DIAL_UNIT_SEEN, Readings
from speedcal.units import MILE_M

_MOST_NAMED = 8


def judge(
    calibration: Calibration,
    readings: Readings,
    *,
    findings: tuple[Finding, ...],
    odometer: OdometerFactor | None,
    fit_reasons: tuple[Finding, ...] = (),
) -> Calibration:
    """Return the calibration with its word of trust and its findings.

    Parameters
    ----------
    findings
        What was noticed on the way here.
    odometer
        The odometer's own factor, for its difference from the pointer's.
    fit_reasons
        What the fit itself found that costs trust.
    """
    notes, logged = list(findings), is_of_log(calibration)
    narrow = _one_speed(calibration) or _few_speeds(calibration, logged=logged)
    for note in (
        _clock(calibration, readings),
        _wrong_readings(calibration),
        _stopped(calibration),
        _offset(calibration, narrow),
        _bent(calibration),
        _damped(calibration),
        reads_as_gps(calibration) if logged else None,
        None if logged else rests_on_one(calibration),
        None if odometer is None else _odometer(calibration, odometer),
    ):
        if note is not None:
            notes.append(note)
    calibration = replace(calibration, findings=tuple(notes))
    unit = _unit_suspected(calibration)  # in another unit readings scatter otherwise, too
    if narrow is not None and narrow.code == "one_speed":  # where nothing tells clock and lag, they need not settle
        fit_reasons = tuple(reason for reason in fit_reasons if reason.code != "fit_unsettled")
    reasons = (*((unit,) if unit else ()), *fit_reasons, *_reasons(calibration, narrow, logged=logged))
    return replace(calibration, trust=Trust("WEAK", reasons) if reasons else Trust("TRUSTED"))


def trust_in_checks(calibration: Calibration) -> Calibration:
    """Return a calibration from checks with its word of trust and its findings."""
    used = int(calibration.readings["used"].sum())
    notes = (_wrong_readings(calibration), _offset(calibration), _bent(calibration), rests_on_one(calibration))
    found = (
        _unit_suspected(calibration),
        Finding("few_checks", count=used) if used < tuned.FEW_RUNS else None,
        _one_speed(calibration),
        _many_wrong(calibration),
        _wide(calibration),
    )
    reasons = tuple(reason for reason in found if reason is not None)
    return replace(
        calibration,
        findings=(*calibration.findings, *(note for note in notes if note is not None)),
        trust=Trust("WEAK", reasons) if reasons else Trust("TRUSTED"),
    )


def _reasons(calibration: Calibration, narrow: Finding | None, *, logged: bool) -> tuple[Finding, ...]:
    """Return every reason against trust, the weightiest first."""
    found = (
        *(finding for finding in calibration.findings if finding.code == SPEED_AGAINST_POSITIONS),
        _few_readings(calibration),
        narrow,
        None if logged else wrong_together(calibration),
        _many_wrong(calibration),
        _wide(calibration),
    )
    return tuple(reason for reason in found if reason is not None)


def _few_readings(calibration: Calibration) -> Finding | None:
    used = int(calibration.readings["used"].sum())
    listed = calibration.clock_offset_s is None  # a mark is the mean of a hold, and a list has to prove its drive
    return Finding("few_readings", count=used) if used < tuned.FEW_READINGS and not listed else None


def _one_speed(calibration: Calibration) -> Finding | None:
    """Return that the speeds are too alike, with a slower and a faster one that would tell more."""
    (low, high), (slower, faster) = calibration.speed_range_mps, tuned.OTHER_SPEEDS
    if high >= tuned.NARROW_RANGE * low:
        return None
    beyond = {"below_mps": slower * low, "above_mps": faster * high}
    return Finding("one_speed", low_mps=low, high_mps=high, unit=calibration.unit, **beyond)


def _many_wrong(calibration: Calibration) -> Finding | None:
    table = calibration.readings
    used, wrong = int(table["used"].sum()), int((table["reason"].to_numpy() == WRONG).sum())
    if wrong > tuned.MANY_WRONG * (used + wrong):
        return Finding("many_wrong", wrong=wrong, total=used + wrong)
    return None


def _wide(calibration: Calibration) -> Finding | None:
    low, high = calibration.speed_range_mps
    middle = (low + high) / 2
    half = float(calibration.half_width(middle))
    if half > max(tuned.WIDE_SHARE * middle, tuned.WIDE_MPS):
        shares = {line.component: line.share for line in calibration.budget}
        steps = shares.get("resolution", 0.0) > tuned.STEPS_NOTICED and "wide_by_steps"
        code = "wide_by_view" if shares.get(PARALLAX, 0.0) > tuned.VIEW_NOTICED else steps or "wide_interval"
        return Finding(code, at_mps=middle, half_width_mps=half, unit=calibration.unit)
    return None


def _few_speeds(calibration: Calibration, *, logged: bool) -> Finding | None:
    """Return that readings were noted, or a log was held, at too few different speeds.

    A log that shows many speeds often needs none of them to be held. What a held speed wanders by is no other speed.
    """
    table = calibration.readings
    speed, run = (table[name].to_numpy()[table["used"].to_numpy()] for name in ("ground_mps", "run"))
    if logged:
        if (
            np.bincount((speed / tuned.SAME_LEVEL_MPS).astype(int)) >= tuned.DENSE_SHARE * len(speed)
        ).sum() >= tuned.DENSE_LEVELS:
            return None
        speed, run = speed[run >= 0], run[run >= 0]
    held = [median(speed[run == number]) for number in np.unique(run[run >= 0])]
    levels: list[float] = []
    for level in sorted([*held, *speed[run < 0].tolist()]):
        if not levels or level - levels[-1] > tuned.SAME_LEVEL_MPS:
            levels.append(level)
    return None if len(levels) >= tuned.FEW_RUNS else Finding("few_speeds", levels_mps=levels, unit=calibration.unit)


def _unit_suspected(calibration: Calibration) -> Finding | None:
    """Return a reason when the factor is about what mixing up miles and kilometres does, and nobody looked."""
    if DIAL_UNIT_SEEN in codes_of(calibration.findings):
        return None
    factor = calibration.error_factor.value
    for ratio, noted, high in (
        (MILE_M / 1000, "km/h", tuned.KILOMETRES_HIGH_TOLERANCE),
        (1000 / MILE_M, "mph", tuned.MILES_KILOMETRES_TOLERANCE),
    ):
        if -tuned.MILES_KILOMETRES_TOLERANCE < factor / ratio - 1 < high:
            return Finding("unit_suspected", factor=factor, noted=noted)
    return None


def _clock(calibration: Calibration, readings: Readings) -> Finding | None:
    """Tell when the clock of the readings is far from that of the track."""
    offset = calibration.clock_offset_s
    if offset is None or abs(offset.value) <= tuned.CLOCK_FAR_S:
        return None
    if readings.clock == "utc":
        return Finding("clock_far", clock_offset_s=offset.value)
    if readings.clock == "local":
        of_day = abs(offset.value + zone_near(offset.value)) > DAY_S / 4  # no zone explains it
        days = round(offset.value / DAY_S) if of_day else 0
        rest = offset.value - days * DAY_S
        zone = zone_near(rest)
        return Finding("clock_local", zone_s=zone, slow_s=rest + zone, days=days)
    return None


def _wrong_readings(calibration: Calibration) -> Finding | None:
    """Name the readings that were left out because they disagree."""
    table = calibration.readings
    wrong = table[table["reason"].to_numpy() == WRONG]
    if wrong.empty:
        return None
    first = wrong.head(_MOST_NAMED)
    rows = [
        {"line": int(line), "shown_mps": float(shown), "expected_mps": float(expected)}
        for line, shown, expected in zip(first["line"], first["indicated_mps"], first["predicted_mps"], strict=True)
    ]
    return Finding("wrong_readings", rows=rows, count=len(wrong), unit=calibration.unit)


def _stopped(calibration: Calibration) -> Finding | None:
    """Count the rows at which the needle lay at an end of its scale."""
    table = calibration.readings
    shown = table["indicated_mps"][table["reason"].to_numpy() == STOPPED]
    if shown.empty:
        return None
    return Finding("needle_at_stop", count=len(shown), at_mps=float(shown.mode().iloc[0]), unit=calibration.unit)


def _offset(calibration: Calibration, few: Finding | None = None) -> Finding | None:
    """Say what the drive tells about the needle offset, which no gear can cancel; a bent dial has no constant one.

    Notes at one or two speeds do not tell the needle from the gear, whatever a single slow one says; ``few`` says so.
    """
    if calibration.dial.shape == "bent":
        return None
    offset = calibration.offset_mps
    u = float(np.sqrt(calibration.covariance[0, 0]))
    if not offset.contains(0.0) and not few:
        return Finding("needle_offset", offset_mps=offset.value, u_mps=u, unit=calibration.unit)
    if u > tuned.OFFSET_UNKNOWN_MPS or few:
        return Finding("offset_assumed", u_mps=u, unit=calibration.unit)
    return None


def _bent(calibration: Calibration) -> Finding | None:
    """Say where a bent dial departs most from its line over the driven speeds."""
    if calibration.dial.shape != "bent":
        return None
    line = calibration.dial.line
    speeds = np.linspace(*calibration.speed_range_mps, 61)
    away = calibration.indicated(speeds) - line.offset_mps - line.error_factor * speeds
    worst = int(np.argmax(np.abs(away)))
    return Finding("bent_dial", at_mps=float(speeds[worst]), deviation_mps=float(away[worst]), unit=calibration.unit)


def _damped(calibration: Calibration) -> Finding | None:
    """Say that the needle follows the speed late, where a log tells it from a clock that is off.

    A row may be the mean since the one before, which spreads a moment as a lag of that time over the root of 12 does.
    """
    lag_s = calibration.needle_lag_s
    if lag_s is None:
        return None
    rows_s = median(np.diff(np.sort(calibration.readings["time_s"].dropna().to_numpy())))
    return Finding("needle_damped", lag_s=lag_s) if lag_s > np.hypot(SLOW_NEEDLE_S, rows_s / np.sqrt(12)) else None


def _odometer(calibration: Calibration, odometer: OdometerFactor) -> Finding | None:
    """Say that the odometer stands, or that it and the pointer are off by different factors, and how sure that is.

    An odometer is geared and a pointer is not: they are never averaged.
    """
    if not odometer.value:
        return Finding("odometer_stands_still", distance_m=odometer.over_m, unit=calibration.unit)
    difference = calibration.error_factor.value - odometer.value
    u = float(np.hypot(calibration.dial.line.u_factor, odometer.u))
    surprise = abs(difference) / u
    if surprise < COVERAGE_FACTOR:
        return None
    low, high = difference - COVERAGE_FACTOR * u, difference + COVERAGE_FACTOR * u
    return Finding(
        "odometer_differs",
        odometer_factor=odometer.value,
        error_factor=calibration.error_factor.value,
        difference=difference,
        low=low,
        high=high,
        probability=1 - math.erfc(surprise / math.sqrt(2)),
    )
