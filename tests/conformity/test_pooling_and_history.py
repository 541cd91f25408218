"""Several drives taken together, and a vehicle over months."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy.signal import lfilter
from support.calibrations import make_calibration, with_line

from speedcal.calibration import calibrate
from speedcal.calibration.result import Calibration
from speedcal.calibration.speed.ground_speed import SpeedSource
from speedcal.calibration.tuning.general import FACTOR_PRIOR_U, OFFSET_PRIOR_MPS
from speedcal.conformity import history, pool
from speedcal.errors import FitError
from speedcal.finding import Finding, Trust
from speedcal.interval import Interval
from speedcal.simulate import simulate
from speedcal.units import MPH_MPS
from speedcal.vehicle import Vehicle, diagnose
from speedcal.vehicle.advised.drives_apart import drives_apart

V = np.repeat(np.array([25.0, 40.0, 55.0]) * MPH_MPS, 20)
"""As many readings as a log has: its needle is believed by one normal distribution, and the sum below is exact."""
SD = 0.5


def _posterior(v: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return estimate and covariance of (offset, factor) for known noise and the prior of logs on the offset."""
    rows, prior = np.column_stack([np.ones_like(v), v]), np.diag([OFFSET_PRIOR_MPS**-2, FACTOR_PRIOR_U**-2])
    covariance = np.linalg.inv(rows.T @ rows / SD**2 + prior)
    return covariance @ (rows.T @ y / SD**2 + prior @ [0.0, 1.0]), covariance


def _noisy(rng: np.random.Generator, offset_mps: float, factor: float) -> np.ndarray:
    return offset_mps + factor * V + rng.normal(0, SD, len(V))


def _drive(rng: np.random.Generator, offset_mps: float, factor: float) -> Calibration:
    return _analysed(V, _noisy(rng, offset_mps, factor))


def _analysed(v: np.ndarray, y: np.ndarray) -> Calibration:
    (a, b), covariance = _posterior(v, y)
    made = make_calibration(n_readings=len(V), speed_range=(25, 55))
    logged = replace(made, readings=made.readings.assign(time_s=1.7e9 + np.arange(len(V))))
    return with_line(logged, a, b, covariance)


def test_drives_that_agree_are_doubted_for_what_all_of_them_show() -> None:
    """Both show 1.4 times the speed; that the first looks like two readers does not hold of the next."""
    drives = [make_calibration(factor=1.4, u_offset=0.2, u_factor=0.004) for _ in range(2)]
    reasons = [(Finding("two_readers"), Finding("may_be_kmh")), (Finding("may_be_kmh"),)]
    weak = [replace(drive, trust=Trust("WEAK", why)) for drive, why in zip(drives, reasons, strict=True)]
    assert [why.code for why in pool(weak).trust.reasons] == ["may_be_kmh"]
    apart = [replace(drive, trust=Trust("WEAK", (why,))) for drive, why in zip(drives, reasons[0], strict=True)]
    assert pool(apart).trust.word == "WEAK"


def test_pooling_gives_what_one_fit_to_all_readings_would() -> None:
    """Two drives and one prior on the offset: the normal equations of all readings, prior counted once."""
    rng = np.random.default_rng(2)
    shown = [_noisy(rng, 0.3, 1.05) for _ in range(3)]
    expected, covariance = _posterior(np.tile(V, 3), np.concatenate(shown))
    pooled = pool([_analysed(V, y) for y in shown])
    assert [pooled.offset_mps.value, pooled.error_factor.value] == pytest.approx(expected, rel=1e-4)
    assert pooled.covariance == pytest.approx(covariance, rel=1e-4)


@pytest.mark.parametrize("pairs", [80, pytest.param(600, marks=pytest.mark.benchmark)])
def test_intervals_of_pooled_drives_hold_the_truth(pairs: int) -> None:
    """Pairs of simulated drives: 95 % of the intervals hold the factor (3 sigma of counting)."""
    rng = np.random.default_rng(4)
    held = 0
    for _ in range(pairs):
        offset = rng.normal(0, MPH_MPS)
        held += pool([_drive(rng, offset, 1.08) for _ in range(2)]).error_factor.contains(1.08)
    assert held / pairs == pytest.approx(0.95, abs=3 * np.sqrt(0.95 * 0.05 / pairs))


def test_drives_that_agree_are_trusted_and_those_that_do_not_are_named() -> None:
    """The third drive reads 4 % higher than the first two: it is named, the interval widens, the word is WEAK."""
    rng = np.random.default_rng(6)
    fine = [_drive(rng, 0.2, 1.05) for _ in range(3)]
    assert pool(fine).trust.word == "TRUSTED"
    mixed = [*fine[:2], _drive(rng, 0.2, 1.09)]
    pooled = pool(mixed)
    assert pooled.trust.word == "WEAK"
    (finding,) = [f for f in pooled.findings if f.code == "drives_disagree"]
    assert "drive 3 is farthest out" in finding.text
    assert pooled.error_factor.half_width > pool(fine).error_factor.half_width * 1.5


@pytest.mark.parametrize(
    ("factors", "groups"),
    [((1.06, 1.02, 1.06, 1.06, 1.02), [[1, 3, 4], [2, 5]]), ((1.02, 1.02, 1.06), []), ((1.0, 1.03, 1.07, 1.1), [])],
)
def test_drives_of_two_states_are_parted_and_no_needle_is_blamed(
    factors: tuple[float, ...], groups: list[list[int]]
) -> None:
    """New tires after the third of five drives were told as drives of which no two agree, and a needle that sticks."""
    pooled = pool([make_calibration(factor=f, u_offset=0.05, u_factor=0.001) for f in factors])
    (finding,) = [f for f in pooled.findings if f.code == "drives_disagree"]
    assert finding.values["groups"] == groups
    (advice, *_) = drives_apart(pooled, "before")
    assert (advice.action == "check_files") == (bool(groups) or len(factors) == 3)


def test_two_sure_drives_that_disagree_give_an_interval_that_holds_both() -> None:
    """1.05 and 1.09, each known to 0.0002: the mean 1.07 has u = |d|/2 = 0.02 (Birge 1932, one degree of freedom).

    Far from u = 0.002/sqrt 2, which the tires of two days alone would give.
    """
    pair = [make_calibration(factor=factor, u_offset=0.001, u_factor=0.0002) for factor in (1.05, 1.09)]
    pooled = pool(pair)
    assert pooled.trust.word == "WEAK"
    assert pooled.error_factor.value == pytest.approx(1.07, abs=0.002)
    assert np.sqrt(pooled.covariance[1, 1]) == pytest.approx(0.02, rel=0.05)
    assert pooled.error_factor.contains(1.05)
    assert pooled.error_factor.contains(1.09)


def test_precise_drives_of_different_days_are_not_called_surer_than_the_days_differ() -> None:
    """Four drives at 1.010 to 1.028, a spread of 0.8 %: the interval of the mean is of the size 2 x 0.8 % / sqrt 4."""
    factors = np.array([1.010, 1.016, 1.022, 1.028])
    pooled = pool([make_calibration(factor=f, u_offset=0.001, u_factor=0.0002) for f in factors])
    spread = float(np.std(factors, ddof=1)) / 2
    assert np.sqrt(pooled.covariance[1, 1]) == pytest.approx(spread, rel=0.1)


@pytest.mark.parametrize("pairs", [80, pytest.param(600, marks=pytest.mark.benchmark)])
def test_chance_alone_seldom_calls_drives_inconsistent(pairs: int) -> None:
    """Truths that agree, tires as on another day: not more than one alarm in twenty (3 sigma of counting)."""
    rng = np.random.default_rng(8)
    alarms = 0
    for _ in range(pairs):
        drives = [_drive(rng, 0.1, 1.05 * (1 + rng.normal(0, 0.002))) for _ in range(2)]
        alarms += any(f.code == "drives_disagree" for f in pool(drives).findings)
    assert alarms / pairs <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / pairs)


def test_pooled_tables_keep_every_reading_with_its_drive_and_run() -> None:
    """Nothing is lost, runs and pieces do not mix, files of all drives are listed, the result is ready for JSON."""
    first = replace(make_calibration(factor=1.05, u_offset=0.5, u_factor=0.01), sources=(("a.gpx", "1"),))
    second = replace(make_calibration(factor=1.05, u_offset=0.5, u_factor=0.01), sources=(("b.gpx", "2"),))
    pooled = pool([first, second])
    assert len(pooled.readings) == len(first.readings) + len(second.readings)
    assert pooled.readings["run"].nunique() == 2 * first.readings["run"].nunique()
    assert set(pooled.ground["piece"]) == {0, 1}
    assert pooled.sources == (("a.gpx", "1"), ("b.gpx", "2"))
    assert pooled.clock_offset_s is None
    assert pooled.to_dict()["readings"]["total"] == 48
    assert sum(line.share for line in pooled.budget) == pytest.approx(1)


def _of_a_slow_needle(kind: str, seed: list[int], lag_s: float, *, days: float = 0.0) -> Calibration:
    """Return a drive whose needle follows the speed as a first-order lag does, and reads 6 % high."""
    drive = simulate(kind, seed, error_factor=1.06, offset_mps=0.0)
    truth, step = drive.truth, MPH_MPS if kind == "noted" else 1 / 3.6
    keep = np.exp(-np.diff(truth.time_s[:2])[0] / lag_s)
    needle = lfilter([1 - keep], [1, -keep], truth.ground_mps, zi=[keep * truth.ground_mps[0]])[0]
    shown = 1.06 * np.interp(truth.reading_time_s, truth.time_s, needle)
    shown += np.random.default_rng(seed).normal(0, 0.5 * MPH_MPS * (kind == "noted"), len(shown))
    by = 86400.0 * days
    readings = replace(drive.readings, time_s=drive.readings.time_s + by, speed_mps=np.round(shown / step) * step)
    return calibrate(replace(drive.track, time_s=drive.track.time_s + by), readings)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_notes_and_a_later_log_of_a_slow_needle_are_of_one_instrument(seed: int) -> None:
    """The lag moves the clock of the notes, and is in the log's readings wherever the speed changes."""
    lag_s = 4.0 if seed == 2 else 3.0
    notes, log = (_of_a_slow_needle(k, [91, seed, i], lag_s, days=3.0 * i) for i, k in enumerate(("noted", "logged")))
    pooled = pool([notes, log])
    assert pooled.needle_lag_s == pytest.approx(lag_s, abs=0.2)
    chance = {item.code: item.probability for item in diagnose(pooled, Vehicle()).hypotheses}
    assert chance["needle_damped"] > 0.5 > 0.1 > chance["foreign_readings"] + chance["needle_sticks"]


def test_coarse_notes_beside_a_log_do_not_make_a_stranger_of_it() -> None:
    """Notes to fives by eyes good to 0.8 mph, then a log of the same dial, whose needle sits 5 mph high."""
    drives = []
    for i, kind in enumerate(("noted", "logged")):
        drive = simulate(kind, [92, i], error_factor=1.02, offset_mps=5 * MPH_MPS)
        readings, by = replace(drive.readings, time_s=drive.readings.time_s + 3e5 * i), 3e5 * i
        if kind == "noted":
            fives = 5 * MPH_MPS
            eyes = np.random.default_rng(92).normal(0, 0.8 * MPH_MPS, len(readings))
            shown = np.round((readings.speed_mps + eyes) / fives) * fives
            readings = replace(readings, speed_mps=shown, speed_resolution_mps=fives)
        drives.append(calibrate(replace(drive.track, time_s=drive.track.time_s + by), readings))
    top = diagnose(pool(drives), Vehicle()).top
    assert top is not None
    assert top.code == "needle_offset"


def test_pooled_readings_that_were_cut_stay_about_their_dial() -> None:
    """Two drives in whole mph cut to fives and told so: figures 2 to 2.5 mph under the needle leave no residual."""
    cut = []
    for seed in range(2):
        drive = simulate("noted", [43, seed])
        low = np.floor(drive.readings.speed_mps / (5 * MPH_MPS) + 1e-6) * 5 * MPH_MPS
        readings = replace(drive.readings, speed_mps=low, speed_resolution_mps=5 * MPH_MPS)
        cut.append(calibrate(drive.track, readings, rounding="down"))
    table = pool(cut).readings
    assert table["residual_mps"][table["used"]].mean() == pytest.approx(0.0, abs=0.7 * MPH_MPS)
    assert (table["predicted_mps"] + table["residual_mps"] - table["indicated_mps"]).abs().max() < 1e-9


def test_odometers_are_pooled_by_inverse_variance() -> None:
    """1.05 ± 0.02 and 1.02 ± 0.01: (1.05/4 + 1.02)/(1/4 + 1) = 1.026, half width 0.02/sqrt 5."""
    pair = [
        make_calibration(u_factor=0.01, u_offset=0.5, odometer_factor=Interval.around(value, half))
        for value, half in ((1.05, 0.02), (1.02, 0.01))
    ]
    found = pool(pair).odometer_factor
    assert found is not None
    assert found.value == pytest.approx(1.026)
    assert found.half_width == pytest.approx(0.02 / np.sqrt(5))


def test_one_drive_is_its_own_pool_and_none_is_refused() -> None:
    """Nothing to combine."""
    single = make_calibration(u_factor=0.01)
    assert pool([single]) is single
    with pytest.raises(FitError, match="no drive to pool"):
        pool([])


def test_a_weak_drive_does_not_make_the_pool_weak() -> None:
    """One good drive is enough; two weak ones stay weak."""
    weak = replace(
        make_calibration(u_factor=0.01, u_offset=0.5), trust=Trust("WEAK", (Finding("few_readings", count=5),))
    )
    good = make_calibration(u_factor=0.01, u_offset=0.5)
    assert pool([weak, good]).trust.word == "TRUSTED"
    assert pool([weak, weak]).trust.word == "WEAK"


def _on_day(day: float, factor: float, u: float = 0.001) -> Calibration:
    drive = make_calibration(factor=factor, u_factor=u)
    start = 1.7e9 + day * 86400
    ground = pd.DataFrame({"time_s": [start, start + 60], "speed_mps": [20.0, 20.0], "piece": [0, 0]})
    readings = drive.readings.assign(time_s=np.linspace(start, start + 60, len(drive.readings)))
    return replace(drive, ground=ground, readings=readings)


def test_wear_shows_as_a_slow_rise() -> None:
    """0.8 % a year over two years, drives given in any order: the trend holds it, and wear is named."""
    drives = [_on_day(day, 1.0 + 0.008 * day / 365.25) for day in (365, 0, 730, 182, 547)]
    found = history(drives)
    assert [row.date for row in found.rows] == sorted(row.date for row in found.rows)
    assert found.trend_percent_a_year is not None
    assert found.trend_percent_a_year.value == pytest.approx(0.8, abs=1e-6)
    assert found.trend_percent_a_year.contains(0.8)
    assert [f.code for f in found.findings] == ["wear"]


def test_a_day_that_the_job_tells_stands_for_one_that_no_track_does() -> None:
    """Checks and logs by time since a start come in the order of their days; without a day they cannot."""
    undated = _on_day(-1.7e9 / 86400, 1.1)
    checks = replace(_on_day(0, 1.0), ground=undated.ground.iloc[:0], speed_source="checks", sources=(("c", "1"),))
    days = ["2031-07-02", "2031-06-30", ""]
    found = history([undated, checks, _on_day(0, 1.0)], days=days)
    assert [row.date for row in found.rows] == ["2023-11-14", "2031-06-30", "2031-07-02"]
    assert [f.code for f in found.findings] == ["jump"]
    with pytest.raises(FitError):
        history([undated, checks])


def test_a_change_of_gear_shows_as_a_jump_and_no_trend() -> None:
    """-9 % from one drive to the next is nobody's tires."""
    found = history([_on_day(0, 1.1), _on_day(30, 1.1), _on_day(60, 1.0)])
    assert [f.code for f in found.findings] == ["jump"]
    assert "−10.0 %" in found.findings[0].text
    assert found.trend_percent_a_year is None


def test_a_reading_that_creeps_down_is_not_called_wear() -> None:
    """Wear makes a tire smaller and the reading higher, never lower."""
    found = history([_on_day(day, 1.05 - 0.00003 * day) for day in range(0, 700, 100)])
    assert [f.code for f in found.findings] == ["creeps_down"]


def test_a_trend_is_that_of_a_weighted_line_with_the_tires_of_each_day() -> None:
    """At 50 mph; each day known to its own uncertainty and to the 0.2 % that tires change from day to day."""
    days, factors, u_factors = np.array([0, 90, 400, 500]), [1.02, 1.024, 1.027, 1.03], [0.001, 0.004, 0.001, 0.002]
    drives = [_on_day(day, factor, u) for day, factor, u in zip(days, factors, u_factors, strict=True)]
    u_percent = 100 * np.hypot(u_factors, 0.002)
    years = days / 365.25
    (slope, _), covariance = np.polyfit(years, 100 * (np.array(factors) - 1), 1, w=1 / u_percent, cov="unscaled")
    trend = history(drives, reference_mps=50 * MPH_MPS).trend_percent_a_year
    assert trend is not None
    assert trend.value == pytest.approx(slope, rel=1e-3)
    assert trend.half_width == pytest.approx(1.96 * np.sqrt(covariance[0, 0]), rel=1e-3)


def test_three_drives_over_a_year_are_enough_for_a_trend() -> None:
    trend = history([_on_day(day, 1.0 + 0.00002 * day) for day in (0, 180, 365)]).trend_percent_a_year
    assert trend is not None
    assert trend.contains(0.00002 * 365.25 * 100)


@pytest.mark.parametrize(
    ("sources", "least"),
    [
        (("recorded", "recorded"), "recorded"),
        (("recorded", "positions"), "positions"),
        (("checks", "positions"), "checks"),
    ],
)
def test_pooled_drives_have_the_least_of_their_sources(sources: tuple[SpeedSource, ...], least: str) -> None:
    drives = [replace(_on_day(30 * i, 1.0), speed_source=source) for i, source in enumerate(sources)]
    assert pool(drives).speed_source == least


def test_two_drives_or_a_month_give_no_trend() -> None:
    """A trend needs three drives and some time."""
    assert history([_on_day(0, 1.0), _on_day(300, 1.005)]).trend_percent_a_year is None
    assert history([_on_day(0, 1.0), _on_day(5, 1.001), _on_day(9, 1.0)]).trend_percent_a_year is None
    with pytest.raises(FitError, match="a history needs drives"):
        history([])


def test_drives_without_a_speed_in_common_are_said_to_be_compared_beyond_what_they_drove() -> None:
    """One in town up to 40 mph, one on the highway from 60: 50 mph lies between."""
    town, highway = (
        replace(_on_day(day, 1.0), dial=make_calibration(u_factor=0.001, speed_range=ends).dial)
        for day, ends in ((0, (20.0, 40.0)), (30, (60.0, 70.0)))
    )
    assert "compared at 50 mph" in " ".join(found.text for found in history([town, highway]).findings)
    assert history([town]).findings == ()


def test_a_drive_that_is_given_twice_counts_once_whatever_its_name_and_zone() -> None:
    """The same two files, a copy of them, and one with the clock of another zone; another drive stays."""
    drives = [simulate("noted", seed, error_factor=1.04) for seed in (1, 2)]
    first, second = (calibrate(drive.track, drive.readings) for drive in drives)
    moved = replace(first, ground=first.ground.assign(time_s=first.ground["time_s"] + 7200))
    renamed = replace(first, sources=tuple((f"copy of {name}", digest) for name, digest in first.sources))
    found = history([first, second, renamed, moved, first])
    assert [row.date for row in found.rows] == [row.date for row in history([first, second]).rows]
    assert [finding.text for finding in found.findings] == ["3 drives given twice and counted once."]
    assert history([first, second]).findings == ()


def test_drives_by_the_time_of_day_alone_are_as_many_as_they_are() -> None:
    """Two at ten o'clock, one of them given twice."""
    found = []
    for seed in (1, 2):
        drive = simulate("logged", seed)
        start_s = drive.track.time_s[0] - 36000.0
        track = replace(drive.track, time_s=drive.track.time_s - start_s, has_date=False)
        found.append(
            calibrate(track, replace(drive.readings, time_s=drive.readings.time_s - start_s, clock="time of day"))
        )
    assert len(history([*found, found[0]]).rows) == 2


def test_a_history_compares_at_one_speed_and_is_ready_for_json() -> None:
    """Offset 1 mph and factor 1: at 50 mph 2 %, at 25 mph 4 %."""
    drive = make_calibration(offset=1.0, u_factor=0.001)
    assert history([drive]).to_dict()["drives"][0]["error_percent"]["value"] == pytest.approx(2.0)
    slow = history([drive], reference_mps=25 * MPH_MPS)
    assert slow.rows[0].error_percent.value == pytest.approx(4.0)
    assert str(slow).startswith("error at a true 25 mph")
