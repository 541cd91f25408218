"""The commands axle, tire, correct and explain."""

from __future__ import annotations

import json
import math
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from speedcal.cli import cli, main
from speedcal.errors import SpeedcalError
from speedcal.jobs import load_job
from speedcal.simulate import simulate, write_drive
from speedcal.units import MILE_M

JOB = """
[job]
unit = "mph"

[vehicle]
label = "invented pickup"
tire = "35x12.50R17LT"
axle = "41/11"
drive_gear = 13
driven_gear = 26
turns_per_mile = 1000
gear_family = "indexed housing"

[before]
track = "track.gpx"
readings = "readings.csv"
"""


def run(*arguments: str) -> Result:
    return CliRunner().invoke(cli, arguments, catch_exceptions=False)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a job whose truth is 28.76 teeth: 35 in tires rolled by convention, 41/11, 13 on 26 teeth."""
    folder = tmp_path_factory.mktemp("job")
    factor = 13 * (41 / 11) / 26 * MILE_M / (3.05 * 0.889) / 1000
    write_drive(simulate("logged", 4, error_factor=factor, offset_mps=0.0), folder)
    (folder / "job.toml").write_text(JOB)
    return folder / "job.toml"


def test_counting_begins_with_the_cautions_on_standard_error() -> None:
    result = run("axle", "1:just short of 4")
    assert result.exit_code == 0
    assert result.stderr.startswith("caution: Wheels off the ground")
    assert "caution" not in result.stdout
    assert "3.727 (41/11)" in result.stdout.splitlines()[1]


def test_the_help_of_counting_begins_with_the_cautions_too() -> None:
    text = run("axle", "--help").stdout
    assert text.index("BEFORE COUNTING TURNS") < text.index("COUNTS are")
    assert "rated stands" in text


def test_counts_in_json_carry_cautions_ratio_and_pairs() -> None:
    shown = json.loads(run("axle", "--one-wheel", "20:37.25", "--json").stdout)
    assert any("never run the engine" in text for text in shown["cautions"])
    assert shown["axle_ratio"]["value"] == pytest.approx(3.725)
    assert shown["pairs"][0]["teeth"] == "41/11"


def test_engine_speed_is_taken_at_the_unit_asked_for() -> None:
    options = ("--rpm", "3000", "--gear", "1", "--tire", "10:20m", "--json")
    metric = json.loads(run("axle", "--speed", "100", "--unit", "km/h", *options).stdout)
    assert metric["axle_ratio"]["value"] == pytest.approx(3.6)
    imperial = json.loads(run("axle", "--speed", "100", *options).stdout)
    assert imperial["axle_ratio"]["value"] == pytest.approx(3.6 / 1.609344, abs=1e-5)


@pytest.mark.parametrize(
    ("arguments", "missing"),
    [
        (("axle",), "--rpm"),
        (("axle", "--rpm", "3000"), "--speed"),
        (("tire", "205/55R16", "--driven-gear", "20"), "--instead-of"),
    ],
)
def test_missing_parts_of_a_question_are_named(arguments: tuple[str, ...], missing: str) -> None:
    with pytest.raises(SpeedcalError, match=missing):
        run(*arguments)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("axle", "10"), "WHEEL:SHAFT"),
        (("axle", "10:many"), "37.25"),
        (("axle", "--rpm", "1", "--speed", "1", "--gear", "x", "--tire", "205/55R16"), "0.73"),
        (("tire", "wide"), "205/55R16"),
        (("tire", "205/55R16", "--tread", "12"), "--new-tread"),
        (("tire", "205/55R16", "--roll-out", "3"), "3:8.12m"),
        (("tire", "205/55R16", "--instead-of", "195/65R15", "--axle", "1/4"), "axle"),
        (("correct", "nothing.toml"), "nothing.toml"),
        (("explain", "nothing.toml"), "nothing.toml"),
    ],
)
def test_unusable_input_ends_in_one_message_and_status_2(
    arguments: tuple[str, ...], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as caught:
        main(arguments)
    assert caught.value.code == 2
    error = capsys.readouterr().err.splitlines()[-1]
    assert error.startswith("speedcal: ")
    assert words in error


def test_a_tire_is_shown_nominal_and_rolled_with_the_source_of_the_convention() -> None:
    text = run("tire", "LT235/85R16").stdout
    assert "805.9 mm = 31.73 in" in text
    assert "2458.0  (" in text
    assert "ETRTO" in text
    assert "not verified" in text


def test_two_tires_side_by_side_in_json() -> None:
    shown = json.loads(
        run("tire", "195/50R15", "--instead-of", "185/70R14", "--speeds", "60,100", "--unit", "km/h", "--json").stdout
    )
    assert shown["instead_of"]["percent"] == pytest.approx(6.701, abs=1e-3)
    assert [row["ground"] for row in shown["instead_of"]["shown"]] == [60, 100]
    assert shown["instead_of"]["speed_unit"] == "km/h"


def test_what_to_order_with_new_tires_is_answered_before_they_are_bought() -> None:
    text = run("tire", "35x12.50R17LT", "--instead-of", "265/70R17", "--driven-gear", "26").stdout
    assert "exact tooth count: 23.48" in text  # 26 x 802.8 / 889.0
    assert text.count("at a true 60 mph it will show") == 1


def test_a_roll_out_takes_the_place_of_the_convention() -> None:
    shown = json.loads(run("tire", "35x12.50R17LT", "--roll-out", "3:8.13m", "--json").stdout)
    assert shown["rolled"]["rolling_circumference_m"]["value"] == pytest.approx(2.71)
    assert shown["rolled"]["status"] == "measured"


def test_correct_finds_the_29_tooth_gear_from_the_files_of_a_job(job: Path) -> None:
    shown = json.loads(run("correct", str(job), "--json").stdout)
    assert shown["driven_gear"][0]["teeth"] == 29
    assert shown["best"]["kind"] == "driven_gear"
    assert (shown["advice"][0]["action"], shown["advice"][0]["value"]) == ("fit_driven_gear", 29)
    assert shown["effective_tire"]["rolling_circumference_m"]["value"] == pytest.approx(3.05 * 0.889, rel=0.003)
    text = run("correct", str(job)).stdout
    assert text.splitlines()[1].startswith("  1. Fit a driven gear with 29 teeth")
    assert "housing: range 26-31 down" in text


def test_correct_takes_the_customers_speeds_unit_and_criterion(job: Path) -> None:
    arguments = ("correct", str(job), "--json", "--unit", "km/h", "--speeds", "50,100", "--criterion", "never-low")
    shown = json.loads(run(*arguments).stdout)
    assert (shown["speed_unit"], shown["speeds"], shown["criterion"]) == ("km/h", [50, 100], "never reads low")
    assert shown["driven_gear"][0]["teeth"] == 28
    assert not shown["driven_gear"][0]["reads_low"]


def test_correct_answers_for_tires_still_to_be_fitted(job: Path) -> None:
    shown = json.loads(run("correct", str(job), "--planned-tire", "33x12.50R17LT", "--json").stdout)
    assert shown["gain"]["value"] == pytest.approx(35 / 33, abs=1e-6)
    assert shown["corrections"]["driven_gear"][0]["teeth"] in (30, 31)  # 28.76 x 35/33 = 30.5


def test_what_was_done_is_driven_next_as_the_report_says(job: Path) -> None:
    """29 teeth are in: command, its JSON and the report ask for their road test, and the drive before is the past."""
    done = job.with_name("done.toml")
    done.write_text(f"{JOB}\n[work]\ndriven_gear = 29\n")
    out = run("correct", str(done)).stdout
    shown = json.loads(run("correct", str(done), "--json").stdout)
    (asked,) = shown["advice"]
    assert (asked["action"], asked["part"]) == ("drive_again", "road_test")
    assert [gear["teeth"] for gear in shown["driven_gear"] if gear["fitted"]] == [29]
    result = load_job(done).run()
    assert result.to_dict()["corrections"]["advice"] == shown["advice"]
    (told,) = result.model.next_steps
    assert told.startswith("Drive the road test of the work (driven gear 29)")
    assert f"1. {told}\n" in out
    assert "before the work: worst error" in out
    assert re.match(r"At a true \d+ mph the dial showed \d.* before the gear change\.", result.model.sentences[0])
    assert result.model.low == ()
    done.write_text(f"{JOB}\n[work]\ninstrument_repaired = true\n")
    assert "By the drive before this leaves" in told
    assert "By the drive before this leaves" not in str(load_job(done).run().model.next_steps)
    done.write_text(f'{JOB}\n[work]\ndriven_gear = 29\n[tolerance]\nrule = "odo_hb44"\n')
    (told,) = load_job(done).run().model.next_steps
    assert "note the odometer" in told
    assert "sheet" not in told


def test_tires_to_come_are_answered_for_with_what_was_done(job: Path) -> None:
    """29 teeth for 26 already, then tires of 33 in for 35 in: 26/29 x 35/33 of what the drive showed."""
    done = job.with_name("done.toml")
    done.write_text(f"{JOB}\n[work]\ndriven_gear = 29\n")
    shown = json.loads(run("correct", str(done), "--planned-tire", "33x12.50R17LT", "--json").stdout)
    assert shown["gain"]["value"] == pytest.approx(26 / 29 * 35 / 33, abs=1e-6)


def test_explain_ranks_and_states_its_beliefs(job: Path) -> None:
    shown = json.loads(run("explain", str(job), "--json", "--most", "3").stdout)
    assert len(shown["explanations"]) == 3
    assert shown["explanations"][0]["parts"]["tire"] == "35x12.50R17LT"
    assert shown["priors"]
    assert "believed before the drive" in run("explain", str(job)).stdout


@pytest.mark.parametrize("name", ["axle", "tire", "correct", "explain"])
def test_help_shows_examples_one_a_line_and_cautions(name: str) -> None:
    text = run(name, "--help").stdout
    assert "\\b" not in text
    assert f"\n    speedcal {name} " in text
    assert "ocal rules" in " ".join(text.split())


def test_a_roll_out_of_the_new_tire_decides_which_gear_to_order() -> None:
    """265/70R17 rolls 3.05 x 802.8 mm = 2.44854 m; one measured at 2.6 m wants 26 x 2.44854 / 2.6 = 24.485 teeth.

    By the convention for its printed size, 35 in, it would be 23.48.
    """
    options = ("--instead-of", "265/70R17", "--driven-gear", "26", "--roll-out", "10:26.0m", "--json")
    shown = json.loads(run("tire", "35x12.50R17LT", *options).stdout)
    wanted = shown["forecast"]["corrections"]["ideal_driven_teeth"]["value"]
    assert wanted == pytest.approx(26 * 3.05 * 0.8028 / 2.6, abs=0.01)
    assert shown["forecast"]["gain"]["value"] == pytest.approx(shown["instead_of"]["gain"]["value"], rel=1e-4)


def test_lengths_of_a_tire_are_given_in_both_units() -> None:
    """LT235/85R16: H = 199.75 mm = 7.86 in, D = 805.9 mm, pi D = 2531.81 mm = 99.68 in, 3.05 D = 96.77 in."""
    text = run("tire", "LT235/85R16").stdout
    for words in ("199.8 mm = 7.86 in", "2531.8 mm = 99.68 in"):
        assert words in text
    assert "inches per turn, rolled         96.8" in text


def test_how_well_marks_are_read_is_said_and_can_be_stated() -> None:
    """From memory unless stated; 0.1 turns in 10: u = hypot(0.1, 3.73 x 0.1/sqrt 2)/10 = 0.0282, x 1.96 = 0.055."""
    assert "not verified" in run("axle", "10:37.27").stdout
    shown = json.loads(run("axle", "10:37.27", "--mark-error", "0.1", "--json").stdout)
    half = (shown["axle_ratio"]["high"] - shown["axle_ratio"]["low"]) / 2
    assert half == pytest.approx(1.96 * math.hypot(0.1, 3.727 * 0.1 / math.sqrt(2)) / 10, rel=1e-3)
    assert not shown["findings"]
    assert shown["pairs_from"]["status"] == "from memory"


def test_how_well_the_tachometer_is_read_is_said_and_can_be_stated() -> None:
    """250 in 2500 turns a minute is 10 %, which outweighs everything else; the default is from memory and says so."""
    options = ("axle", "--rpm", "2500", "--speed", "60", "--gear", "1", "--tire", "3:8.12m", "--json")
    usual, poor = (json.loads(run(*options, *more).stdout) for more in ((), ("--rpm-error", "250")))
    assert any("not verified" in finding["text"] for finding in usual["findings"])
    assert not any("tachometer" in finding["text"] for finding in poor["findings"])
    ratio = poor["axle_ratio"]
    assert (ratio["high"] - ratio["value"]) / ratio["value"] == pytest.approx(0.196, rel=0.01)


def test_what_widens_a_stated_circumference_says_that_it_is_from_memory() -> None:
    """A maker's figure and a roll-out carry an allowance of our own."""
    for option in (("--turns-per-mile", "620"), ("--roll-out", "3:8.12m")):
        assert "(not verified)" in run("tire", "35x12.50R17LT", *option).stdout


@pytest.mark.published("declaration table of the EU's truck CO2 tool (VECTO): diameters of radial numeric sizes")
def test_several_sizes_stand_in_one_table_with_teeth_for_each() -> None:
    """26 x 802.8/889.0 = 23.48 teeth for 35 in, 26 for the size itself; 7.50R16LT is 802 mm across, 3.05 times that."""
    options = ("--instead-of", "265/70R17", "--driven-gear", "26")
    sizes = ("265/70R17", "35x12.50R17LT", "7.50R16LT", "G78-15")
    rows = {row["size"]: row for row in json.loads(run("tire", *sizes, *options, "--json").stdout)["sizes"]}
    teeth = [rows[size]["exact_driven_teeth"] for size in sizes[:3]]
    assert [t["value"] for t in teeth] == pytest.approx([26.0, 26 * 802.8 / 889.0, 26 * 802.8 / 802], abs=0.01)
    assert all(t["low"] < t["value"] < t["high"] for t in teeth)
    assert rows["7.50R16LT"]["turns_per_mile"]["value"] == pytest.approx(1609.344 / (3.05 * 0.802), abs=0.01)
    assert (rows["7.50R16LT"]["diameter_from"], rows["7.50R16LT"]["status"]) == ("tabulated", "secondary")
    # two charts give 215/75R15 and 225/75R15 for it, 703.5 and 718.5 mm: the interval spans both
    letter = rows["G78-15"]["turns_per_mile"]
    low, high = (1609.344 / (2.99 * d) for d in (0.7185, 0.7035))
    assert letter["low"] < low < high < letter["high"]
    printed = run("tire", *sizes, *options).stdout.splitlines()
    assert printed[0].split() == ["size", "turns", "per", "mile", "reads,", "%", "exact", "driven", "teeth"]
    assert len(printed) == 5


def test_a_roll_out_is_that_of_one_size() -> None:
    with pytest.raises(SpeedcalError, match="Name one SIZE"):
        run("tire", "265/70R17", "35x12.50R17LT", "--roll-out", "3:8.12m")
