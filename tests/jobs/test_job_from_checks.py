"""A job whose drives are checks: the same answers as from tracks, with the truth inside their intervals."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from speedcal.cli import cli
from speedcal.errors import JobError, SpeedcalError
from speedcal.jobs import JobResult, load_job
from speedcal.units import MPH_MPS

DEMO = Path(__file__).parents[2] / "data_demo"
OFFSET_MPH, FACTOR = 0.5, 1.10
"""The dial of these jobs; 19 teeth then want 20.9 by the factor alone."""


def miles(path: Path, factor: float, seed: int, *, distance: float = 1.0) -> None:
    """Write a measured mile at three marks, each way, of a dial that shows 0.5 mph and ``factor`` times the truth."""
    rng = np.random.default_rng(seed)
    rows = ["dial mph,distance mi,time mm:ss.s"]
    for mark in (35, 50, 60, 60, 50, 35):
        true = (mark + rng.normal(0, 0.3) - OFFSET_MPH) / factor
        seconds = distance * 3600 / true + rng.normal(0, 0.2)
        rows.append(f"{mark},{distance:g},{int(seconds // 60)}:{seconds % 60:04.1f}")
    path.write_text("\n".join(rows) + "\n", encoding="utf-8")


def job_of(folder: Path, tables: str) -> Path:
    path = folder / "job.toml"
    path.write_text(f'[job]\nunit = "mph"\n\n{tables}', encoding="utf-8")
    return path


VEHICLE = "[vehicle]\ndriven_gear = 19\n\n"
RULE = '[tolerance]\nname = "shop"\npercent = 5\nunit = "mph"\nspeeds = [35, 45, 55]\n'


@pytest.fixture
def both(tmp_path: Path) -> JobResult:
    """Return a job with checks before a change from 19 to 21 teeth and after it."""
    miles(tmp_path / "before.csv", FACTOR, 1)
    miles(tmp_path / "after.csv", FACTOR * 19 / 21, 2)
    tables = '[before]\nchecks = "before.csv"\ndate = 2026-05-04\n\n[work]\ndriven_gear = 21\n\n'
    job = job_of(tmp_path, f'{VEHICLE}{tables}[after]\nchecks = "after.csv"\n\n{RULE}')
    return load_job(job).run()


def test_checks_before_and_after_come_to_gear_change_and_verdict(both: JobResult) -> None:
    """At a true 45 mph 50 mph before; 45.3 after; the change 19/21 = 0.905 inside its interval, the rule passed."""
    assert both.before is not None
    assert both.after is not None
    for c, factor in ((both.before, FACTOR), (both.after, FACTOR * 19 / 21)):
        away = abs(float(c.indicated(45 * MPH_MPS)) / MPH_MPS - OFFSET_MPH - 45 * factor)
        assert away < float(c.half_width(45 * MPH_MPS)) / MPH_MPS < 1.5
    assert both.corrections is not None
    assert both.corrections.ideal_driven_teeth is not None
    assert both.corrections.ideal_driven_teeth.contains(19 * (FACTOR + OFFSET_MPH / 45))
    assert both.verification is not None
    assert both.verification.verdict == "pass"
    (change,) = both.verification.changes
    assert change.agrees
    assert change.measured_change.contains(19 / 21)


def test_the_report_of_checks_says_how_they_were_made(both: JobResult) -> None:
    """No word of a GPS log or of clocks; the day of the job; all files written."""
    page = both.contents()
    html = page["report.html"].decode()
    assert "No track: each reading of the dial is held against a true speed" in html
    assert "GPS log" not in html
    assert "2026-05-04" in html
    assert "6 of 6 checks used" in html
    told = json.loads(page["result.json"])
    assert (told["before"]["speed_source"], told["before"]["clock_offset_s"]) == ("checks", None)
    assert {"before.csv", "after.csv"} <= {file["name"] for file in told["files"]}


def test_a_before_from_checks_is_compared_with_an_after_from_a_track(tmp_path: Path) -> None:
    """The demo's dial showed 1.0 mph and 1.1526 times the speed: checks of it, and the demo's own track after."""
    import tomllib

    truth = tomllib.loads((DEMO / "truth.toml").read_text(encoding="utf-8"))
    shutil.copytree(DEMO, tmp_path / "job")
    rows = ["dial mph,true mph"]
    rng = np.random.default_rng(5)
    for true in (30, 40, 50, 60, 62, 45, 35):
        shown = truth["offset_mph"] + truth["error_factor_before"] * true + rng.normal(0, 0.3)
        rows.append(f"{shown:.0f},{true}")
    (tmp_path / "job" / "phone.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    text = (tmp_path / "job" / "job.toml").read_text(encoding="utf-8")
    before = text.index("[before]")
    end = text.index("\n[", before)
    job = tmp_path / "job" / "job.toml"
    job.write_text(text[:before] + '[before]\nchecks = "phone.csv"\n' + text[end:], encoding="utf-8")
    result = load_job(job).run()
    assert result.before is not None
    assert result.before.error_factor.contains(truth["error_factor_before"])
    assert result.verification is not None
    (change,) = [c for c in result.verification.changes if c.quantity == "speed"]
    assert change.agrees
    assert change.measured_change.contains(truth["error_factor_after"] / truth["error_factor_before"])


@pytest.mark.published("km/h = rpm x RC x 60 / (1000 i): 3000 rpm, 2.0 m, 3.6 give 100 km/h, arithmetic")
def test_engine_speed_is_a_check_in_a_job_that_knows_axle_and_tire(tmp_path: Path) -> None:
    """10 turns over 20.00 m and 18/5: 3000 rpm in direct gear are 100 km/h; in half the gear 200."""
    (tmp_path / "rpm.csv").write_text("dial km/h,rpm,gear\n106,3000,1.00\n53,1500,direct\n80,2250,1.00\n", "utf-8")
    vehicle = "[vehicle]\naxle = '36/10'\nrolled_turns = 10\nrolled_distance_m = 20.0\n\n"
    path = job_of(tmp_path, f'{vehicle}[before]\nchecks = "rpm.csv"\n'.replace('"mph"', '"km/h"'))
    before = load_job(path).run().before
    assert before is not None
    assert before.readings["ground_mps"].to_numpy() * 3.6 == pytest.approx([100, 50, 75])


def test_one_file_for_before_and_after_is_refused(tmp_path: Path) -> None:
    miles(tmp_path / "one.csv", FACTOR, 1)
    tables = '[before]\nchecks = "one.csv"\n\n[after]\nchecks = "one.csv"\n'
    with pytest.raises(JobError) as caught:
        load_job(job_of(tmp_path, tables)).run()
    assert caught.value.code == "duplicate_drive"


def test_what_is_wrong_in_checks_names_the_drive(tmp_path: Path) -> None:
    (tmp_path / "one.csv").write_text("dial mph,distance mi,time\n60,1,fast\n60,1,63\n", encoding="utf-8")
    with pytest.raises(SpeedcalError) as caught:
        load_job(job_of(tmp_path, '[before]\nchecks = "one.csv"\n')).run()
    assert (caught.value.code, caught.value.values["of_drive"]) == ("not_a_run_time", "before")


def test_several_days_of_checks_are_pooled(tmp_path: Path) -> None:
    """Two files of six: the interval is narrower than that of one."""
    miles(tmp_path / "one.csv", FACTOR, 1)
    miles(tmp_path / "two.csv", FACTOR, 2, distance=2.0)
    two = load_job(job_of(tmp_path, '[[before]]\nchecks = "one.csv"\n\n[[before]]\nchecks = "two.csv"\n')).run()
    one = two.drives[0].calibration
    assert two.before is not None
    assert two.before.speed_source == "checks"
    assert float(two.before.half_width(45 * MPH_MPS)) < float(one.half_width(45 * MPH_MPS))


def test_the_plan_says_how_many_more_runs_are_worth_it(tmp_path: Path) -> None:
    """Two runs at one mark: more at another are asked for, and with those made the tooth is known."""
    (tmp_path / "two.csv").write_text("dial mph,mile time\n60,1:06.2\n60,1:06.6\n", encoding="utf-8")
    job = job_of(tmp_path, f'{VEHICLE}[before]\nchecks = "two.csv"\n')
    result = CliRunner().invoke(cli, ["plan", str(job), "--json"])
    assert result.exit_code == 0, result.output
    (asked,) = [f["values"] for f in json.loads(result.output)["findings"] if f["code"] == "more_checks"]
    assert asked["count"] >= 1
    assert asked["then_percent"] < asked["wanted_percent"] < asked["now_percent"]
    assert asked["wanted_percent"] == pytest.approx(100 / 38)
    rows = ["dial mph,mile time", "60,1:06.2", "60,1:06.6"]
    for mark, count in asked["marks"].items():
        shown = float(mark.split()[0])
        rows += [f"{shown:g},{3600 / ((shown - OFFSET_MPH) / FACTOR):.1f}"] * count
    (tmp_path / "two.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    again = CliRunner().invoke(cli, ["plan", str(job), "--json"])
    (enough,) = [f["values"] for f in json.loads(again.output)["findings"] if f["code"] == "more_checks"]
    assert enough["count"] == 0
    assert enough["now_percent"] == pytest.approx(asked["then_percent"], abs=0.4)


@pytest.mark.parametrize(
    "text",
    [
        "dial mph,mile time,distance mi,trip mi\n60,63.2,,\n50,75.8,,\n,,10,10.4\n",
        "dial mph,distance mi,time,trip mi\n60,1,63.2,\n50,1,75.8,\n,10,,10.4\n",
    ],
)
def test_a_trip_meter_in_checks_gives_the_odometer_of_the_job(tmp_path: Path, text: str) -> None:
    """10.4 counted over ten miles, beside two runs over one."""
    (tmp_path / "c.csv").write_text(text, "utf-8")
    before = load_job(job_of(tmp_path, '[before]\nchecks = "c.csv"\n')).run().before
    assert before is not None
    assert before.readings["ground_mps"].to_numpy()[:2] / MPH_MPS == pytest.approx([3600 / 63.2, 3600 / 75.8])
    assert before.odometer_factor is not None
    assert before.odometer_factor.value == pytest.approx(1.04)
