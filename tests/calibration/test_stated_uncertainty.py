"""Readings that state their own uncertainty, each by itself and all together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

import speedcal
from speedcal.calibration.readings.habits import PARALLAX, STATED
from speedcal.logs.drive.readings import Readings
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS

DRIVE = simulate("noted", [40, 3])
AT = np.array([12.0, 18.0, 24.0])


def _stating(own_mps: object = None, common_mps: object = None, **changes: object) -> Readings:
    return replace(DRIVE.readings, u_speed_mps=own_mps, u_common_mps=common_mps, **changes)  # type: ignore[arg-type]


def test_readings_that_say_they_know_little_do_not_move_the_dial() -> None:
    """Every third reading 2 mph high: half of them or more of the shift stays, stated at 20 mph next to nothing."""
    speed = DRIVE.readings.speed_mps.copy()
    speed[::3] += 2 * MPH_MPS
    own = np.full(len(speed), np.nan)
    own[::3] = 20 * MPH_MPS
    plain, blind, warned = (
        speedcal.calibrate(DRIVE.track, readings).indicated(18.0)
        for readings in (DRIVE.readings, _stating(speed_mps=speed), _stating(own, speed_mps=speed))
    )
    assert float(blind - plain) > 0.4 * MPH_MPS
    assert abs(float(warned - plain)) < 0.2 * MPH_MPS


def test_what_all_readings_share_is_added_whole_and_has_the_view_in_it() -> None:
    """0.3 m/s at every speed: the square of u grows by 0.09 less that of the view, however many readings there are."""
    count = len(DRIVE.readings)
    plain = speedcal.calibrate(DRIVE.track, DRIVE.readings)
    shared = speedcal.calibrate(DRIVE.track, _stating(common_mps=np.full(count, 0.3)))
    view = next(entry.u_indicated_mps for entry in plain.budget if entry.component == PARALLAX)
    np.testing.assert_allclose(shared.u_indicated(AT) ** 2, plain.u_indicated(AT) ** 2 + 0.09 - view**2, rtol=1e-6)
    assert next(entry for entry in shared.budget if entry.component == STATED).u_indicated_mps == pytest.approx(0.3)
    assert float(shared.indicated(18.0)) == float(plain.indicated(18.0))


def test_what_grows_with_speed_errs_in_the_factor() -> None:
    """1 % of every speed is 1 % of the factor, at u of the offset as before."""
    plain = speedcal.calibrate(DRIVE.track, DRIVE.readings, read_from="logged")
    ground = plain.readings["ground_mps"].to_numpy()
    shared = speedcal.calibrate(DRIVE.track, _stating(common_mps=0.01 * ground), read_from="logged")
    gained = shared.covariance[1, 1] - plain.covariance[1, 1]
    assert np.sqrt(gained) == pytest.approx(0.01, rel=0.01)


def test_a_log_takes_it_too() -> None:
    drive = simulate("logged", [40, 4])
    plain = speedcal.calibrate(drive.track, drive.readings)
    shared = speedcal.calibrate(drive.track, replace(drive.readings, u_common_mps=np.full(len(drive.readings), 0.2)))
    np.testing.assert_allclose(shared.u_indicated(AT) ** 2, plain.u_indicated(AT) ** 2 + 0.04, rtol=1e-6)


def test_a_held_list_takes_both() -> None:
    drive = simulate("held speeds", [51, 2])
    count = len(drive.readings)
    plain = speedcal.calibrate(drive.track, drive.readings)
    shared = speedcal.calibrate(
        drive.track, replace(drive.readings, u_common_mps=np.full(count, 0.3), u_speed_mps=np.full(count, 0.8))
    )
    assert (shared.u_indicated(AT) ** 2 > plain.u_indicated(AT) ** 2 + 0.09).all()
