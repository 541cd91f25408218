"""What explains an error factor."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from support.calibrations import make_calibration

from speedcal.errors import VehicleError
from speedcal.interval import Interval
from speedcal.vehicle import Vehicle
from speedcal.vehicle.diagnosed.diagnosis import diagnose
from speedcal.vehicle.diagnosed.explanations import explain
from speedcal.vehicle.diagnosed.identities import axle_groups
from speedcal.vehicle.drivetrain import effective_tire
from speedcal.vehicle.tires.rolling_circumference import roll_by_convention
from speedcal.vehicle.tires.tire_size import parse_tire_size

STATED = {"tire": "LT245/75R16", "tire_before": "LT245/75R16", "axle": "41/11", "driven_gear": 20, "drive_gear": 8}
HEALTHY = 1.015  # the gain of a healthy instrument in the data file


def test_the_last_owner_fitted_410s_comes_out_first_when_it_is_true() -> None:
    calibration = make_calibration(factor=HEALTHY * 4.10 / (41 / 11), u_factor=0.004)
    found = explain(calibration, Vehicle.from_dict(STATED))
    best = found.ranked[0]
    assert best.departs == ("axle",)
    assert "41/10" in dict(best.parts)["axle"]
    assert dict(best.parts)["tire"] == "LT245/75R16"
    assert found.as_stated < 0.01


def test_a_healthy_vehicle_is_explained_by_what_the_job_states() -> None:
    found = explain(make_calibration(factor=HEALTHY, u_factor=0.004), Vehicle.from_dict(STATED))
    assert found.ranked[0].departs == ()
    assert found.as_stated > 0.8


def test_ambiguity_is_shown_with_what_would_settle_it() -> None:
    found = explain(make_calibration(factor=HEALTHY * 1.12, u_factor=0.004), Vehicle.from_dict(STATED))
    assert len({item.departs for item in found.ranked}) > 1
    text = {finding.code: finding.text for finding in found.findings}["ambiguous"]
    assert "count turns" in text


def test_probabilities_are_those_of_bayes_rule_over_a_plain_enumeration() -> None:
    """Only the axle is open: prior 0.75 against 0.25 shared, near ratios likelier; likelihood normal, as documented."""
    vehicle = Vehicle.from_dict({"axle": "41/11", "rolled_turns": 10, "rolled_distance_m": 24.0})
    calibration = make_calibration(factor=1.06, u_factor=0.01)
    found = explain(calibration, vehicle, most=40)
    ratios = np.array([ratio for ratio, _ in axle_groups()])
    stated = int(np.argmin(np.abs(ratios - 41 / 11)))
    ratios[stated] = 41 / 11
    expected = HEALTHY * ratios / (41 / 11)
    u_roll = 0.01 / 10 / 2 / 2.4  # two chalk marks of 5 mm over ten turns
    u = np.sqrt((expected * np.sqrt((0.0125 / HEALTHY) ** 2 + 0.001**2 + u_roll**2)) ** 2 + 0.01**2)
    prior = np.exp(-0.5 * (np.log(ratios / ratios[stated]) / 0.12) ** 2)
    prior[stated] = 0.0
    prior *= 0.25 / prior.sum()
    prior[stated] = 0.75
    joint = prior * np.exp(-0.5 * ((1.06 - expected) / u) ** 2) / u
    posterior = joint / joint.sum()
    got = sorted((item.probability for item in found.ranked), reverse=True)
    assert got == pytest.approx(sorted(posterior, reverse=True)[: len(got)], abs=2e-4)
    assert found.as_stated == pytest.approx(posterior[stated], abs=2e-4)


def test_with_the_instruments_expectation_known_the_whole_chain_is_compared() -> None:
    table = {
        "tire": "35x12.50R17LT",
        "axle": "41/11",
        "drive_gear": 13,
        "driven_gear": 29,
        "turns_per_mile": 1000,
        "gear_family": "indexed housing",
    }
    # 13 x 41/11 / 29 x 593.54 / 1000 = 0.9917: right as stated, within the healthy -1 to +4 %
    right = explain(make_calibration(factor=0.9917 * HEALTHY, u_factor=0.003), Vehicle.from_dict(table))
    assert right.ranked[0].departs == ()
    # a 26-tooth gear left in: 29/26 more
    wrong = explain(make_calibration(factor=0.9917 * HEALTHY * 29 / 26, u_factor=0.003), Vehicle.from_dict(table))
    driven = dict(dict(wrong.by_part)["driven_gear"])
    assert max((n for n in driven if n != "29"), key=lambda n: driven[n]) == "26"


@pytest.mark.parametrize(("part", "ratio"), [({"ratio_box": "21/20"}, 21 / 20), ({"pulse_scaler": "27/32"}, 27 / 32)])
def test_a_box_or_a_scaler_fitted_is_part_of_the_chain(part: dict[str, str], ratio: float) -> None:
    """13 x 41/11 / 29 x 593.54 / 1000 = 0.9917 without it."""
    gears = {"tire": "35x12.50R17LT", "axle": "41/11", "drive_gear": 13, "driven_gear": 29, "turns_per_mile": 1000}
    found = explain(make_calibration(factor=0.9917 * HEALTHY * ratio, u_factor=0.003), Vehicle.from_dict(gears | part))
    assert found.ranked[0].departs == ()
    assert found.as_stated > 0.5


def test_tires_that_explain_fit_the_rim_stated() -> None:
    found = explain(make_calibration(factor=HEALTHY * 1.05, u_factor=0.004), Vehicle.from_dict(STATED))
    tires = [text for text, _ in dict(found.by_part)["tire"]]
    assert len(tires) > 1
    assert {round(parse_tire_size(text).rim_mm / 25.4, 1) for text in tires} == {16.0}


def test_the_beliefs_before_the_drive_are_part_of_the_answer() -> None:
    shown = explain(make_calibration(factor=1.1, u_factor=0.01), Vehicle.from_dict(STATED)).to_dict()
    priors = [prior["text"] for prior in shown["priors"]]
    assert any("75 %" in text for text in priors)
    assert any("J2976" in text for text in priors)
    assert sum(item["probability"] for item in shown["explanations"]) <= 1


def test_a_factor_that_nothing_explains_is_said_to_be_one() -> None:
    found = explain(make_calibration(factor=9.0, u_factor=0.003), Vehicle.from_dict(STATED))
    assert "nothing_explains" in {finding.code for finding in found.findings}


def test_a_part_of_which_nothing_is_stated_is_not_said_to_have_changed() -> None:
    """The right dial before is all that is known: an axle nobody named cannot be compared with itself."""
    table = {"tire": "205/55R16", "tire_before": "195/65R15"}  # roll 1927.3 and 1935.2 mm: reads 0.4 % more
    found = explain(make_calibration(factor=HEALTHY * 1935.2 / 1927.3, u_factor=0.004), Vehicle.from_dict(table))
    assert {name for item in found.ranked for name, _ in item.parts} == {"tire"}
    assert found.ranked[0].departs == ()
    assert found.as_stated > 0.8
    assert all(0.7 < item.factor < 1.4 for item in found.ranked)


def test_of_tires_that_somebody_fitted_the_ones_of_before_are_sought() -> None:
    """285/75R16 rolls 833.9/773.9 as far as LT245/75R16: the size is read off the sidewall, the one before is not."""
    unknown = {key: value for key, value in STATED.items() if key != "tire_before"}
    found = explain(make_calibration(factor=HEALTHY * 833.9 / 773.9, u_factor=0.004), Vehicle.from_dict(unknown))
    best = found.ranked[0]
    assert best.departs == ()
    assert float(parse_tire_size(dict(best.parts)["tire_before"]).diameter_mm) == pytest.approx(833.9, rel=0.02)
    assert "x" not in dict(best.parts)["tire_before"]
    assert any(prior.code == "built_with_fitted" for prior in found.priors)


@pytest.mark.parametrize(("shown", "fits"), [(41 / 10 / (39 / 11), True), (1.0, False)])
def test_other_axle_gears_that_the_job_tells_of_are_the_cause(shown: float, fits: bool) -> None:
    """41/10 in place of 39/11 turns the cable 15.6 % faster; a dial that is right all the same contradicts the job."""
    truck = {"tire": "LT245/75R16", "axle": "41/10", "axle_before": "39/11", "drive_gear": 8, "driven_gear": 19}
    drive = make_calibration(factor=HEALTHY * shown, u_offset=0.2, u_factor=0.004)
    for table in (truck, {**truck, "tire_before": "LT245/75R16"}):
        vehicle = Vehicle.from_dict(table)
        chance = {item.code: item.probability for item in diagnose(drive, vehicle).hypotheses}
        assert (chance["parts_as_stated"] > 0.9) is fits
        assert (explain(drive, vehicle).ranked[0].departs == ()) is fits
    rolls = effective_tire(drive, vehicle)
    assert rolls is not None
    built = roll_by_convention(parse_tire_size("LT245/75R16")).circumference_m.value
    assert rolls.circumference_m.value == pytest.approx(built * 41 / 10 / (39 / 11) / (HEALTHY * shown), rel=1e-9)


def test_of_other_sizes_the_one_next_to_the_sidewall_is_the_likelier() -> None:
    """One drive far from telling them apart: 245/70R16 rolls 2.5 % less, 305/70R16 8 % more."""
    found = explain(make_calibration(factor=HEALTHY, u_factor=0.2), Vehicle.from_dict(STATED), most=2000)
    chance: dict[str, float] = {}
    for item in found.ranked:
        size = dict(item.parts)["tire"]
        chance[size] = chance.get(size, 0.0) + item.probability
    near, far = (parse_tire_size(text).diameter_mm / parse_tire_size("LT245/75R16").diameter_mm
                 for text in ("245/70R16", "305/70R16"))  # fmt: skip
    ratio = np.exp((np.log(float(far)) ** 2 - np.log(float(near)) ** 2) / 2 / 0.07**2)
    assert chance["245/70R16"] / chance["305/70R16"] == pytest.approx(ratio, rel=0.2)


def test_what_a_module_is_set_to_is_what_the_instrument_is_right_for() -> None:
    """The tire LT245/75R16 of 773.9 mm and a module set to one that rolls 4 % more: the dial reads 4 % high."""
    plain = {"tire": "LT245/75R16", "tire_before": "LT245/75R16"}
    right = explain(make_calibration(factor=HEALTHY), Vehicle.from_dict(plain)).ranked[0]
    rolls_mm = 1000 * roll_by_convention(parse_tire_size("LT245/75R16")).circumference_m.value
    table = {"tire": "LT245/75R16", "settings": {"circumference_mm": 1.04 * rolls_mm}}
    found = explain(make_calibration(factor=1.04 * HEALTHY, u_factor=0.004), Vehicle.from_dict(table))
    assert found.ranked[0].departs == ()
    assert found.ranked[0].factor == pytest.approx(1.04 * right.factor)
    assert found.priors[0].code == "right_by_module"


def test_a_cause_of_unknown_size_makes_what_the_drive_shows_and_nothing_speaks_against_it() -> None:
    """Gears nobody counted: normal about what a healthy dial shows, 10 % wide, seen through 1.25 % and the drive."""
    drive = make_calibration(factor=1.13, u_offset=0.3, u_factor=0.006)
    found = {item.code: item for item in diagnose(drive, Vehicle.from_dict({"tire": "LT245/75R16"})).hypotheses}
    wide, narrow = 0.10**2 + 0.005**2, (0.0125 / HEALTHY) ** 2 + (0.006 / 1.13) ** 2
    makes = HEALTHY * np.exp(wide / (wide + narrow) * np.log(1.13 / HEALTHY))
    assert found["gears"].factor == pytest.approx(makes, abs=5e-4)
    assert not found["gears"].against
    assert "factor_unexplained" in {finding.code for finding in found["pulse_count"].against}  # by two or four


def test_an_odometer_that_was_read_is_not_asked_for_once_more() -> None:
    """A dial 6 % high: whether it is the dial alone an odometer tells; beside a right one a bench does."""
    high = {"factor": 1.06, "u_factor": 0.004, "u_offset": 0.3}
    unread = diagnose(make_calibration(**high), Vehicle())
    assert {item.code: item.settled_by for item in unread.hypotheses}["dial_gain"] == "odometer_distance"
    read = diagnose(make_calibration(**high, odometer_factor=Interval(1.0, 0.998, 1.002)), Vehicle())
    assert read.hypotheses[0].code == "dial_gain"
    assert read.settled_by == "bench_test"
    assert "odometer_distance" not in {item.settled_by for item in read.hypotheses}


def test_without_any_statement_there_is_nothing_to_start_from() -> None:
    with pytest.raises(VehicleError, match="Give tire"):
        explain(make_calibration(), Vehicle())


def test_ratios_that_a_drive_cannot_tell_apart_are_one_possibility() -> None:
    labels = [label for _, label in axle_groups()]
    assert any(all(teeth in label for teeth in ("41/10", "45/11", "37/9")) for label in labels)
    ratios = [ratio for ratio, _ in axle_groups()]
    assert all(b / a > 1.005 for a, b in itertools.pairwise(ratios))
