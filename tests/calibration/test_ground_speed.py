"""Ground speed of drawn tracks, whose truth is exact, against analytic values."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic
from scipy.interpolate import make_interp_spline
from support.roads import START_S, Road, answer_or_refusal, plateaus, readings_of, some_fixes, track_of

import speedcal
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.geodesy import WGS84_SEMI_MAJOR_M
from speedcal.calibration.speed.positions import speed_from_positions
from speedcal.calibration.speed.speed_of_track import ground_speed
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Terrain
from speedcal.logs.drive.track import Track
from speedcal.units import KMH_MPS, MPH_MPS

ROAD = plateaus([30, 55, 40, 65, 25, 50, 35, 60])
RECORDED, POSITIONS = track_of(ROAD), track_of(ROAD, recorded=False)
LOG = readings_of(ROAD, np.arange(5.0, ROAD.length_s - 5), step_mph=0.1, time_resolution_s=0.001)
INNER = slice(5, -5)


def _steady(speed_mps: float, seconds: float = 300.0) -> Road:
    return Road(np.array([0.0, seconds]), np.full(2, speed_mps))


def _since(track: Track) -> FloatArray:
    return np.asarray(track.time_s - track.time_s[0])


def _codes(track: Track) -> set[str]:
    return {finding.code for finding in ground_speed(track).findings}


def _moved(track: Track, which: list[int], degrees: float) -> Track:
    latitude = track.latitude_deg.copy()
    latitude[which] += degrees
    return replace(track, latitude_deg=latitude)


def _uneven(n: int, seed: int = 2) -> FloatArray:
    return np.arange(n) + np.random.default_rng(seed).uniform(-0.3, 0.3, n)


# ---- recorded speed


@pytest.mark.parametrize(("unit", "mps"), [("km/h", KMH_MPS), ("mph", MPH_MPS), ("kn", 1852 / 3600)])
def test_a_logger_that_wrote_another_unit_is_caught_and_converted(unit: str, mps: float) -> None:
    """The answer is the very same as with metres per second, and a finding names the unit."""
    wrong = replace(RECORDED, speed_mps=RECORDED.speed_mps / mps)
    ground, right = ground_speed(wrong), ground_speed(RECORDED)
    np.testing.assert_allclose(ground.speed_mps, right.speed_mps, rtol=1e-12)
    (finding,) = ground.findings
    assert finding.code == "speed_unit_found"
    assert unit in finding.text
    assert "speed_unit_found" in {finding.code for finding in speedcal.calibrate(wrong, LOG).findings}
    assert _codes(RECORDED) == set()


@pytest.mark.parametrize("ratio", [0.0, 0.5, 1.3, 10.0])
def test_a_recorded_speed_that_no_unit_explains_is_refused_with_a_way_out(ratio: float) -> None:
    with pytest.raises(speedcal.SpeedcalError, match="no unit of speed explains") as caught:
        ground_speed(replace(RECORDED, speed_mps=RECORDED.speed_mps * ratio))
    assert "speed column" in caught.value.remedy
    assert caught.value.source == "drawn track"


def test_knots_are_not_what_explains_twice_the_speed() -> None:
    """2.0 is 2.9 % off knots, more than positions can be off over a drive: told or refused, never only converted."""
    twice = replace(RECORDED, speed_mps=RECORDED.speed_mps * 2.0)
    result = answer_or_refusal(twice, LOG)
    if isinstance(result, Calibration):
        assert "speed_against_positions" in {finding.code for finding in result.findings}


@pytest.mark.parametrize("factor", [0.95, 1.05])
def test_recorded_speed_and_positions_that_disagree_are_told_and_not_trusted(factor: float) -> None:
    """Five per cent; without the cause nothing is told."""
    right = track_of(ROAD, noise_mps=0.05)
    off = replace(right, speed_mps=right.speed_mps * factor)
    assert "speed_against_positions" in _codes(off)
    assert speedcal.calibrate(off, LOG).trust.word == "WEAK"
    assert speedcal.calibrate(right, LOG).trust.word == "TRUSTED"


def test_a_few_fixes_without_speed_are_left_out_and_many_turn_to_positions() -> None:
    speed = RECORDED.speed_mps.copy()
    speed[::10] = np.nan
    few = ground_speed(replace(RECORDED, speed_mps=speed))
    assert (few.source, few.dropped["no_recorded_speed"]) == ("recorded", len(speed[::10]))
    speed[np.arange(len(speed)) % 10 < 6] = np.nan
    assert ground_speed(replace(RECORDED, speed_mps=speed)).source == "positions"


def test_one_impossible_speed_is_left_out_and_counted() -> None:
    speed = RECORDED.speed_mps.copy()
    speed[300] = 80.0
    ground = ground_speed(replace(RECORDED, speed_mps=speed))
    assert ground.dropped == {"impossible_acceleration": 1}
    assert ground.speed_mps.max() < 66 * MPH_MPS
    assert not ground_speed(RECORDED).dropped


def test_two_impossible_speeds_in_a_row_are_left_out_and_counted() -> None:
    """From 27 to 80 m/s within a second, for two fixes."""
    speed = RECORDED.speed_mps.copy()
    speed[300:302] = 80.0
    ground = ground_speed(replace(RECORDED, speed_mps=speed))
    assert sum(ground.dropped.values()) == 2
    assert ground.speed_mps.max() < 66 * MPH_MPS


def test_hard_braking_is_not_an_impossible_acceleration() -> None:
    """9.8 m/s² from 60 mph to a stop: dry road and good tires."""
    road = plateaus([60, 0, 60, 0, 40], hold_s=40, acceleration=9.8)
    assert not ground_speed(track_of(road)).dropped


# ---- teleports and gaps


@pytest.mark.parametrize("track", [track_of(ROAD, noise_mps=0.05), POSITIONS], ids=["recorded", "positions"])
@pytest.mark.parametrize("which", [[200], [200, 201], [0], [-1]], ids=["one", "two in a row", "first", "last"])
def test_fixes_that_jump_eleven_kilometres_do_not_make_speed(track: Track, which: list[int]) -> None:
    """They are dropped and counted, or fenced off; no impossible speed is left, and the answer stays."""
    jumping = _moved(track, which, 0.1)
    ground = ground_speed(jumping)
    assert ground.speed_mps.max() < 80.0
    if track is POSITIONS:
        assert sum(ground.dropped.values()) >= 1
    result, clean = speedcal.calibrate(jumping, LOG), speedcal.calibrate(track, LOG)
    assert result.error_factor.value == pytest.approx(clean.error_factor.value, abs=2e-4)


def test_counts_of_dropped_fixes_reach_the_result() -> None:
    """A user must be able to see that fixes were left out, and how many."""
    result = speedcal.calibrate(_moved(POSITIONS, [100, 200, 300], 0.1), LOG)
    assert any("3" in finding.text and "jump" in finding.text for finding in result.findings)
    assert not any("jump" in finding.text for finding in speedcal.calibrate(POSITIONS, LOG).findings)


@pytest.mark.parametrize("track", [RECORDED, POSITIONS], ids=["recorded", "positions"])
def test_nothing_is_interpolated_across_a_gap_or_a_break(track: Track) -> None:
    """Ten seconds without a fix, and a segment break without any gap; two seconds without a fix are bridged."""
    time = track.time_s - START_S
    broken = replace(track, segment=(time >= 400).astype(np.int64))
    dark = (time > 200) & (time < 210)
    short = (time > 300) & (time < 302)
    ground = ground_speed(some_fixes(broken, ~(dark | short)))
    at = START_S + np.array([205.0, 399.5, 301.0, 250.0])
    np.testing.assert_array_equal(ground.at(at)[2], [False, False, True, True])
    np.testing.assert_array_equal(ground.usable_at(at), [False, False, True, True])
    assert len(np.unique(ground.piece)) == 3
    whole = ground_speed(track)
    assert whole.at(at)[2].all()
    missing = whole.distance_m[-1] - ground.distance_m[-1]
    alone = ROAD.distance(np.array([210.0, 400.0])) - ROAD.distance(np.array([200.0, 399.0]))
    assert missing == pytest.approx(float(alone.sum()), abs=0.5)


def test_a_reading_in_a_tunnel_is_not_used() -> None:
    time = RECORDED.time_s - START_S
    result = speedcal.calibrate(some_fixes(RECORDED, (time < 200) | (time > 240)), LOG)
    inside = (LOG.time_s > START_S + 201) & (LOG.time_s < START_S + 239)
    assert not result.readings["used"][inside].any()
    assert set(result.readings["reason"][inside]) == {"no_ground_speed"}
    assert result.readings["ground_mps"][inside].isna().all()


@pytest.mark.parametrize("track", [RECORDED, POSITIONS], ids=["recorded", "positions"])
def test_times_outside_the_track_have_no_speed(track: Track) -> None:
    ground = ground_speed(track)
    outside = np.array([track.time_s[0] - 0.1, track.time_s[-1] + 0.1, -1e12, 1e12])
    assert not ground.at(outside)[2].any()
    assert not ground.travelled_m(outside)[2].any()


def test_distance_between_two_moments_is_that_of_the_road() -> None:
    """Linear speed between fixes is exact but for the corners of the profile: 0.125 m each at 1 m/s²."""
    ground = ground_speed(RECORDED)
    moments = np.array([30.3, 100.7, 333.3, 600.1])
    distance, _, inside = ground.travelled_m(START_S + moments)
    assert inside.all()
    np.testing.assert_allclose(np.diff(distance), np.diff(ROAD.distance(moments)), atol=1.0)


# ---- positions


def test_the_local_fit_is_exact_for_constant_acceleration_on_uneven_times() -> None:
    """A quadratic of time fitted to a quadratic of time; fixes are exact to 1e-9 m, the plane to 1e-9 of a step."""
    road = Road(np.array([0.0, 40.0]), np.array([5.0, 25.0]))
    track = track_of(road, time_s=np.sort(_uneven(39) + 0.5), recorded=False, start_deg=(0.0, -30.0), azimuth_deg=90.0)
    ground = ground_speed(track)
    true = road.speed(track.time_s - START_S)
    np.testing.assert_allclose(ground.speed_mps[INNER], true[INNER], atol=2e-5)
    np.testing.assert_allclose(ground.acceleration[INNER], 0.5, atol=1e-4)


def test_uneven_stamps_do_not_disturb_the_speed_though_they_ruin_an_even_spacing_derivative() -> None:
    """Stamps 0.3 s off the beat either way at a steady 25 m/s: taken as even they scatter by more than 1 m/s."""
    uneven = track_of(_steady(25.0), time_s=_uneven(299) + 0.5, recorded=False)
    even = track_of(_steady(25.0), recorded=False)
    for track in (uneven, even):
        np.testing.assert_allclose(ground_speed(track).speed_mps, 25.0, rtol=2e-6)

    def naive(track: Track) -> FloatArray:
        steps = [
            Geodesic.WGS84.Inverse(*before, *after)["s12"]
            for before, after in zip(
                zip(track.latitude_deg[:-2], track.longitude_deg[:-2], strict=True),
                zip(track.latitude_deg[2:], track.longitude_deg[2:], strict=True),
                strict=True,
            )
        ]
        return np.array(steps) / 2

    assert naive(uneven).std() > 1.0
    assert naive(even).std() < 1e-6


@pytest.mark.parametrize(
    ("start_deg", "azimuth_deg"),
    [((0.0, 20.0), 0.0), ((0.0, 20.0), 90.0), ((60.0, -30.0), 90.0), ((-70.0, 179.99), 60.0), ((45.0, 8.0), 200.0)],
)
def test_speed_is_that_on_the_ellipsoid_whatever_latitude_and_heading(
    start_deg: tuple[float, float], azimuth_deg: float
) -> None:
    """One in 100,000; a sphere is off by 0.56 % to the north at the equator and 0.25 % to the east at 60 degrees."""
    road = _steady(30.0, 120.0)
    track = track_of(road, recorded=False, start_deg=start_deg, azimuth_deg=azimuth_deg)
    np.testing.assert_allclose(ground_speed(track).speed_mps, 30.0, rtol=1e-5)


def test_a_sphere_would_fail_that_check() -> None:
    track = track_of(_steady(30.0, 120.0), recorded=False, start_deg=(0.0, 20.0), azimuth_deg=0.0)
    sphere = np.median(np.diff(np.radians(track.latitude_deg)) * 6371008.8)
    assert abs(sphere / 30.0 - 1) > 4e-3


def test_height_lengthens_the_way_by_height_over_radius() -> None:
    """1600 m on the equator to the east: the radius is the semi-major axis, so 1 + 1600 / 6378137 = 1.00025086."""
    flat = track_of(_steady(25.0), recorded=False, start_deg=(0.0, 5.0), azimuth_deg=90.0)
    high = replace(flat, elevation_m=np.full(len(flat), 1600.0))
    np.testing.assert_allclose(ground_speed(flat).speed_mps, 25.0, rtol=1e-6)
    expected = 25.0 * (1 + 1600 / WGS84_SEMI_MAJOR_M)
    np.testing.assert_allclose(ground_speed(high).speed_mps, expected, rtol=1e-6)


@pytest.mark.parametrize("recorded", [True, False])
@pytest.mark.parametrize("grade", [0.06, -0.06])
def test_a_grade_of_six_per_cent_lengthens_the_road_by_its_secant(recorded: bool, grade: float) -> None:
    """sqrt(1 + 0.06²) = 1.0018; tolerance a tenth of the effect. Both sources give the horizontal speed."""
    time = np.arange(300.0)
    track = track_of(
        _steady(20.0), time_s=time, recorded=recorded, start_deg=(0.0, 5.0), azimuth_deg=90.0,
        elevation_m=1000 + grade * 20.0 * time,
    )  # fmt: skip
    height = (1000 + grade * 20.0 * time) / WGS84_SEMI_MAJOR_M if not recorded else 0.0
    expected = 20.0 * np.sqrt(1 + 0.06**2) * (1 + height)
    np.testing.assert_allclose(ground_speed(track).speed_mps[20:-20], np.broadcast_to(expected, 300)[20:-20], rtol=2e-4)
    level = replace(track, elevation_m=np.full(300, np.nan))
    np.testing.assert_allclose(ground_speed(level).speed_mps, 20.0, rtol=1e-5)


def test_noise_of_the_heights_makes_no_grade() -> None:
    """Independent 3 m from fix to fix: on a level road speed is long by less than 0.01 %."""
    heights = 50 + np.random.default_rng(1).normal(0, 3.0, 600)
    track = track_of(_steady(20.0, 600.0), time_s=np.arange(600.0), elevation_m=heights)
    assert ground_speed(track).speed_mps.mean() == pytest.approx(20.0, rel=1e-4)


def test_heights_that_wander_by_themselves_are_told_at_rest() -> None:
    """12 m in half a minute, two and a half minutes at rest: taken for hills they add 0.17 % to a level road.

    What is left errs with the square of the time that a length of road takes: more at 25 mph than at 55.
    """
    road = plateaus([25, 0, 55, 0, 25, 0, 55, 0, 50, 25], hold_s=60.0)
    fixes = track_of(road)
    at = np.abs(fixes.speed_mps[:, None] / MPH_MPS - (25, 55)) < 1
    off, z = [], []
    for seed in range(20):
        knots = 12 * np.random.default_rng(seed).standard_normal(int(road.length_s / 30) + 5)
        bare = replace(fixes, elevation_m=100 + make_interp_spline(30.0 * np.arange(len(knots)), knots)(_since(fixes)))
        ground = ground_speed(bare)
        off.append([float(ground.road_over_level[band].mean()) - 1 for band in at.T])
        u = np.hypot(ground.u_road_over_level, ground.u_by_climbing(np.array([25, 55]) * MPH_MPS))
        z.append(off[-1] / u)
    assert abs(np.mean(off, axis=0)).max() < 4e-4
    rms = np.sqrt(np.mean(np.square(z), axis=0))
    assert 0.5 < rms.min() <= rms.max() < 2.0


def test_one_missing_height_does_not_throw_away_the_grade() -> None:
    """A logger that dropped one height of three hundred: the grade is still known from all the others."""
    time = np.arange(300.0)
    elevation = 1000 + 0.06 * 20.0 * time
    elevation[150] = np.nan
    track = track_of(_steady(20.0), time_s=time, elevation_m=elevation)
    assert np.median(ground_speed(track).speed_mps) == pytest.approx(20 * np.sqrt(1 + 0.06**2), rel=2e-4)


@pytest.mark.parametrize(
    ("terrain", "low", "high"), [("level", 0.0, 0.015), ("rolling", 0.01, 0.04), ("mountainous", 0.04, 0.09)]
)
def test_told_country_lengthens_the_road_by_half_the_mean_square_grade(
    terrain: Terrain, low: float, high: float
) -> None:
    """Grades drawn evenly between the stated bounds: mean and spread of g^2/2, to three standard errors."""
    longer = np.random.default_rng(3).uniform(low, high, 400_000) ** 2 / 2
    bare = track_of(_steady(20.0))
    ground = ground_speed(bare, terrain)
    assert ground.speed_mps.mean() / 20.0 - 1 == pytest.approx(longer.mean(), rel=0.005, abs=1e-7)
    assert ground.u_road_over_level == pytest.approx(longer.std(), rel=0.005)
    hilly = replace(bare, elevation_m=100 + 0.06 * 20.0 * (bare.time_s - bare.time_s[0]))
    np.testing.assert_array_equal(ground_speed(hilly, terrain).speed_mps, ground_speed(hilly).speed_mps)


def _circle(radius_m: float, speed_mps: float, seconds: int) -> Track:
    """Return fixes along a circle about a place, laid out by geodesics from its middle."""
    time = np.arange(float(seconds))
    points = [Geodesic.WGS84.Direct(-41.0, -160.0, np.degrees(speed_mps * t / radius_m), radius_m) for t in time]
    straight = track_of(_steady(speed_mps, seconds), recorded=False)
    return replace(
        straight,
        latitude_deg=np.array([point["lat2"] for point in points]),
        longitude_deg=np.array([point["lon2"] for point in points]),
    )


def _on_circle(radius_m: float, speed_mps: FloatArray, *, places: int, written_mps: FloatArray) -> Track:
    """Return fixes a second apart along a circle, with positions to so many places of a degree."""
    time = np.arange(float(len(speed_mps)))
    way = np.concatenate(([0.0], np.cumsum((speed_mps[1:] + speed_mps[:-1]) / 2)))
    points = [Geodesic.WGS84.Direct(-41.0, -160.0, np.degrees(s / radius_m), radius_m) for s in way]
    return replace(
        track_of(_steady(13.0, len(time)), time_s=time, recorded=False),
        latitude_deg=np.round([point["lat2"] for point in points], places),
        longitude_deg=np.round([point["lon2"] for point in points], places),
        speed_mps=written_mps,
    )


@pytest.mark.parametrize("cut", [False, True])
@pytest.mark.parametrize(
    ("radius_m", "places", "unit_mps", "seconds", "most_u"),
    [(270.0, 9, KMH_MPS, 600.0, 0.01), (3000.0, 4, MPH_MPS, 1500.0, 0.05)],
)
def test_rounded_speed_is_told_from_cut_speed(
    cut: bool, radius_m: float, places: int, unit_mps: float, seconds: float, most_u: float
) -> None:
    """On a bend of 270 m, and beside positions of four places of a degree, 8 to 11 m.

    In ten seconds at 13 m/s that arc is 1 % longer than its chord, 0.13 m/s, where half a km/h is 0.139 m/s; the way
    between such positions is 1 % longer than the road, where half a mph is 0.22 m/s.
    """
    speed = 13.0 + 2.5 * np.sin(np.arange(seconds) / 17)
    whole = np.floor(speed / unit_mps) if cut else np.round(speed / unit_mps)
    ground = ground_speed(_on_circle(radius_m, speed, places=places, written_mps=whole * unit_mps))
    assert ground.cut_mps == pytest.approx(unit_mps / 2 if cut else 0.0, abs=0.01)
    assert ground.u_cut_mps < most_u


@pytest.mark.parametrize(("radius_m", "usable"), [(30.0, False), (100.0, False), (2000.0, True)])
def test_position_speed_in_corners_carries_nothing(radius_m: float, usable: bool) -> None:
    """At 12 m/s 0.4, 0.12 and 0.006 rad/s; the first is a street corner, the last a bend of a main road."""
    ground = ground_speed(_circle(radius_m, 12.0, 120))
    assert ground.usable[INNER].all() == usable
    assert ground.usable[INNER].any() == usable
    if usable:
        np.testing.assert_allclose(ground.speed_mps[INNER], 12.0, rtol=1e-4)


def test_recorded_speed_counts_in_corners() -> None:
    circle = _circle(30.0, 12.0, 120)
    assert ground_speed(replace(circle, speed_mps=np.full(120, 12.0))).usable.all()


@pytest.mark.parametrize(("recorded", "slowest"), [(True, 2.8), (False, 4.0)])
def test_crawling_carries_nothing(recorded: bool, slowest: float) -> None:
    """The norm of a noisy velocity is biased when slow, and instruments are not linear there."""
    for speed, usable in ((0.9 * slowest, False), (1.1 * slowest, True)):
        assert ground_speed(track_of(_steady(speed), recorded=recorded)).usable[INNER].all() == usable


def test_the_norm_of_a_noisy_velocity_is_put_right() -> None:
    """The bias of 0.2 % is removed, to a quarter of it.

    Independent 1 m of position noise at 5 m/s on the equator: the five-fix velocity has u = 1/sqrt(10) m/s, so its
    norm is long by u² / (2 v) = 0.01 m/s. The mean of 40,000 fixes is known to 0.001 m/s.
    """
    n, speed = 40_000, 5.0
    rng = np.random.default_rng(3)
    east, north = speed * np.arange(n) + rng.normal(0, 1, n), rng.normal(0, 1, n)
    flat = track_of(_steady(speed, 20.0), recorded=False)
    track = replace(
        flat,
        time_s=START_S + np.arange(float(n)),
        latitude_deg=np.degrees(north / 6335439.0),
        longitude_deg=np.degrees(east / WGS84_SEMI_MAJOR_M),
        elevation_m=np.full(n, np.nan),
        speed_mps=np.full(n, np.nan),
        segment=np.zeros(n, np.int64),
    )
    ground = ground_speed(track)
    assert ground.speed_mps.mean() == pytest.approx(speed, abs=0.0025)
    assert ground.u_speed_mps == pytest.approx(1 / np.sqrt(10), rel=0.1)


@pytest.mark.parametrize("every_s", [0.2, 1.0, 2.0, 5.0])
@pytest.mark.parametrize("recorded", [True, False])
def test_any_sampling_gives_the_plateaus(recorded: bool, every_s: float) -> None:
    """In the middle of a plateau of a minute the speed is that of the plateau, at 5 Hz as at 5 s."""
    ground = ground_speed(track_of(ROAD, time_s=np.arange(0, ROAD.length_s, every_s), recorded=recorded))
    middles = (ROAD.corner_s[2:-2:2] + ROAD.corner_s[3:-2:2]) / 2
    speed, rate, inside = ground.at(START_S + middles)
    assert inside.all()
    np.testing.assert_allclose(speed, ROAD.speed(middles), rtol=1e-5)
    np.testing.assert_allclose(rate, 0.0, atol=1e-4)


@pytest.mark.parametrize("n", [0, 1, 3, 9])
def test_too_few_fixes_are_refused_with_what_to_do(n: int) -> None:
    with pytest.raises(speedcal.SpeedcalError, match=f"{n} usable fix") as caught:
        ground_speed(some_fixes(RECORDED, np.arange(len(RECORDED)) < n))
    assert "minutes" in caught.value.remedy


@pytest.mark.parametrize("interval_s", [1.0, 3.0, 6.0, 10.0])
def test_a_bend_between_sparse_fixes_is_as_long_as_its_arc(interval_s: float) -> None:
    """A circle of 500 m at 20 m/s turns 0.04 rad/s: chords are 0.67 % short at 5 s, the speed is not (2e-4)."""
    time = np.arange(0.0, 600.0, interval_s)
    angle = 20.0 / 500.0 * time
    east, north = 500.0 * np.cos(angle), 500.0 * np.sin(angle)
    speed, turning, _, _ = speed_from_positions(time, np.zeros(len(time), np.int64), east, north, interval_s)
    np.testing.assert_allclose(turning[5:-5], 0.04, rtol=1e-6)
    np.testing.assert_allclose(speed[5:-5], 20.0, rtol=2e-4)
