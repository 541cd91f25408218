"""Verdicts: worked cases, risks of a wrong decision, and the change by the work."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from support.calibrations import make_calibration, with_line, word_of
from support.roads import plateaus, readings_of, track_of

from speedcal.calibration import calibrate
from speedcal.calibration.result import Calibration
from speedcal.conformity import history, load_tolerance, plan, verify
from speedcal.conformity.change import compare_speed
from speedcal.finding import Finding, Trust
from speedcal.interval import Interval
from speedcal.simulate import simulate
from speedcal.text.pages.report_for_tech import change_lines
from speedcal.text.results.verdict import change_words, in_full
from speedcal.units import KMH_MPS, MPH_MPS
from speedcal.vehicle import GainChange, Vehicle, correct

KEYS = ("verdict", "probability", "rule", "checks", "predicted_agrees", "readings_needed")
ROAD = plateaus([30, 50])
DRIVE = track_of(ROAD), readings_of(ROAD, np.arange(10.0, 100.0, 10.0))
CHECK_KEYS = ("speed", "indicated", "limit_low", "limit_high", "probability")


def test_the_result_has_the_keys_that_programs_rely_on() -> None:
    """The contract: verdict, probability, rule, checks with five numbers, predicted_agrees, readings_needed."""
    result = verify(None, make_calibration(factor=1.02, u_factor=0.001), "sae_j2976").to_dict()
    assert set(KEYS) <= set(result)
    assert all(set(CHECK_KEYS) <= set(check) for check in result["checks"])
    assert (result["rule"], result["verdict"]) == ("sae_j2976", "pass")
    assert result["predicted_agrees"] is None
    assert result["readings_needed"] == 0


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda dial: verify(None, dial, "sae_j2976", speeds=[0.0]), "speeds must be above zero"),
        (lambda dial: verify(None, dial, "sae_j2976", speeds=[np.nan]), "speeds must be above zero"),
        (lambda dial: history([dial], reference_mps=-1.0), "reference_mps must be above zero"),
        (lambda dial: correct(dial, Vehicle(), speeds=[np.nan]), "speeds must be above zero"),
        (lambda dial: correct(dial, Vehicle(), criterion="best"), "criterion must be one of"),
        (lambda _: correct(None, Vehicle(), unit="kn"), "unit must be mph or km/h"),
        (lambda _: plan(speed_limit=65, unit="kn"), "unit must be mph or km/h"),
        (lambda _: calibrate(*DRIVE, unit="kn"), "unit must be mph or km/h"),
        (lambda dial: verify(None, dial, "sae_j2976", speeds=[]), "at least one"),
        (lambda dial: verify(dial, dial, "sae_j2976", work=np.nan), "a gain must be above zero"),
        (lambda dial: verify(dial, dial, "sae_j2976", work=0.0), "a gain must be above zero"),
        (lambda _: calibrate("drive.gpx", "notes.csv"), "track must be a Track, not str"),
        (lambda dial: correct(dial, {"driven_gear": 19}), "vehicle must be a Vehicle, not dict"),
        (lambda _: replace(DRIVE[0], time_s=DRIVE[0].time_s[::-1]), "time_s must increase"),
        (lambda _: replace(DRIVE[0], time_s=DRIVE[0].time_s.astype("datetime64[s]")), "time_s must be numbers"),
        (lambda _: replace(DRIVE[0], speed_mps=DRIVE[0].speed_mps[1:]), "speed_mps has the shape"),
        (lambda _: replace(DRIVE[0], speed_mps=DRIVE[0].speed_mps[:, None]), "speed_mps has the shape"),
        (lambda _: replace(DRIVE[0], latitude_deg=DRIVE[0].latitude_deg + 200), "latitude_deg must lie between"),
        (lambda _: replace(DRIVE[1], line=[1]), "line has the shape"),
        (lambda _: replace(DRIVE[1], speed_unit="knots"), "speed_unit must be one of mph"),
        (lambda _: replace(DRIVE[1], clock="GPS"), "clock must be one of gps"),
    ],
)
def test_what_a_program_asks_wrongly_is_told_as_such(call: Callable[[Calibration], object], words: str) -> None:
    """No answer at minus one mile an hour, and none in knots."""
    with pytest.raises((ValueError, TypeError), match=words):
        call(make_calibration(factor=1.02, u_factor=0.001))


def test_lists_columns_and_numbers_of_other_libraries_are_taken_as_what_they_are() -> None:
    """Lists, columns that count their rows from five, whole numbers of numpy and whole floats."""
    track, readings = DRIVE
    rows = range(5, 5 + len(track))
    same = replace(track, time_s=list(track.time_s), speed_mps=pd.Series(track.speed_mps, index=rows))
    found = calibrate(same, replace(readings, speed_mps=list(readings.speed_mps)))
    assert found.to_dict() == calibrate(track, readings).to_dict()
    assert [Vehicle.from_dict({"driven_gear": n}).driven_gear for n in (np.int64(19), 19.0)] == [19, 19]
    assert load_tolerance({"percent": 2, "speeds": np.array([30, 60]), "unit": "mph"}).speeds_mps == (
        30 * MPH_MPS,
        60 * MPH_MPS,
    )


@pytest.mark.published("49 CFR 393.82 (70 FR 48054)")
def test_the_unit_of_the_dial_decides_between_five_mph_and_eight_kmh() -> None:
    """A true 50 mph showing 55.0 passes; a true 80 km/h showing 88.04 fails (8 km/h = 4.97 mph)."""
    exact = verify(None, make_calibration(factor=1.1, unit="mph"), "us_393_82")
    assert (exact.verdict, exact.tolerance.name) == ("pass", "us_393_82")
    metric = make_calibration(factor=88.04 / 80, unit="km/h", speed_range=(40, 110))
    failed = verify(None, metric, "us_393_82")
    assert (failed.verdict, failed.tolerance.name) == ("fail", "us_393_82_kmh")


@pytest.mark.published("UN Regulation No. 39, 5.3: 0 <= V1 - V2 <= 0.1 V2 + 4 km/h, both limits included")
@pytest.mark.parametrize(("offset", "factor"), [(0.0, 1.0), (4.0, 1.1)])
def test_an_instrument_exactly_on_a_limit_passes(offset: float, factor: float) -> None:
    """Without uncertainty, V1 = V2 and V1 = 1.1 V2 + 4 both conform at 40, 80 and 120."""
    dial = make_calibration(offset=offset, factor=factor, unit="km/h", speed_range=(40, 120))
    assert verify(None, dial, "un_r39_type").verdict == "pass"
    beyond = make_calibration(offset=offset, factor=factor + (0.001 if factor > 1 else -0.001), unit="km/h")
    assert verify(None, beyond, "un_r39_type").verdict == "fail"


def test_probability_of_one_check_is_that_of_the_normal_distribution() -> None:
    """50 mph shows 51 with u = 0.5 mph, limit 51.5: P = Phi(1) - Phi(-5)."""
    dial = make_calibration(offset=1.0, factor=1.0, u_offset=0.5)
    result = verify(None, dial, {"absolute": 1.5, "unit": "mph", "speeds": [50]})
    assert result.probability == pytest.approx(0.8413444, abs=1e-6)
    (check,) = result.to_dict()["checks"]
    assert (check["speed"], check["indicated"], check["limit_low"], check["limit_high"]) == (50, 51, 48.5, 51.5)


def test_a_rule_without_speeds_is_judged_over_the_driven_range() -> None:
    """Joint over the whole range it cannot be more probable than at any one speed."""
    dial = make_calibration(offset=0.4, factor=1.0, u_offset=0.3, u_factor=0.006)
    result = verify(None, dial, {"percent": 2.5})
    assert [check["speed"] for check in result.to_dict()["checks"]] == list(range(30, 75, 5))
    assert result.driven_range is not None
    assert result.probability == pytest.approx(result.driven_range.probability, abs=1e-9)
    assert result.probability <= min(check.probability for check in result.checks) + 1e-9


def test_a_test_speed_outside_the_driven_range_is_named() -> None:
    """UN R39 asks for 120 km/h = 74.6 mph, driven was 20 to 65; a drive that reaches it says nothing."""
    short = make_calibration(factor=1.03, u_factor=0.002, speed_range=(20, 65))
    assert "outside_driven_range" in {finding.code for finding in verify(None, short, "un_r39_type").findings}
    full = make_calibration(factor=1.03, u_factor=0.002, speed_range=(20, 76))
    assert "outside_driven_range" not in {finding.code for finding in verify(None, full, "un_r39_type").findings}


def test_a_weak_drive_is_said_to_be_weak() -> None:
    """The verdict stands on its interval, and the reader is told what the drive is worth."""
    weak = replace(
        make_calibration(factor=1.02, u_factor=0.001), trust=Trust("WEAK", (Finding("few_readings", count=5),))
    )
    assert "WEAK (" in str(verify(None, weak, "sae_j2976"))


@pytest.mark.parametrize("factor", [1.0, 1.3])
def test_a_rule_that_holds_nowhere_in_the_drive_is_not_proven_and_sends_where_it_holds(factor: float) -> None:
    """ADR 18 asked nothing at 40 km/h and below; a drive from 15 to 22 mph says nothing about it, however it reads."""
    dial = make_calibration(speed_range=(15, 22), factor=factor, u_factor=0.001)
    result = verify(None, dial, "adr18_pre2006")
    assert (result.verdict, result.readings_needed) == ("not proven", None)
    assert [check.outside for check in result.checks] == [True]
    assert [(step.action, step.part) for step in result.advice] == [("drive_again", "after")]
    assert "above 40 km/h" in str(result)
    slow = {"percent": 5, "domain": [5, 10], "unit": "mph"}
    assert "from 5 to 10 mph" in str(verify(None, dial, slow))


def test_speeds_are_in_the_unit_of_the_drive_and_said_to_be_chosen() -> None:
    """Speeds of one's own with a rule in another unit."""
    result = verify(None, make_calibration(factor=1.03, u_factor=0.001), "un_r39_type", speeds=[30, 50])
    assert [check["speed"] for check in result.to_dict()["checks"]] == [30, 50]
    assert "speeds_chosen" in {finding.code for finding in result.findings}


@pytest.mark.published("NIST Handbook 44, 5.53: +-4 % (from memory)")
def test_an_odometer_rule_judges_the_odometer() -> None:
    """1.03 with a 95 % half width of 0.0196 (u = 0.01), limits 0.96 and 1.04: P = Phi(1)."""
    dial = make_calibration(factor=1.1, odometer_factor=Interval.around(1.03, 0.0196))
    result = verify(None, dial, "odo_hb44")
    assert result.probability == pytest.approx(0.841345, abs=1e-5)
    assert result.verdict == "not proven"
    assert result.readings_needed is None
    codes = {finding.code for finding in result.findings}
    assert {"rule_from_memory", "longer_distance"} <= codes


def test_no_needle_proves_what_an_odometer_counts() -> None:
    """A needle is known to be within 3 % of its odometer (95 %, from memory): P = 2 Phi(1.96 x 4/3) - 1 = 0.991.

    It passed; but an instrument may be 14 % off beside an odometer that is right, and the reverse.
    """
    for factor, chance in ((1.0, 0.9911), (1.14, 0.0)):
        unread = verify(None, make_calibration(factor=factor, u_factor=1e-6), "odo_hb44")
        assert unread.verdict == "not proven"
        assert unread.probability == pytest.approx(chance, abs=1e-3)
        assert [(step.action, step.part) for step in unread.advice] == [("drive_again", "odometer")]
        assert "odometer_not_read" in {finding.code for finding in unread.findings}


def _road_test(rng: np.random.Generator, offset: float, factor: float, *, readings: int, u: float = 0.6) -> Calibration:
    """Take readings of standard deviation u [mph] at 30 and 60 mph, ordinary least squares with its covariance."""
    v = np.repeat([30.0, 60.0], readings // 2)
    y = offset + factor * v + rng.normal(0, u, len(v))
    design = np.column_stack([np.ones_like(v), v])
    covariance = np.linalg.inv(design.T @ design) * u**2
    a, b = covariance @ design.T @ y / u**2
    scale = np.diag([MPH_MPS, 1.0])
    straight = with_line(make_calibration(speed_range=(30, 60)), a * MPH_MPS, b, scale @ covariance @ scale)
    return replace(straight, scatter_mps=u * MPH_MPS)


@pytest.mark.parametrize("tests", [80, pytest.param(400, marks=pytest.mark.benchmark)])
@pytest.mark.parametrize(
    ("offset", "factor", "conforms"),
    [
        (1.0, 1.0, True),  # on the upper limit at 30 and at 60: a corner
        (0.0, 1.0, True),  # on the lower limit at both
        (1.0, 1.0001, False),  # just above at both
        (-0.9, 1.03, True),  # on the lower limit at 30, inside at 60
        (-0.001, 1.0, False),  # just low
        (2.0, 0.98, False),  # above at 30
    ],
)
def test_false_passes_and_false_fails_stay_under_the_stated_risk(
    offset: float, factor: float, conforms: bool, tests: int
) -> None:
    """Worst truths of the rule "0 to +1 mph at 30 and 60": at most 5 % of the road tests end in the wrong word."""
    rng = np.random.default_rng(11)
    rule = load_tolerance({"never_low": True, "high_absolute": 1, "unit": "mph", "speeds": [30, 60]})
    drives = [_road_test(rng, offset, factor, readings=24) for _ in range(tests)]
    words = [word_of(drive, rule) for drive in drives]
    assert words[:2] == [verify(None, drive, rule).verdict for drive in drives[:2]]
    wrong = words.count("fail" if conforms else "pass") / len(words)
    assert wrong <= 0.05 + 3 * np.sqrt(0.05 * 0.95 / len(words))


def test_the_readings_that_not_proven_asks_for_settle_it_nine_times_in_ten() -> None:
    """The truth is what the first drive estimated; that many more readings are taken, pooled and judged."""
    rng = np.random.default_rng(3)
    rule = load_tolerance({"never_low": True, "high_absolute": 2, "unit": "mph", "speeds": [50]})
    first = _road_test(rng, 0.25, 1.0, readings=8)
    first = with_line(first, 0.25 * MPH_MPS, 1.0, first.covariance)
    asked = verify(None, first, rule)
    assert asked.verdict == "not proven"
    assert asked.readings_needed is not None
    assert asked.readings_needed > 0
    assert asked.readings_speeds_mps == pytest.approx([50 * MPH_MPS])
    row, settled = np.array([1.0, 50 * MPH_MPS]), 0
    truth = np.array([0.25 * MPH_MPS, 1.0])
    for _ in range(400):
        prior = rng.multivariate_normal(truth, first.covariance)
        mean = truth @ row + rng.normal(0, first.scatter_mps / np.sqrt(asked.readings_needed))
        gain = first.covariance @ row
        gain = gain / (row @ gain + first.scatter_mps**2 / asked.readings_needed)
        a, b = prior + gain * (mean - prior @ row)
        narrower = first.covariance - np.outer(gain, first.covariance @ row)
        pooled = with_line(first, a, b, narrower)
        settled += word_of(pooled, rule) == "pass"
    assert settled / 400 == pytest.approx(0.9, abs=0.05)


def test_an_instrument_on_the_limit_cannot_be_settled_by_readings() -> None:
    """Shown equals the limit: no number of readings is named, and the sentence says so."""
    dial = make_calibration(offset=0.0, factor=1.0, u_offset=0.3)
    result = verify(None, dial, {"never_low": True, "speeds": [50], "unit": "mph"})
    assert (result.verdict, result.readings_needed) == ("not proven", None)
    (said,) = (finding.text for finding in result.findings if finding.code == "on_the_limit")
    assert "at a true 50 mph" in said


@pytest.mark.parametrize(
    ("driven", "stated", "lowest", "passes"),
    [
        ((10, 100), {}, 40, True),
        ((10, 100), {"domain": [10, 100]}, 10, False),
        ((10, 100), {"speeds": [10, 50]}, 10, False),
        ((8, 38), {}, 11.4, True),  # a tractor goes no faster: from 0.3 of that on, as its road test is planned
        ((8, 25), {}, 8, False),
    ],
)
def test_a_rule_of_the_shop_is_judged_at_walking_pace_only_where_it_says_so(
    driven: tuple[float, float], stated: dict[str, list[float]], lowest: float, passes: bool
) -> None:
    """0.5 km/h low, within 5 %: that is the limit at 10 km/h, and a quarter of it at 40, where parts are chosen by."""
    dial = make_calibration(offset=-0.5, u_offset=0.02, unit="km/h", speed_range=driven, n_readings=200)
    result = verify(None, dial, {"percent": 5, "unit": "km/h", **stated})
    assert (result.verdict == "pass") is passes
    assert result.driven_range is not None
    assert result.driven_range.low_mps == pytest.approx(lowest / 3.6)


def test_a_car_driven_in_town_is_judged_from_25_mph_on_as_any_other() -> None:
    """0.8 mph high is 3 % at 25 mph and 8 % at 10; taken for a slow vehicle up to 50 km/h, it failed for the latter."""
    town = make_calibration(offset=0.8, u_offset=0.05, speed_range=(4, 30.5), n_readings=60)
    assert verify(None, town, {"percent": 5}).verdict == "pass"


def test_a_limit_that_is_too_close_is_named_with_the_speed_where_it_is() -> None:
    """0.5 km/h low at all speeds, within 5 %: at 10 km/h that is the limit itself, at 20 km/h half of it."""
    dial = make_calibration(offset=-0.5, u_offset=0.02, unit="km/h", speed_range=(10, 100), n_readings=200)
    result = verify(None, dial, {"percent": 5, "unit": "km/h", "domain": [10, 100]})
    (said,) = (finding.text for finding in result.findings if finding.code == "on_the_limit")
    assert "most of all at a true 10 km/h" in said
    assert all(check.verdict == "pass" for check in result.checks if check.speed_mps > 15 / 3.6)


def _log(factor: float, *codes: str, every_s: float = 1.0) -> Calibration:
    dial = make_calibration(factor=factor, u_factor=0.001, u_offset=0.03, n_readings=300)
    rows = dial.readings.assign(time_s=1.7e9 + every_s * np.arange(300))
    return replace(dial, readings=rows, findings=tuple(Finding(code, within=0.004) for code in codes))


@pytest.mark.parametrize(
    ("before", "asked"),
    [
        (None, True),
        (_log(1.12), False),  # a log of GPS could not have shown 12 % more than GPS
        (
            _log(1.12, every_s=30.0),
            True,
        ),  # nor could notes: somebody read them off the dial, and another log came after
        (_log(1.002), True),
        (_log(1.0, "reads_as_gps"), True),
    ],
)
def test_a_pass_on_a_log_that_may_be_of_gps_says_so_unless_the_log_before_showed_the_error(
    before: Calibration | None, asked: bool
) -> None:
    """Set right, a dial shows what GPS shows; the log before the work tells that it is the dial that is logged."""
    result = verify(before, _log(1.0, "reads_as_gps"), {"percent": 4})
    assert result.verdict == "pass"
    assert ("reads_as_gps" in {finding.code for finding in result.findings}) == asked
    assert ("check that the dial shows what the log says" in in_full(result)) == asked


VEHICLE = Vehicle.from_dict({"driven_gear": 20})


def _drives(factor_after: float, *, offset_after: float = 0.5) -> tuple[Calibration, Calibration]:
    before = make_calibration(offset=0.5, factor=1.10, u_offset=0.5, u_factor=0.009)
    return before, make_calibration(offset=offset_after, factor=factor_after, u_offset=0.5, u_factor=0.009)


def test_work_that_went_to_plan_agrees() -> None:
    """20 teeth replaced by 22: 1.10 becomes 1.10 x 20/22 = 1.00."""
    result = verify(*_drives(1.0), {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    assert result.predicted_agrees is True
    assert result.changes[0].planned.value == pytest.approx(20 / 22)
    assert result.changes[0].predicted_factor.value == pytest.approx(1.0)
    assert result.changes[0].causes == ()


def test_the_common_offset_makes_the_measured_change_sharper_than_the_factors_alone() -> None:
    """Factors alone: 1.96 sqrt(0.009² + 0.009²)/1.05 = 2.4 %; with one needle offset less than half of that."""
    result = verify(*_drives(1.0), {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    assert result.changes[0].measured_change.half_width < 0.012


def test_another_gear_than_planned_is_named_with_its_size() -> None:
    """22 planned, 21 fitted: 1.10 x 20/21 = 1.0476; 22/21 - 1 = +4.76 %."""
    result = verify(*_drives(1.10 * 20 / 21), {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    assert result.predicted_agrees is False
    codes = [cause.what.code for cause in result.changes[0].causes]
    assert codes == ["cause_gear", "cause_housing", "cause_tires", "cause_file"]
    gear, _, tires, file = result.changes[0].causes
    assert gear.fits
    assert (gear.what.values["gear"], gear.what.values["teeth"], gear.what.values["planned"]) == ("driven_gear", 21, 22)
    assert gear.what.values["implied"] == pytest.approx(21)
    assert gear.size_percent == pytest.approx(4.76, abs=0.01)
    assert not tires.fits
    assert tires.what.values["roll_percent"] == pytest.approx(100 * (21 / 22 - 1))
    assert "4.5 % less per turn" in tires.what.text
    assert not file.fits
    assert "not_as_predicted" in {finding.code for finding in result.findings}


def test_a_change_between_two_gears_asks_for_a_count_of_both() -> None:
    """22 planned and 21.6 measured: no other gear is named, which would change the reading by 0.0 %."""
    result = verify(*_drives(1.10 * 20 / 21.6), {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    gear = result.changes[0].causes[0]
    assert (gear.what.code, gear.fits) == ("cause_gear", False)
    assert "21.6 teeth" in gear.what.text
    assert "count the teeth of the gear that came out and of the one that went in" in gear.what.text


def test_the_same_readings_twice_are_recognised() -> None:
    """Nothing changed although a gear was to be: the old gear, or the file of the drive before."""
    result = verify(*_drives(1.10), {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    causes = {cause.what.code: cause for cause in result.changes[0].causes}
    assert causes["cause_file"].fits
    assert causes["cause_file"].what.values["why"] == "unchanged"
    assert causes["cause_gear"].what.values["implied"] == pytest.approx(20)


def test_readings_in_the_wrong_unit_are_recognised() -> None:
    """The drive after written in km/h and read as mph is 1.609 times too high."""
    result = verify(*_drives(1.609344, offset_after=0.8), {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    file = result.changes[0].causes[3]
    assert file.fits
    assert file.what.values["why"] == "kmh_taken_for_mph"


def test_tire_pressure_explains_a_small_difference_only() -> None:
    """0.8 % can be pressure; another gear, 4.5 % a tooth, cannot."""
    sharp = [with_line(d, d.offset_mps.value, d.error_factor.value, d.covariance / 100) for d in _drives(1.0 * 1.008)]
    result = verify(*sharp, {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    gear, _, tires, _ = result.changes[0].causes
    assert tires.fits
    assert not gear.fits


def test_an_odometer_that_changed_otherwise_is_named() -> None:
    """The odometer has no offset: 1.10 to 1.10 where 20/22 was planned."""
    before, after = _drives(1.0)
    before = replace(before, odometer_factor=Interval.around(1.10, 0.003))
    kept = replace(after, odometer_factor=Interval.around(1.10, 0.003))
    result = verify(before, kept, {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22})
    assert [(change.quantity, change.agrees) for change in result.changes] == [("speed", True), ("odometer", False)]
    assert result.predicted_agrees is False
    said = (change_words(result.changes[1]), change_lines(result.changes[1])[0], result.findings[0].text)
    assert all(text.lower().startswith(("odometer", "the odometer")) for text in said), said
    fine = replace(after, odometer_factor=Interval.around(1.0, 0.003))
    assert verify(before, fine, {"percent": 5}, vehicle=VEHICLE, work={"driven_gear": 22}).predicted_agrees is True


def test_work_without_a_known_gear_still_gives_a_verdict() -> None:
    """The vehicle does not say which gear was fitted before: no prediction, one finding, and the verdict stands."""
    result = verify(*_drives(1.0), {"percent": 5}, vehicle=Vehicle.from_dict({}), work={"driven_gear": 22})
    assert result.predicted_agrees is None
    assert "change_not_predicted" in {finding.code for finding in result.findings}


def test_a_note_alone_predicts_nothing() -> None:
    """Work that says only what was written down."""
    assert verify(*_drives(1.0), {"percent": 5}, vehicle=VEHICLE, work={"note": "washed"}).predicted_agrees is None


@pytest.mark.parametrize("pairs", [300, pytest.param(800, marks=pytest.mark.benchmark)])
def test_agreement_is_lost_by_chance_in_one_case_of_twenty(pairs: int) -> None:
    """Simulated pairs of drives that went to plan: 95 % agree (binomial 3 sigma)."""
    rng = np.random.default_rng(5)
    before, after = _drives(1.0)
    agree = 0
    for _ in range(pairs):
        pair = []
        for drive in (before, after):
            a, b = rng.multivariate_normal([drive.offset_mps.value, drive.error_factor.value], drive.covariance)
            b *= 1 + (rng.normal(0, 0.002) if drive is after else 0)
            pair.append(with_line(drive, a, b, drive.covariance))
        agree += compare_speed(*pair, GainChange(20 / 22, 0.0)).agrees
    assert agree / pairs == pytest.approx(0.95, abs=3 * np.sqrt(0.05 * 0.95 / pairs))


def test_a_planned_change_of_tires_is_shown_with_what_is_not_known_of_it() -> None:
    """Sizes say what a tire rolls to a per cent or two; a change of teeth is exact and shown without an interval."""
    before, after = (make_calibration(factor=f, u_offset=0.1, u_factor=0.001) for f in (1.0, 0.98))
    vehicle = Vehicle.from_dict({"tire": "205/55R16", "driven_gear": 20})
    assert vehicle.rolled is not None
    tires = verify(before, after, {"percent": 5, "unit": "mph"}, vehicle=vehicle, work={"tire": "205/55R16"}).changes[0]
    half = 1.959964 * np.sqrt(2) * vehicle.rolled.u_relative  # two tires, each as uncertain as the other
    assert tires.planned.value == 1.0
    assert tires.planned.half_width == pytest.approx(half)
    assert tires.predicted_factor.half_width == pytest.approx(np.hypot(half, 1.96 * 0.001))
    assert f"(−{100 * half:.1f} to +{100 * half:.1f})" in change_words(tires)
    teeth = verify(before, after, {"percent": 5, "unit": "mph"}, vehicle=vehicle, work={"driven_gear": 22}).changes[0]
    assert "planned change −9.1 %, measured" in change_words(teeth)  # 20/22 - 1


@pytest.mark.parametrize("seed", range(3))
def test_a_rule_open_on_either_side_of_what_was_driven_asks_for_readings_on_both(seed: int) -> None:
    """UN R39 at 40 and 120 km/h, driven were 50 to 86; a dial 1.4 km/h above the lower limit at 40, 2.3 at 120.

    That is no dial on a limit: three readings of 0.8 km/h at each are known to 0.5, nine times in ten enough at 40.
    """
    drive = simulate("noted", [91, seed])
    ground, readings = drive.truth.reading_ground_mps, drive.readings
    driven = (ground > 50 * KMH_MPS) & (ground < 86 * KMH_MPS)
    shown = 1.012 * ground + 0.9 * KMH_MPS + np.random.default_rng(seed).normal(0, 0.2, len(ground))
    readings = replace(
        readings,
        time_s=readings.time_s[driven],
        odometer_m=readings.odometer_m[driven],
        line=readings.line[driven],
        speed_mps=np.round(shown[driven] / KMH_MPS) * KMH_MPS,
    )
    result = verify(None, calibrate(drive.track, readings, unit="km/h"), "un_r39_type")
    assert result.verdict == "not proven"
    assert result.readings_speeds_mps == pytest.approx([speed * KMH_MPS for speed in (40, 80, 120)])
    assert result.readings_needed is not None
    assert 3 <= result.readings_needed <= 30
    assert result.advice[0].action == "drive_again"


def test_nobody_is_sent_to_drive_faster_than_in_the_road_test_without_need() -> None:
    """UN R39 names 120 km/h, 74.6 mph; driven were 25 to 65 mph, where readings at both ends pin the whole line.

    One mile an hour above the lower limit everywhere, known to 0.4 at 25, the ends and more beyond: with n/2 readings
    of 0.27 m/s at each end the line is known to 0.27 sqrt(2/n) there, so a few dozen are plenty.
    """
    drive = make_calibration(offset=1.0, factor=1.0, u_offset=1.0, u_factor=0.02, speed_range=(25.0, 65.0))
    result = verify(None, drive, "un_r39_type")
    assert result.verdict == "not proven"
    assert result.readings_speeds_mps == pytest.approx([25 * MPH_MPS, 65 * MPH_MPS])
    assert result.readings_needed is not None
    assert 4 <= result.readings_needed <= 60
    text = next(finding.text for finding in result.findings if finding.code == "more_readings")
    assert "at a true 25 and 65 mph (half of them at each)," in text
