"""The simulator itself: its noise has the stated size and shape, and what it says is the truth is the truth."""

from __future__ import annotations

import datetime as dt
import zoneinfo
from dataclasses import replace

import gpxpy
import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from speedcal.calibration.speed.geodesy import local_east_north_m
from speedcal.interval import FloatArray
from speedcal.simulate import KINDS, ZONES_H, Drive, Plateau, simulate, write_drive
from speedcal.simulate.road import POSITION_SCALE_S, POSITION_SD_M
from speedcal.units import KMH_MPS, MPH_MPS


def _drives(kind: str, n: int) -> list[Drive]:
    return [simulate(kind, [7, i]) for i in range(n)]


def _along(drive: Drive, x: FloatArray) -> FloatArray:
    return np.interp(drive.track.time_s, drive.truth.time_s, x)


def test_the_same_seed_gives_the_same_drive_and_another_seed_another() -> None:
    one, two, other = simulate("noted", 5), simulate("noted", 5), simulate("noted", 6)
    np.testing.assert_array_equal(one.track.latitude_deg, two.track.latitude_deg)
    np.testing.assert_array_equal(one.readings.speed_mps, two.readings.speed_mps)
    assert one.truth.error_factor == two.truth.error_factor != other.truth.error_factor


@pytest.mark.parametrize("kind", KINDS)
def test_every_drive_is_within_the_stated_bounds(kind: str) -> None:
    """14 to 26 minutes (up to one plateau more), 25 to 65 mph, factor 0.86 to 1.16, a stop, accelerations of a car."""
    for drive in _drives(kind, 5):
        truth = drive.truth
        minutes = (truth.time_s[-1] - truth.time_s[0]) / 60
        assert 13 < minutes < 30
        assert 0.86 <= truth.error_factor <= 1.16
        speeds = np.array([speed for _, _, speed in truth.plateaus])
        if KINDS[kind].readings == "held":
            speeds = (truth.offset_mps + truth.error_factor * speeds).round(
                2
            )  # the marks are held, not the ground speed
        assert speeds.min() > 22 * MPH_MPS
        assert speeds.max() < 68 * MPH_MPS
        assert (truth.ground_mps < 0.1).mean() > 0.01
        smooth = np.convolve(truth.ground_mps, np.ones(20) / 20, "valid")
        assert 0.7 < np.abs(np.diff(smooth) / 0.1).max() < 2.6
        assert (np.diff(drive.track.time_s) > 0).all()


def test_recorded_speed_has_the_stated_noise_and_no_memory() -> None:
    """0.08 m/s within 2 % (20,000 values: one sigma is 0.5 %), lag-one correlation within 0.03 of zero."""
    noise = []
    for drive in _drives("logged", 20):
        true = _along(drive, drive.truth.ground_mps)
        noise.append((drive.track.speed_mps - true)[true > 1])
    flat = np.concatenate(noise)
    assert flat.std() == pytest.approx(0.08, rel=0.02)
    assert flat.mean() == pytest.approx(0, abs=0.002)
    assert np.corrcoef(flat[1:], flat[:-1])[0, 1] == pytest.approx(0, abs=0.03)


def test_positions_wander_metres_over_minutes_and_are_smooth_from_second_to_second() -> None:
    """Matern 3/2 of sd 2 m and 90 s: its rate of change has sd sqrt(3) * 2 m / 90 s = 0.04 m/s."""
    errors = []
    for drive in [simulate("logged", [3, i], minutes=120) for i in range(6)]:
        track, truth = drive.track, drive.truth
        lat, lon = track.latitude_deg, track.longitude_deg
        east, north = local_east_north_m(lat, lon)
        step = np.hypot(np.diff(east), np.diff(north))
        driven = np.diff(truth.distance_at(track.time_s))
        heading = np.arctan2(np.diff(east), np.diff(north))
        even = (np.diff(track.time_s) < 1.2) & (driven > 8)
        errors.append(((step - driven) / np.diff(track.time_s))[even])
        assert np.abs(heading[1:] - heading[:-1])[even[1:]].max() < 7  # the way turns, it does not jump about
    along = np.concatenate(errors)
    assert along.std() == pytest.approx(np.sqrt(3) * POSITION_SD_M / POSITION_SCALE_S, rel=0.1)
    assert np.corrcoef(along[1:], along[:-1])[0, 1] > 0.9
    assert along.mean() == pytest.approx(0, abs=0.002)


def test_the_track_has_the_length_of_the_drive_on_the_ellipsoid() -> None:
    """Against geodesics over steps of three fixes; the wander of the position adds metres to 20 km, a sphere 0.3 %."""
    for drive in _drives("positions only", 3):
        lat, lon, time = drive.track.latitude_deg, drive.track.longitude_deg, drive.track.time_s
        fast = np.flatnonzero(_along(drive, drive.truth.ground_mps) > 10)
        some = fast[fast + 3 < len(time)][::3]
        line = sum(Geodesic.WGS84.Inverse(lat[i], lon[i], lat[i + 3], lon[i + 3])["s12"] for i in some)
        driven = np.sum(drive.truth.distance_at(time[some + 3]) - drive.truth.distance_at(time[some]))
        assert line == pytest.approx(float(driven), rel=6e-4)


def test_logged_readings_are_the_rounded_truth_and_nothing_else() -> None:
    """Rounding alone: uniform within half a km/h, so sd 1/sqrt(12) km/h, and hardly correlated at one second."""
    rest = []
    for drive in _drives("logged", 20):
        truth = drive.truth
        pointer = truth.offset_mps + truth.error_factor * truth.reading_ground_mps
        rest.append(((drive.readings.speed_mps - pointer) / KMH_MPS)[truth.reading_ground_mps > 2])
        np.testing.assert_allclose(drive.readings.speed_mps / KMH_MPS, np.round(drive.readings.speed_mps / KMH_MPS))
    flat = np.concatenate(rest)
    assert np.abs(flat).max() <= 0.5 + 1e-9
    assert flat.std() == pytest.approx(1 / np.sqrt(12), rel=0.01)
    assert abs(np.corrcoef(flat[1:], flat[:-1])[0, 1]) < 0.15


def test_noted_readings_have_the_stated_noise_of_speed_and_time() -> None:
    """0.6 mph and a whole-mph rounding: sqrt(0.36 + 1/12) = 0.666 mph; stamps 1 s and a rounding: 1.04 s."""
    speed, time = [], []
    for drive in _drives("noted", 60):
        truth = drive.truth
        pointer = truth.offset_mps + truth.error_factor * truth.reading_ground_mps
        speed.append((drive.readings.speed_mps - pointer) / MPH_MPS)
        time.append(drive.readings.time_s + truth.clock_offset_s - truth.reading_time_s)
        assert 18 <= len(drive.readings) <= 26
        assert abs(truth.clock_offset_s) <= 25
    n = len(np.concatenate(speed))
    three_sigma = 3 / np.sqrt(2 * n)
    assert np.concatenate(speed).std() == pytest.approx(np.sqrt(0.36 + 1 / 12), rel=three_sigma)
    assert np.concatenate(time).std() == pytest.approx(np.sqrt(1 + 1 / 12), rel=three_sigma)


def test_wrong_readings_are_twelve_per_cent_and_wrong_by_much() -> None:
    total = wrong = 0
    for drive in _drives("wrong readings", 100):
        truth = drive.truth
        pointer = truth.offset_mps + truth.error_factor * truth.reading_ground_mps
        off = np.abs(drive.readings.speed_mps - pointer)[truth.wrong] / MPH_MPS
        assert (off > 5).all()
        total, wrong = total + len(truth.wrong), wrong + int(truth.wrong.sum())
    assert wrong / total == pytest.approx(0.12, abs=0.01)
    assert not any(drive.truth.wrong.any() for drive in _drives("noted", 3))


def test_zones_are_those_in_civil_use() -> None:
    """Against the time zone database, both halves of the year."""
    names = [name for name in zoneinfo.available_timezones() if not name.startswith("Etc/")]
    if not names:
        pytest.fail("the time zone database is missing")
    used = {
        dt.datetime(2026, month, 15, tzinfo=zoneinfo.ZoneInfo(name)).utcoffset() for name in names for month in (1, 7)
    }
    assert {dt.timedelta(hours=float(zone)) for zone in ZONES_H} <= used
    assert len(ZONES_H) == len(set(ZONES_H))


def test_a_wall_clock_without_date_starts_on_its_first_day_and_may_pass_midnight() -> None:
    passed = 0
    for drive in _drives("zone unknown", 100):
        stamp = drive.readings.time_s
        assert 0 <= stamp[0] < 86400
        assert (np.diff(stamp) > 0).all()
        np.testing.assert_allclose(stamp + drive.truth.clock_offset_s, drive.truth.reading_time_s, atol=5)
        assert abs((drive.truth.clock_offset_s + 450) % 900 - 450) <= 25  # zones are quarters of an hour
        passed += stamp[-1] >= 86400
    assert 15 <= passed <= 45  # 30 of 100, three sigma of a binomial


def test_a_stopwatch_and_a_minute_hand_tell_what_they_can() -> None:
    for drive in _drives("elapsed", 5):
        assert -5 < drive.readings.time_s[0] < 125
    for drive in _drives("whole minutes", 5):
        late = drive.truth.reading_time_s - drive.truth.clock_offset_s - drive.readings.time_s
        assert (drive.readings.time_s % 60 == 0).all()
        assert late.min() > -4
        assert late.max() < 64


def test_tunnels_leave_gaps_and_some_break_the_track() -> None:
    drives = _drives("gaps", 20)
    longest = [np.diff(drive.track.time_s).max() for drive in drives]
    assert min(longest) > 9
    assert any(drive.track.segment.max() > 0 for drive in drives)
    assert max(np.diff(drive.track.time_s).max() for drive in _drives("logged", 20)) < 9


def test_the_odometer_counts_the_distance_times_the_factor_in_tenths() -> None:
    """Differences of two floored tenths are within one tenth of the truth."""
    for drive in _drives("odometer", 10):
        truth, shown = drive.truth, drive.readings.odometer_m
        noted = np.flatnonzero(np.isfinite(shown))
        assert noted[0] == 0
        assert noted[-1] == len(shown) - 1
        driven = truth.distance_at(truth.reading_time_s[[0, -1]])
        assert abs(shown[-1] - shown[0] - truth.error_factor * (driven[1] - driven[0])) < 160.9344


def test_held_speeds_are_the_marks_in_the_order_they_were_held() -> None:
    """The mark is offset + factor times the mean speed of its plateau, within the 0.6 mph of holding it (4 sigma)."""
    for drive in _drives("held speeds", 20):
        truth, readings = drive.truth, drive.readings
        assert np.isnan(readings.time_s).all()
        assert ((readings.speed_mps / MPH_MPS).round(6) % 5 == 0).all()
        assert (np.diff(truth.reading_time_s) > 0).all()
        pointer = truth.offset_mps + truth.error_factor * truth.reading_ground_mps
        assert np.abs(readings.speed_mps - pointer).max() < 4 * 0.6 * MPH_MPS


def test_a_plan_is_driven_as_written_with_the_readings_it_asks_for() -> None:
    plan = [Plateau(30 * MPH_MPS, 60, 4), Plateau(50 * MPH_MPS, 90, 6), Plateau(60 * MPH_MPS, 60, 2)]
    drive = simulate("noted", 1, plan=plan, error_factor=1.05, offset_mps=0.0)
    for (begin, end, speed), wanted in zip(drive.truth.plateaus, plan, strict=True):
        inside = (drive.truth.reading_time_s > begin) & (drive.truth.reading_time_s < end)
        assert inside.sum() == wanted.readings
        assert speed == pytest.approx(wanted.speed_mps, abs=1e-6)
        assert end - begin == pytest.approx(wanted.seconds)
    assert drive.truth.error_factor == 1.05


def test_files_hold_what_the_drive_holds(tmp_path) -> None:
    """Read back by gpxpy and by splitting lines, both of which know nothing of the simulator."""
    drive = simulate(replace(KINDS["gaps"], odometer=True), 4, minutes=3)
    track_path, readings_path = write_drive(drive, tmp_path)
    gpx = gpxpy.parse(track_path.read_text(encoding="utf-8"))
    points = [point for segment in gpx.tracks[0].segments for point in segment.points]
    assert len(gpx.tracks[0].segments) == len(np.unique(drive.track.segment))
    np.testing.assert_array_equal([p.latitude for p in points], drive.track.latitude_deg)
    np.testing.assert_array_equal([p.longitude for p in points], drive.track.longitude_deg)
    np.testing.assert_allclose([p.time.timestamp() for p in points], drive.track.time_s, atol=1e-6)
    speeds = [float(p.extensions[0][0].text) for p in points]
    np.testing.assert_allclose(speeds, drive.track.speed_mps, atol=1e-9)
    header, *rows = readings_path.read_text(encoding="utf-8").splitlines()
    assert header == "time,speed (km/h),odometer (mi)"
    cells = [row.split(",") for row in rows]
    np.testing.assert_allclose([float(c[1]) * KMH_MPS for c in cells], drive.readings.speed_mps, atol=1e-9)
    stamps = [dt.datetime.fromisoformat(c[0]).timestamp() for c in cells]
    np.testing.assert_allclose(stamps, drive.readings.time_s, atol=1e-6)
