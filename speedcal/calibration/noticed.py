"""What was noticed of track, readings and needle on the way to an answer."""

from __future__ import annotations

import numpy as np

from speedcal.calibration.ground_speed import GroundSpeed
from speedcal.calibration.odometer import OdometerFactor
from speedcal.calibration.result import HILLS, Calibration
from speedcal.calibration.tuning_logs import PLAY_NOTICED_MPS
from speedcal.calibration.tuning_track import HEIGHTS_NEEDED, HILLS_NOTICED
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.readings import Readings
from speedcal.logs.track import Track


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
