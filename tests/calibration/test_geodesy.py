"""The ellipsoid metric against an independent geodesic library and a surveyed line."""

from __future__ import annotations

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from speedcal.calibration.speed.geodesy import (
    WGS84_FLATTENING,
    WGS84_SEMI_MAJOR_M,
    curvature_radii_m,
    east_north_steps_m,
    local_east_north_m,
    segment_lengths_m,
)
from speedcal.interval import FloatArray


def _lines(length_m: float, *, seed: int, n: int = 400) -> tuple[FloatArray, FloatArray]:
    """Return ends of random geodesics of one length, shapes (n, 2), latitudes within 75 degrees."""
    rng = np.random.default_rng(seed)
    latitude, longitude = np.empty((n, 2)), np.empty((n, 2))
    for i in range(n):
        latitude[i, 0], longitude[i, 0] = rng.uniform(-75, 75), rng.uniform(-180, 180)
        end = Geodesic.WGS84.Direct(latitude[i, 0], longitude[i, 0], rng.uniform(0, 360), length_m)
        latitude[i, 1], longitude[i, 1] = end["lat2"], end["lon2"]
    return latitude, longitude


@pytest.mark.parametrize(
    ("length_m", "relative"),
    [
        (15.0, 3e-9),  # a second at town speed; 1e-14 degrees of rounding in the fix is 1e-9 m in itself
        (100.0, 1e-9),
        (500.0, 1e-8),
        (5000.0, 1e-6),
    ],
)
def test_steps_have_the_length_of_the_geodesic(length_m: float, relative: float) -> None:
    """The effect that must not be missed is 1e-3 (a sphere), so these bounds are tight a thousand times over."""
    latitude, longitude = _lines(length_m, seed=1)
    got = np.array([segment_lengths_m(a, o)[0] for a, o in zip(latitude, longitude, strict=True)])
    np.testing.assert_allclose(got, length_m, rtol=relative)


def test_a_sphere_would_fail_the_same_check() -> None:
    """Without the ellipsoid the same lines are off by more than a thousand times the tolerance."""
    latitude, longitude = _lines(100.0, seed=1)
    phi, lam = np.radians(latitude), np.radians(np.diff(longitude)[:, 0])
    lam = (lam + np.pi) % (2 * np.pi) - np.pi
    sphere = 6371008.8 * np.hypot(np.diff(phi)[:, 0], np.cos(phi.mean(axis=1)) * lam)
    assert np.max(np.abs(sphere / 100 - 1)) > 3e-3


def test_steps_point_the_way_the_geodesic_points() -> None:
    """North and east are not swapped or mirrored: the azimuth agrees to a hundredth of a degree over 100 m."""
    for azimuth in range(0, 360, 15):
        end = Geodesic.WGS84.Direct(-41.0, 175.0, azimuth, 100.0)
        east, north = east_north_steps_m(np.array([-41.0, end["lat2"]]), np.array([175.0, end["lon2"]]))
        got = np.degrees(np.arctan2(east[0], north[0]))
        assert abs((got - azimuth + 180) % 360 - 180) < 0.01


@pytest.mark.published("Geoscience Australia, GDA Technical Manual, Flinders Peak to Buninyong: 54972.271 m on GRS80")
def test_the_surveyed_line_from_flinders_peak_to_buninyong_in_steps_of_500_m() -> None:
    """WGS84 and GRS80 differ by 0.1 mm of polar radius, less than the millimetre that is published."""

    def degrees(d: int, m: int, s: float) -> float:
        return d + m / 60 + s / 3600

    line = Geodesic.WGS84.InverseLine(
        -degrees(37, 57, 3.72030), degrees(144, 25, 29.52440), -degrees(37, 39, 10.15610), degrees(143, 55, 35.38390)
    )
    points = [line.Position(s) for s in np.linspace(0, line.s13, 111)]
    total = segment_lengths_m(np.array([p["lat2"] for p in points]), np.array([p["lon2"] for p in points])).sum()
    assert total == pytest.approx(54972.271, abs=0.001)


@pytest.mark.published("NIMA TR8350.2, third edition, table 3.1: WGS84 a = 6378137.0 m, 1/f = 298.257223563")
def test_constants_are_those_of_wgs84() -> None:
    assert WGS84_SEMI_MAJOR_M == 6378137.0
    assert abs(1 / WGS84_FLATTENING - 298.257223563) < 1e-12


@pytest.mark.published("NIMA TR8350.2, third edition, table 3.3: polar radius of curvature c = 6399593.6258 m")
def test_both_radii_of_curvature_meet_at_the_pole() -> None:
    meridian, prime_vertical = curvature_radii_m(90.0)
    assert float(meridian) == pytest.approx(6399593.6258, abs=1e-4)
    assert float(prime_vertical) == pytest.approx(6399593.6258, abs=1e-4)


def test_crossing_the_180th_meridian_is_an_ordinary_step() -> None:
    """East over the line and west over it, against the same step elsewhere (1e-13 degrees of rounding is 1e-8 m)."""
    latitude = np.array([-38.0, -38.0])
    here = east_north_steps_m(latitude, np.array([10.0, 10.0002]))[0][0]
    assert east_north_steps_m(latitude, np.array([179.9999, -179.9999]))[0][0] == pytest.approx(here, abs=1e-7)
    assert east_north_steps_m(latitude, np.array([-179.9999, 179.9999]))[0][0] == pytest.approx(-here, abs=1e-7)


def test_height_lengthens_a_step_by_height_over_radius() -> None:
    """At 1600 m the factor is 1 + 1600 / R, with R the meridian radius for a step to the north: 0.025 %."""
    latitude, longitude = np.array([45.0, 45.0005]), np.array([7.0, 7.0])
    low = segment_lengths_m(latitude, longitude)[0]
    high = segment_lengths_m(latitude, longitude, elevation_m=np.array([1600.0, 1600.0]))[0]
    radius = float(curvature_radii_m(45.00025)[0])
    assert high / low - 1 == pytest.approx(1600 / radius, rel=1e-9)
    unknown = segment_lengths_m(latitude, longitude, elevation_m=np.array([np.nan, 1600.0]))[0]
    assert unknown == low


def test_a_step_has_the_height_of_its_middle() -> None:
    """Along the equator an arc at height h has the radius a + h: three steps up a hill and down."""
    turn_deg = 0.0005
    height = np.array([0.0, 2000.0, 1000.0, 3000.0])
    east, north = east_north_steps_m(np.zeros(4), turn_deg * np.arange(4), elevation_m=height)
    np.testing.assert_allclose(east, (6378137.0 + np.array([1000, 1500, 2000])) * np.radians(turn_deg), rtol=1e-12)
    assert not north.any()


def test_local_coordinates_start_at_zero_and_step_as_the_steps_do() -> None:
    latitude, longitude = _lines(20.0, seed=3, n=50)
    track_latitude = 30 + np.cumsum(latitude[:, 0]) * 1e-6
    track_longitude = -40 + np.cumsum(longitude[:, 0]) * 1e-6
    east, north = local_east_north_m(track_latitude, track_longitude)
    steps = east_north_steps_m(track_latitude, track_longitude)
    assert (east[0], north[0]) == (0.0, 0.0)
    np.testing.assert_allclose(np.diff(east), steps[0], atol=1e-9)
    np.testing.assert_allclose(np.diff(north), steps[1], atol=1e-9)


@pytest.mark.parametrize("n", [0, 1])
def test_fewer_than_two_fixes_have_no_steps(n: int) -> None:
    fixes = np.zeros(n)
    assert segment_lengths_m(fixes, fixes).shape == (0,)
    assert local_east_north_m(fixes, fixes)[0].shape == (n,)


def test_arrays_of_different_length_are_a_bug_of_the_caller() -> None:
    with pytest.raises(ValueError, match="alike"):
        segment_lengths_m(np.zeros(3), np.zeros(4))
    with pytest.raises(ValueError, match="elevation"):
        segment_lengths_m(np.zeros(3), np.zeros(3), elevation_m=np.zeros(2))
