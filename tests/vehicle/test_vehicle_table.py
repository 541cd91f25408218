"""The [vehicle] and [work] tables, gear families, and the chain they describe."""

from __future__ import annotations

import contextlib
import json
from pathlib import Path

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from support.calibrations import make_calibration

from speedcal.errors import VehicleError
from speedcal.kinds import parse_teeth
from speedcal.statements import stated
from speedcal.text.words.parts import MEASURED_BY
from speedcal.units import MILE_M
from speedcal.vehicle import GearFamily, Vehicle, Work, correct, load_family, parse_tire_size, solve_train
from speedcal.vehicle.data import shipped_families
from speedcal.vehicle.tires.rolling_circumference import parse_roll_out
from speedcal.vehicle.train.axle_ratio import parse_turns

FAMILY = """
name = "three gears"
title = "A drive with three gears"

[driven]
teeth = [17, 18, 20]
source = "counted on the shelf"
status = "measured"

[[orientation]]
teeth = "17-18"
source = "counted on the shelf"

[[orientation]]
teeth = "20"
"""


def test_an_empty_table_is_a_vehicle_of_which_nothing_is_known() -> None:
    """Nothing stated, nothing offered: no scaler either."""
    car = Vehicle.from_dict({})
    assert car == Vehicle()
    told = solve_train(make_calibration(), car)
    assert told.value is None
    assert set(told.unknown) == {"instrument", "driven_gear", "drive_gear", "axle", "tire"}
    assert set(told.unknown) <= set(MEASURED_BY)


@pytest.mark.parametrize(
    ("wrong", "nearest"),
    [
        ("tyre", "tire"),
        ("driven_gera", "driven_gear"),
        ("axel", "axle"),
        ("original_tire", "tire_before"),
        ("stock-tires", "tire_before"),
        ("axle ratio", "axle"),
        ("speedo_gear", "driven_gear"),
        ("revs_per_mile", "tire_turns_per_mile"),
    ],
)
def test_an_unknown_name_is_refused_with_the_nearest_valid_one(wrong: str, nearest: str) -> None:
    with pytest.raises(VehicleError, match=rf"job.toml: \[vehicle\] has no key '{wrong}': did you mean '{nearest}'\?"):
        Vehicle.from_dict({wrong: 1}, source="job.toml")


def test_every_problem_of_the_table_is_listed_at_once() -> None:
    table = {
        "tire": "35q",
        "axle": "11/41",
        "driven_gear": 28.5,
        "turns_per_mile": -1,
        "sensor": "hub",
        "tread_mm": "x",
    }
    with pytest.raises(VehicleError) as caught:
        Vehicle.from_dict(table, source="job.toml")
    message = str(caught.value)
    for key in table:
        assert f"[vehicle] {key}: " in message


@pytest.mark.parametrize(
    ("setting", "code"),
    [
        ({"circumference_mm": 210}, "no_wheel_rolls_so"),  # centimeters
        ({"diameter_in": 720}, "no_wheel_rolls_so"),  # millimeters
        ({"turns_per_mile": 4000}, "no_wheel_rolls_so"),  # pulses
        ({"turns_per_km": {"now": 40, "step": 1}}, "no_wheel_rolls_so"),
        ({"circumference_mm": {"now": 2100, "low": 3000, "high": 1000}}, "ends_crossed"),
        ({"circumference_mm": {"now": 2100, "low": 2200, "high": 3000}}, "outside_its_ends"),
        ({"axle_ratio": {"now": 5.2, "low": 2.5, "high": 5}}, "outside_its_ends"),
        ({"diameter_in": {"now": 28.9, "values": "27, 28.9"}}, "not_numbers"),
        ({"diameter_in": {"now": 28.9, "values": [27, -3]}}, "out_of_range"),
    ],
)
def test_a_setting_that_cannot_be_is_refused_and_not_reckoned_with(setting: dict[str, object], code: str) -> None:
    with pytest.raises(VehicleError, match=rf"\[vehicle.settings.{next(iter(setting))}\]") as caught:
        Vehicle.from_dict({"settings": setting})
    assert caught.value.code == code


@pytest.mark.parametrize("setting", [{"circumference_mm": 1290}, {"turns_per_mile": 250}, {"pulses_per_mile": 128000}])
def test_scooters_tractors_and_fine_pulses_are_no_mistakes(setting: dict[str, float]) -> None:
    assert Vehicle.from_dict({"settings": setting}).settings[0].now == next(iter(setting.values()))


def test_gears_the_wrong_way_round_are_asked_after() -> None:
    """The drive gear on the output shaft is the smaller of the two."""
    for table, asked in (({"drive_gear": 19, "driven_gear": 8}, True), ({"drive_gear": 8, "driven_gear": 19}, False)):
        found = correct(make_calibration(factor=1.1), Vehicle.from_dict(table)).findings
        assert ("gears_may_be_swapped" in {finding.code for finding in found}) is asked


@pytest.mark.parametrize(("drive", "driven", "turns", "asked"), [(23, 8, 1000, True), (21, 15, 1190, False)])
def test_gears_that_only_swapped_explain_the_drive_are_counted_before_any_is_ordered(
    drive: int, driven: int, turns: float, *, asked: bool
) -> None:
    """680 turns a mile x 41/11 x 8/23 are 882 of 1000, x 23/8 were 7287; 850 x 21/15 are the 1190 of a motorcycle."""
    table: dict[str, object] = {"drive_gear": drive, "driven_gear": driven, "turns_per_mile": turns}
    table |= {"tire_turns_per_mile": 680, "axle": "41/11"} if asked else {"tire_turns_per_mile": 850, "sensor": "wheel"}
    factor = 0.88 if asked else 1.08
    found = correct(make_calibration(factor=factor, u_offset=0.2, u_factor=0.004), Vehicle.from_dict(table))
    assert ((found.advice[0].action, found.advice[0].part) == ("check_count", "gears")) is asked
    counted = correct(
        make_calibration(factor=factor, u_factor=0.004), Vehicle.from_dict(table | {"gears_counted": True})
    )
    assert "check_count" not in {entry.action for entry in counted.advice}


def test_a_family_file_that_is_not_there_is_said_to_be_missing(tmp_path: Path) -> None:
    with pytest.raises(VehicleError, match=r"there is no gear family file 'shelf.toml'"):
        load_family("shelf.toml", folder=tmp_path)


@pytest.mark.parametrize(
    "table",
    [
        {"turns_per_mile": 1000, "turns_per_km": 621},
        {"tire_turns_per_mile": 600, "tire_turns_per_km": 370},
        {"rolled_turns": 3},
        {"rolled_distance_m": 8.0},
        {"pulse_scaler": "0/3"},
        {"settings": {"circumference": 2000}},
        {"settings": 2000},
        {"ratio_box_teeth": "two"},
        {"gear_family": "indexed house"},
        {"gear_family": 3},
        {"tire": "205/55R16", "tread_mm": 12},
        {"criterion": "best"},
        {"acceptable_percent": 0},
        {"label": ["x"]},
    ],
)
def test_values_that_cannot_be_used_are_refused(table: dict[str, object]) -> None:
    with pytest.raises(VehicleError):
        Vehicle.from_dict(table, source="job.toml")


_VALUES = st.one_of(
    st.none(), st.booleans(), st.integers(-5, 10**12), st.floats(), st.text(max_size=30),
    st.lists(st.integers(), max_size=3),
    st.sampled_from(["205/55R16", "41/11", "1e999999999", "9" * 5000, "L" * 50, "0/0", "21-45", "indexed housing"]),
    st.dictionaries(st.sampled_from(["now", "step", "circumference_mm", "axle_ratio"]), st.floats(), max_size=2),
)  # fmt: skip


@settings(max_examples=40, deadline=None)
@example(table={"settings": None})
@given(table=st.dictionaries(st.sampled_from(sorted(stated("vehicle").keys)), _VALUES, max_size=8))
def test_any_table_gives_a_vehicle_or_one_of_our_errors(table: dict[str, object]) -> None:
    try:
        car = Vehicle.from_dict(table, source="job.toml")
    except VehicleError:
        return
    shown = correct(make_calibration(factor=1.07, u_factor=0.01), car).to_dict()
    assert json.loads(json.dumps(shown, allow_nan=False)) == shown


@settings(max_examples=150, deadline=None)
@example(text="00X0B00")
@given(text=st.one_of(st.text(max_size=40), st.from_regex(r"(LT|P)?[0-9/x.R -]{3,14}[A-Z0-9 ]*", fullmatch=True)))
def test_any_text_is_a_size_a_count_and_a_roll_out_or_refused(text: str) -> None:
    for read in (parse_tire_size, parse_turns, parse_roll_out):
        with contextlib.suppress(VehicleError):
            read(text)


def test_a_long_row_of_letters_is_refused_at_once() -> None:
    with pytest.raises(VehicleError):
        parse_tire_size("205/55R16 " + "L" * 49 + "!")


def test_turns_per_mile_and_per_km_are_the_same_expectation() -> None:
    per_mile = Vehicle.from_dict({"turns_per_mile": 1000}).expected_per_m
    per_km = Vehicle.from_dict({"turns_per_km": 1000 / 1.609344}).expected_per_m
    assert per_mile == pytest.approx(1000 / MILE_M)
    assert per_km == pytest.approx(per_mile)


def test_a_roll_out_is_preferred_to_the_makers_figure_and_that_to_the_convention() -> None:
    table: dict[str, object] = {"tire": "205/55R16"}
    by_size = Vehicle.from_dict(table).rolled
    by_maker = Vehicle.from_dict(table | {"tire_turns_per_mile": 830}).rolled
    by_chalk = Vehicle.from_dict(
        table | {"tire_turns_per_mile": 830, "rolled_turns": 3, "rolled_distance_in": 227.0}
    ).rolled
    assert by_size is not None
    assert by_maker is not None
    assert by_chalk is not None
    assert (by_size.status, by_maker.status, by_chalk.status) == ("secondary", "stated", "measured")
    assert by_chalk.circumference_m.value == pytest.approx(227 * 0.0254 / 3)


def test_a_pulse_sensor_without_gears_sits_on_the_output_shaft() -> None:
    car = Vehicle.from_dict({"pulses_per_mile": 4000, "pulses_per_turn": 8, "axle": "41/11"})
    assert car.sensor == "output shaft"
    # one unknown, the tire: 8 x 41/11 / (C x 4000/1609.344) = 1  ->  C = 11.9967 m / ... by hand
    told = solve_train(make_calibration(factor=1.0), car)
    assert told.determined == "tire"
    assert told.value is not None
    assert told.value.value == pytest.approx(8 * 41 / 11 * 1609.344 / 4000)


@pytest.mark.published(
    "SAE J678 / electronic output of 4 000 pulses per mile: 4 pulses per turn of 1 000 turns per mile"
)
def test_four_thousand_pulses_are_four_pulses_of_a_thousand_turns() -> None:
    gears: dict[str, object] = {"drive_gear": 8, "driven_gear": 22, "axle": "41/11"}
    turns = Vehicle.from_dict(gears | {"turns_per_mile": 1000})
    pulses = Vehicle.from_dict(gears | {"pulses_per_mile": 4000, "pulses_per_turn": 4})
    calibration = make_calibration(factor=1.02)
    assert solve_train(calibration, turns).value == solve_train(calibration, pulses).value


@pytest.mark.published(
    "Reg. (EU) 165/2014 Annex I definitions: l = 2000 mm, axle 4.0, 6 pulses per shaft turn give 12 000 per km"
)
def test_the_characteristic_coefficient_of_a_vehicle_follows_from_its_chain() -> None:
    truck = Vehicle.from_dict({"axle": "40/10", "pulses_per_turn": 6, "rolled_turns": 10, "rolled_distance_m": 20.0})
    told = solve_train(make_calibration(factor=1.0), truck)
    assert told.determined == "instrument"
    assert told.value is not None
    assert told.value.value / MILE_M * 1000 == pytest.approx(12000)


def test_a_transfer_case_upstream_multiplies_the_turns() -> None:
    base: dict[str, object] = {"axle": "41/11", "drive_gear": 8, "driven_gear": 20, "turns_per_mile": 1000}
    direct = solve_train(make_calibration(), Vehicle.from_dict(base)).value
    geared = solve_train(make_calibration(), Vehicle.from_dict(base | {"transfer_ratio": "2/1"})).value
    assert direct is not None
    assert geared is not None
    assert geared.value == pytest.approx(2 * direct.value)


def test_a_chain_that_contradicts_the_drive_is_said_to() -> None:
    truck = Vehicle.from_dict(
        {"tire": "35x12.50R17", "axle": "41/11", "drive_gear": 13, "driven_gear": 29, "turns_per_mile": 1000}
    )
    agreeing = correct(make_calibration(factor=0.99, u_factor=0.003), truck)
    assert "chain_contradicts_drive" not in {finding.code for finding in agreeing.findings}
    contrary = correct(make_calibration(factor=1.09, u_factor=0.003), truck)
    found = {finding.code: finding for finding in contrary.findings}["chain_contradicts_drive"]
    assert found.values["driven_m"] / found.values["stated_m"] == pytest.approx(0.9917 / 1.09, abs=1e-4)
    assert "9.0 % less per turn" in found.text
    assert "is not what is stated" in found.text


def test_a_chain_that_no_tire_fits_is_said_to_hold_a_wrong_number() -> None:
    # 4000 pulses per mile belong to a driven gear; on the output shaft the tire would have to roll 12 m
    car = Vehicle.from_dict({"pulses_per_mile": 4000, "pulses_per_turn": 8, "axle": "41/11"})
    assert "chain_implausible" in {finding.code for finding in correct(make_calibration(), car).findings}


def test_the_work_table_is_read_and_refused_like_the_vehicles() -> None:
    work = Work.from_dict(
        {"driven_gear": 29, "pulse_scaler": "12/13", "settings": {"turns_per_mile": 600}, "note": "ok"}
    )
    assert work.driven_gear == 29
    assert str(work) == "driven gear 29, pulse scaler 12/13, module 600 turns per mile"
    assert str(Work()) == "nothing changed"
    with pytest.raises(VehicleError, match="did you mean 'driven_gear'"):
        Work.from_dict({"driven_geer": 29})


def test_a_family_of_ones_own_beside_the_job_is_used(tmp_path: Path) -> None:
    (tmp_path / "shelf.toml").write_text(FAMILY)
    car = Vehicle.from_dict({"driven_gear": 20, "gear_family": "shelf.toml"}, folder=tmp_path)
    assert car.family is not None
    result = correct(make_calibration(factor=0.91), car)  # 20 x 0.91 = 18.2 teeth
    best = result.driven_gear[0]
    assert dict(best.parts)["teeth"] == 18
    assert best.orientation == "17-18"
    # 19 would be third best after 18 and is not on the shelf
    assert {dict(c.parts)["teeth"] for c in result.driven_gear if c.available} == {17, 18, 20}
    assert car.family.sources()[0] == {"value": "driven gear", "source": "counted on the shelf", "status": "measured"}


@pytest.mark.parametrize("name", ["../shelf.toml", "/etc/shelf.toml", "nothing.toml"])
def test_a_family_file_elsewhere_or_missing_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(VehicleError, match="gear family file"):
        load_family(name, folder=tmp_path)


@pytest.mark.parametrize(
    "table",
    [{}, {"name": "x", "driven": 5}, {"name": "x", "driven": {"teeth": "5-200"}}, {"name": "x", "colour": "red"},
     {"name": "x", "note": "text"}, {"name": "x", "driven": {"tooth": [20]}}],
)  # fmt: skip
def test_a_family_that_is_not_complete_is_refused(table: dict[str, object]) -> None:
    with pytest.raises(VehicleError):
        GearFamily.from_dict(table, source="shelf.toml")


@pytest.mark.parametrize(
    ("text", "teeth"),
    [("21-24", (21, 22, 23, 24)), ("8, 9, 13-14", (8, 9, 13, 14)), ([9, 8, 8], (8, 9)), ("17", (17,))],
)
def test_teeth_are_read_as_ranges_and_lists(text: object, teeth: tuple[int, ...]) -> None:
    assert parse_teeth(text) == teeth


@pytest.mark.parametrize("text", ["", "a-b", "24-21", "1-2-3", [20.5], None, [True]])
def test_what_are_no_teeth_is_refused(text: object) -> None:
    with pytest.raises(ValueError, match="teeth"):
        parse_teeth(text)


def test_every_shipped_family_states_a_source_and_a_status_for_each_value() -> None:
    assert shipped_families()
    for table in shipped_families().values():
        family = GearFamily.from_dict(table, source="shipped")
        assert all(row["source"] != "not stated" and row["status"] != "not stated" for row in family.sources())


@pytest.mark.published("32-38 is one of four orientations: common practice, no source; the other ranges from memory")
def test_the_indexed_housing_has_four_orientations_that_cover_its_gears_once() -> None:
    family = load_family("indexed housing", folder=None)
    assert [str(item) for item in family.orientations] == ["21-25", "26-31", "32-38", "39-45"]
    assert family.driven is not None
    assert sorted(n for item in family.orientations for n in item.teeth) == list(family.driven.teeth)
    statuses = {row["value"]: row["status"] for row in family.sources()}
    assert statuses["orientation 32-38"] == "common practice, no source"
    assert statuses["orientation 26-31"] == "from memory"
    assert any("90-110 in-lb" in text for text, _ in family.notes)
