"""What is worth telling of track, readings and needle beside an answer."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.dial.lone_reading import lone_reading
from speedcal.calibration.dial.measured import NO_GROUND
from speedcal.calibration.readings.kind import is_log
from speedcal.calibration.readings.odometer import OdometerFactor
from speedcal.calibration.result import HILLS, Calibration
from speedcal.calibration.speed.ground_speed import GroundSpeed
from speedcal.calibration.tuning import general as tuned
from speedcal.calibration.tuning.logs import PLAY_NOTICED_MPS
from speedcal.calibration.tuning.notes import TEN_MPS
from speedcal.calibration.tuning.track import HEIGHTS_NEEDED, HILLS_NOTICED
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track

READS_AS_GPS = "reads_as_gps"
"""Code of the finding that a log may be one of GPS speed."""


def left_out(
    track: Track, ground: GroundSpeed, readings: Readings, odometer: OdometerFactor | None
) -> tuple[Finding, ...]:
    """Return findings that count what was left out of the track and of the readings before the fit."""
    found = []
    for code, counts in (
        ("track_left_out", {**track.dropped, **ground.dropped}),
        ("readings_left_out", dict(readings.dropped)),
    ):
        if counts:
            found.append(Finding(code, counts=counts))
    if odometer is not None and len(odometer.left_out):
        found.append(Finding("odometer_left_out", lines=sorted(int(n) for n in readings.line[odometer.left_out])))
    return tuple(found)


def beside_track(calibration: Calibration) -> tuple[Finding, ...]:
    """Return the finding that readings were taken where the track tells no speed; nothing where those are a few."""
    reason = calibration.readings["reason"].to_numpy()
    count = int((reason == NO_GROUND).sum())
    if count <= tuned.BESIDE_TRACK_NOTICED * len(reason):
        return ()
    return (Finding("readings_beside_track", count=count, total=len(reason)),)


def rounded_by_reader(calibration: Calibration, readings: Readings) -> tuple[tuple[Finding, ...], tuple[Finding, ...]]:
    """Return the doubt whether coarse notes were of the mark below the needle, and the question where none is to see.

    A needle that seems to sit half a step low makes it a doubt; one that sits high may hide it. Readings that scatter
    by less than rounding were taken as the needle stood on its marks.
    """
    step, offset = readings.speed_resolution_mps, calibration.offset_mps
    likely_mps = step / 2 if np.isclose(step, TEN_MPS) else step  # hardly anybody rounds to tens
    if (
        step < tuned.ROUNDED_DOWN_FROM_MPS
        or is_of_log(calibration)
        or calibration.scatter_mps < likely_mps / np.sqrt(12)
    ):
        return (), ()
    least, most = (share * step for share in tuned.ROUNDED_DOWN_STEPS)
    if offset.high < 0 and least < -offset.value < most:
        return (Finding("rounded_down", step_mps=step, offset_mps=offset.value, unit=calibration.unit),), ()
    return (), (Finding("nearest_mark_taken", step_mps=step, half_mps=step / 2, unit=calibration.unit),)


def rests_on_one(calibration: Calibration) -> Finding | None:
    """Say that one reading tells more of the slope than all others, and where another would settle it."""
    used = calibration.readings[calibration.readings["used"]]
    speed = used["ground_mps"].to_numpy(float)
    lone = lone_reading(speed, np.ones(len(speed)))
    if lone is None:
        return None
    return Finding("rests_on_one", line=int(used["line"].iloc[lone]), at_mps=float(speed[lone]), unit=calibration.unit)


def heights_missing(calibration: Calibration, track: Track) -> tuple[Finding, ...]:
    """Return the finding that the heights the track lacks would narrow the answer; nothing when they hardly would."""
    if np.isfinite(track.elevation_m).mean() >= HEIGHTS_NEEDED:
        return ()
    return tuple(
        Finding("no_heights", u_factor=line.u_factor)
        for line in calibration.budget
        if line.component == HILLS and line.share > HILLS_NOTICED
    )


def hanging(calibration: Calibration, hangs_mps: FloatArray) -> tuple[Finding, ...]:
    """Return the finding that the needle hangs behind; ``hangs_mps`` is what it shows more at each reading."""
    play = float(np.abs(hangs_mps).max(initial=0.0))
    return (Finding("needle_hangs", play_mps=play, unit=calibration.unit),) if play > PLAY_NOTICED_MPS else ()


def is_of_log(calibration: Calibration) -> bool:
    """Tell whether the readings used are rows of a log, and not noted by hand."""
    return is_log(np.sort(calibration.readings["time_s"][calibration.readings["used"]].to_numpy(float)))


def reads_as_gps(calibration: Calibration) -> Finding | None:
    """Say that a log shows what GPS shows: an instrument is rarely that right, and an app may log the speed of GPS."""
    speeds = np.linspace(*calibration.speed_range_mps, 3)
    half = calibration.half_width(speeds)
    away = np.abs(calibration.indicated(speeds) - speeds)
    if (away > 2 * half).any() or (half > tuned.AS_GPS_WITHIN * speeds + tuned.AS_GPS_WITHIN_MPS).any():
        return None
    return Finding(READS_AS_GPS, within=float((np.maximum(half, away) / speeds).max()))
