"""What to make of a calibration: how far it can be trusted, what is worth telling, and when none should be given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.errors import FitError
from speedcal.logs.model import Readings
from speedcal.measure.ground import GroundSpeed
from speedcal.measure.measured import WRONG
from speedcal.measure.model import Calibration
from speedcal.units import MPH_MPS, SPEED_UNIT_MPS
from speedcal.values import Finding, Trust, round_together

ODOMETER_DISAGREES = 3.0
"""Standard uncertainties from which on odometer and speeds are taken to disagree."""
_FEWEST = 4
_FEW, _FEW_RUNS = 8, 3
_WIDE_SHARE, _WIDE_MPS = 0.025, 1.0 * MPH_MPS
_NARROW_RANGE = 1.3
_MANY_WRONG = 0.3
_SLOWEST_DRIVE_MPS = 5.0
_MOST_NAMED = 8
_OFFSET_UNKNOWN_MPS = 1.0 * MPH_MPS


def refuse_hopeless(ground: GroundSpeed, readings: Readings) -> None:
    """Raise :class:`FitError` for a drive that cannot carry a result whatever is done with it."""
    count = int(np.isfinite(readings.speed_mps).sum())
    if count < _FEWEST:
        raise FitError(
            f"{count} readings of the speed are too few",
            source=readings.source,
            remedy="Note at least eight readings, better twenty, at four or more different speeds",
        )
    fastest = float(np.percentile(ground.speed_mps, 99))
    if fastest < _SLOWEST_DRIVE_MPS:
        raise FitError(
            "the vehicle hardly moved: the fastest part of the track is at "
            f"{fastest / MPH_MPS:.0f} mph ({fastest * 3.6:.0f} km/h)",
            remedy="Record a drive with several steady speeds between 25 and 65 mph (40 and 105 km/h)",
        )


def judge(
    calibration: Calibration, readings: Readings, *, findings: tuple[Finding, ...], odometer_disagreement: float
) -> Calibration:
    """Return the calibration with its word of trust and its findings."""
    notes = list(findings)
    for check in (_clock, _wrong_readings, _offset):
        note = check(calibration, readings)
        if note is not None:
            notes.append(note)
    if calibration.odometer_factor is not None and abs(odometer_disagreement) > ODOMETER_DISAGREES:
        text = (
            f"The odometer counts {calibration.odometer_factor.value:.3f} of the true distance, the speeds show "
            f"{calibration.error_factor.value:.3f} of the true speed; they do not agree, so the odometer was left out. "
            "It may be driven separately from the pointer, or a figure was misread."
        )
        notes.append(Finding("odometer-disagrees", text))
    return replace(calibration, trust=_trust(calibration), findings=tuple(notes))


def _trust(calibration: Calibration) -> Trust:
    """Return the word, with the first reason that applies and what would mend it."""
    table = calibration.readings
    used = int(table["used"].sum())
    wrong = int((table["reason"] == WRONG).sum())
    low, high = calibration.speed_range_mps
    middle = (low + high) / 2
    half = calibration.coverage_factor * float(calibration.u_indicated(middle))
    factor = SPEED_UNIT_MPS[calibration.unit]
    if used < _FEW:
        return Trust("WEAK", f"only {used} readings could be used; note twenty")
    if high < _NARROW_RANGE * low:
        text = (
            f"nearly one speed only, {low / factor:.0f} to {high / factor:.0f} {calibration.unit}; "
            f"add steady runs below {0.8 * low / factor:.0f} or above {1.2 * high / factor:.0f} {calibration.unit}"
        )
        return Trust("WEAK", text)
    if calibration.steady_runs < _FEW_RUNS and used < 10 * _FEW:
        return Trust("WEAK", f"{calibration.steady_runs} steady runs; hold at least four different speeds")
    if wrong > _MANY_WRONG * (used + wrong):
        return Trust("WEAK", f"{wrong} of {used + wrong} readings disagree with the others; check the file")
    if half > max(_WIDE_SHARE * middle, _WIDE_MPS):
        text = (
            f"at {middle / factor:.0f} {calibration.unit} the reading is known only to ±{half / factor:.1f}; "
            f"two more steady runs near {middle / factor:.0f} {calibration.unit} would halve that"
        )
        return Trust("WEAK", text)
    return Trust("TRUSTED")


def _clock(calibration: Calibration, readings: Readings) -> Finding | None:
    """Tell when the clock of the readings is far from that of the track."""
    offset = calibration.clock_offset_s
    if offset is None or readings.clock not in ("utc", "local", "gps"):
        return None
    if readings.clock == "utc" and abs(offset.value) > 300:
        hours = offset.value / 3600
        text = (
            f"The clock of the readings is {abs(hours):.1f} h {'behind' if hours > 0 else 'ahead of'} the GPS clock "
            "although its times carry a zone; the zone may be wrong. The speeds match, so the readings were used."
        )
        return Finding("clock-far", text)
    if readings.clock == "local" and abs(offset.value) > 300:
        nearest = round(offset.value / 900) / 4
        text = f"The readings show local time, {abs(nearest):g} h {'behind' if nearest > 0 else 'ahead of'} UTC."
        return Finding("clock-local", text)
    return None


def _wrong_readings(calibration: Calibration, readings: Readings) -> Finding | None:
    """Name the readings that were left out because they disagree."""
    table = calibration.readings
    wrong = table[table["reason"] == WRONG]
    if wrong.empty:
        return None
    factor = SPEED_UNIT_MPS[calibration.unit]
    first = wrong.head(_MOST_NAMED)
    shown, expected = first["indicated_mps"].to_numpy() / factor, first["predicted_mps"].to_numpy() / factor
    named = [
        f"line {line} ({is_:.0f}, expected {should:.0f})"
        for line, is_, should in zip(first["line"], shown, expected, strict=True)
    ]
    more = f" and {len(wrong) - _MOST_NAMED} more" if len(wrong) > _MOST_NAMED else ""
    text = f"Left out because they disagree with the other readings: {', '.join(named)}{more}."
    return Finding("wrong-readings", text)


def _offset(calibration: Calibration, readings: Readings) -> Finding | None:
    """Say what the drive tells about the needle offset, which no gear can cancel."""
    offset = calibration.offset_mps
    u = float(np.sqrt(calibration.covariance[0, 0]))
    factor = SPEED_UNIT_MPS[calibration.unit]
    if not offset.contains(0.0):
        text = (
            f"The needle sits {round_together(offset.value / factor, u / factor)} {calibration.unit} off at every "
            "speed; a gear change cannot cancel that part."
        )
        return Finding("needle-offset", text)
    if u > _OFFSET_UNKNOWN_MPS:
        text = (
            "The drive hardly tells whether the needle sits off by a constant amount, so that much of the answer "
            "rests on pointers being right within a mph or two (common practice, no source). More different speeds "
            "would tell."
        )
        return Finding("offset-assumed", text)
    return None
