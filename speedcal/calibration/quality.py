"""What to make of a calibration: how far it can be trusted, what is worth telling, and when none should be given."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.clock_search import LARGEST_FACTOR, SMALLEST_FACTOR, zone_near
from speedcal.calibration.ground_speed import SPEED_AGAINST_POSITIONS, GroundSpeed
from speedcal.calibration.measured import WRONG
from speedcal.calibration.odometer import OdometerFactor
from speedcal.calibration.result import Calibration
from speedcal.errors import FitError
from speedcal.finding import Finding, Trust
from speedcal.interval import IntArray, round_together
from speedcal.logs.model import Readings, Track
from speedcal.units import MILE_M, MPH_MPS, SPEED_UNIT_MPS

ODOMETER_DISAGREES = 4.0
"""Standard uncertainties from which on odometer and speeds are taken to disagree."""
_FEWEST = 4
_FEW, _FEW_RUNS = 8, 3
_WIDE_SHARE, _WIDE_MPS = 0.025, 1.0 * MPH_MPS
_NARROW_RANGE = 1.3
_SAME_LEVEL_MPS = 1.5
_MANY_WRONG = 0.3
_SLOWEST_DRIVE_MPS = 5.0
_MOST_NAMED = 8
_FASTEST_MPS = 150.0
_FOLLOWS_MPS = 2.0 * MPH_MPS
"""Readings that scatter more than this do not belong to the track: right ones scatter by half a mph to one, those of
another drive by three or more (simulated drives)."""
_UNIT_TOLERANCE = 0.16
"""An instrument that is off by up to this much and was noted in the other unit is asked about."""
_OFFSET_UNKNOWN_MPS = 1.0 * MPH_MPS


def refuse_hopeless(ground: GroundSpeed, readings: Readings) -> None:
    """Raise :class:`FitError` for a drive that cannot carry a result whatever is done with it."""
    refuse_too_few(len(usable_readings(readings)), readings)
    if readings.clock != "none" and len(np.unique(readings.time_s[usable_readings(readings)])) < _FEWEST:
        raise FitError(
            "the readings carry fewer than four different times",
            source=readings.source,
            remedy="Check the time column, or leave it out to give speeds held one after the other",
        )
    fastest = float(np.percentile(ground.speed_mps, 99))
    if fastest < _SLOWEST_DRIVE_MPS:
        raise FitError(
            "the vehicle hardly moved: the fastest part of the track is at "
            f"{fastest / MPH_MPS:.0f} mph ({fastest * 3.6:.0f} km/h)",
            remedy="Record a drive with several steady speeds between 25 and 65 mph (40 and 105 km/h)",
        )


def refuse_too_few(count: int, readings: Readings) -> None:
    """Raise :class:`FitError` when fewer readings can be used than a line needs."""
    if count < _FEWEST:
        raise FitError(
            f"{count} usable readings are too few",
            source=readings.source,
            remedy="Note at least eight readings, better twenty, at four or more different speeds",
        )


def usable_readings(readings: Readings) -> IntArray:
    """Return the indices of readings that have a speed a road vehicle can show, and a time if times matter."""
    speed = readings.speed_mps
    usable = np.isfinite(speed) & (np.nan_to_num(speed) >= 0) & (np.nan_to_num(speed) < _FASTEST_MPS)
    if readings.clock != "none":
        usable &= np.isfinite(readings.time_s)
    return np.flatnonzero(usable)


def refuse_nonsense(calibration: Calibration, readings: Readings) -> None:
    """Raise :class:`FitError` for an answer that no instrument in use gives."""
    factor = calibration.error_factor
    scatter = float(np.sqrt(max(calibration.scatter_mps**2 - readings.speed_resolution_mps**2 / 12, 0.0)))
    if scatter > _FOLLOWS_MPS:
        raise FitError(
            "the readings do not follow the speed of the track",
            source=readings.source,
            remedy="Check the unit of the readings, that the column is the speed, that the needle moves, and that both "
            "files are of one drive",
        )
    if not SMALLEST_FACTOR < factor.value < LARGEST_FACTOR:
        raise FitError(
            f"the readings are {factor.value:.2f} times the true speed, which no change of tires or gears explains",
            source=readings.source,
            remedy="Check the unit of the readings and that both files are of one drive",
        )


def left_out(
    track: Track, ground: GroundSpeed, readings: Readings, odometer: OdometerFactor | None
) -> tuple[Finding, ...]:
    """Return findings that count what was left out of the track and of the readings before the fit."""
    found = []
    for name, counts in (("track", {**track.dropped, **ground.dropped}), ("readings", dict(readings.dropped))):
        if counts:
            listed = ", ".join(f"{reason} {count}" for reason, count in sorted(counts.items()))
            found.append(Finding(f"{name}-left-out", f"Left out of the {name}: {listed}."))
    if odometer is not None and len(odometer.left_out):
        lines = ", ".join(str(line) for line in sorted(readings.line[odometer.left_out])[:_MOST_NAMED])
        more = f" and {len(odometer.left_out) - _MOST_NAMED} more" if len(odometer.left_out) > _MOST_NAMED else ""
        text = f"Odometer readings that do not follow the others were left out: line {lines}{more}."
        found.append(Finding("odometer-left-out", text))
    return tuple(found)


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
    calibration = replace(calibration, findings=tuple(notes))
    return replace(calibration, trust=_trust(calibration))


def _trust(calibration: Calibration) -> Trust:
    """Return the word, with the first reason that applies and what would mend it."""
    if any(finding.code == SPEED_AGAINST_POSITIONS for finding in calibration.findings):
        return Trust("WEAK", (Finding("few_readings", "the recorded speed and the positions of the track disagree"),))
    table = calibration.readings
    used = int(table["used"].sum())
    unit = _unit_suspected(calibration)
    if unit is not None:
        return Trust("WEAK", (Finding("few_readings", unit),))
    wrong = int((table["reason"] == WRONG).sum())
    low, high = calibration.speed_range_mps
    middle = (low + high) / 2
    half = calibration.coverage_factor * float(calibration.u_indicated(middle))
    factor = SPEED_UNIT_MPS[calibration.unit]
    if used < _FEW:
        return Trust("WEAK", (Finding("few_readings", f"only {used} readings could be used; note twenty"),))
    if high < _NARROW_RANGE * low:
        text = (
            f"nearly one speed only, {low / factor:.0f} to {high / factor:.0f} {calibration.unit}; "
            f"add steady runs below {0.8 * low / factor:.0f} or above {1.2 * high / factor:.0f} {calibration.unit}"
        )
        return Trust("WEAK", (Finding("few_readings", text),))
    if calibration.steady_runs < _FEW_RUNS:
        return Trust(
            "WEAK",
            (
                Finding(
                    "few_readings",
                    f"readings in {calibration.steady_runs} steady runs only; hold four different speeds",
                ),
            ),
        )
    levels = _levels(calibration)
    if len(levels) < _FEW_RUNS:
        named = " and ".join(f"{level / factor:.0f}" for level in levels)
        return Trust(
            "WEAK",
            (
                Finding(
                    "few_readings", f"only {named} {calibration.unit} were held; add steady runs at two other speeds"
                ),
            ),
        )
    if wrong > _MANY_WRONG * (used + wrong):
        return Trust(
            "WEAK",
            (Finding("few_readings", f"{wrong} of {used + wrong} readings disagree with the others; check the file"),),
        )
    if half > max(_WIDE_SHARE * middle, _WIDE_MPS):
        text = (
            f"at {middle / factor:.0f} {calibration.unit} the reading is known only to ±{half / factor:.1f}; "
            f"two more steady runs near {middle / factor:.0f} {calibration.unit} would halve that"
        )
        return Trust("WEAK", (Finding("few_readings", text),))
    return Trust("TRUSTED")


def _levels(calibration: Calibration) -> list[float]:
    """Return the different ground speeds that steady runs with used readings were held at. [m/s]."""
    table = calibration.readings
    steady = table[table["used"] & (table["run"] >= 0)]
    levels: list[float] = []
    for speed in sorted(steady.groupby("run")["ground_mps"].median()):
        if not levels or speed - levels[-1] > _SAME_LEVEL_MPS:
            levels.append(float(speed))
    return levels


def _unit_suspected(calibration: Calibration) -> str | None:
    """Return a warning when the factor is about what mixing up miles and kilometres does."""
    factor = calibration.error_factor.value
    for ratio, noted in ((MILE_M / 1000, "km/h"), (1000 / MILE_M, "mph")):
        if abs(factor / ratio - 1) < _UNIT_TOLERANCE:
            return (
                f"the readings are {factor:.2f} times the true speed; were they noted in {noted}? "
                "Correct the unit where it is named"
            )
    return None


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
        zone = zone_near(offset.value)
        rest = offset.value + zone
        local = f"{abs(zone) / 3600:g} h {'ahead of' if zone > 0 else 'behind'} UTC" if zone else "UTC"
        speed = "slow" if rest > 0 else "fast"
        text = f"The readings show the time of a zone {local}, and their clock is {abs(rest):.0f} s {speed}."
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
