"""From the truth to files, through the readers, to the answer: the whole way that a user goes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import speedcal
from speedcal.simulate import KINDS, simulate, write_drive


@pytest.mark.parametrize("kind", KINDS)
def test_a_drive_read_back_from_its_files_is_the_drive_and_gives_the_truth(kind: str, tmp_path: Path) -> None:
    """The files hold every number; the answer is within four of its uncertainties of the truth (1 in 16,000)."""
    drive = simulate(kind, [21, 1])
    track_path, readings_path = write_drive(drive, tmp_path)
    track, readings = speedcal.read_track(track_path), speedcal.read_readings(readings_path)
    for name, tolerance in (("time_s", 1e-5), ("latitude_deg", 0), ("longitude_deg", 0), ("speed_mps", 1e-9)):
        np.testing.assert_allclose(getattr(track, name), getattr(drive.track, name), rtol=0, atol=tolerance)
    for name in ("time_s", "speed_mps", "odometer_m"):
        np.testing.assert_allclose(getattr(readings, name), getattr(drive.readings, name), rtol=0, atol=1e-5)
    assert readings.clock == drive.readings.clock
    assert readings.speed_unit == drive.readings.speed_unit
    result = speedcal.calibrate(track, readings)
    u = result.error_factor.half_width / result.coverage_factor
    assert abs(result.error_factor.value - drive.truth.error_factor) < 4 * u
    assert abs(float(result.indicated(20.0)) - drive.truth.offset_mps - 20 * drive.truth.error_factor) < 4 * float(
        result.u_indicated(20.0)
    )
