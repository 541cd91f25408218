"""Log and track in whole units with fixes too far apart for the speed between them, made apart from the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.logs.drive.track import Track


def _every_fifth(track: Track) -> Track:
    names = ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment")
    return replace(track, **{name: getattr(track, name)[::5] for name in names})


@pytest.mark.parametrize("kind", ["log, both mph", "log, both km/h"])
def test_equal_steps_that_fall_on_each_other_are_no_certainty(kind: str) -> None:
    """The steps of both sides lie on a line of their own, right or not, within less than their rounding."""
    held, off = [], []
    for seed in range(10):
        drive = outside_drive(kind, (191, seed))
        track, readings = in_memory(drive)
        result = speedcal.calibrate(_every_fifth(track), readings)
        assert "many_wrong" not in result.trust.codes
        factor = drive.truth.factor(drive.truth.speed_mps)
        held.append(result.error_factor.contains(factor))
        off.append(result.error_factor.value / factor - 1)
    assert sum(held) >= 8
    assert np.sqrt(np.mean(np.square(off))) < 0.005
