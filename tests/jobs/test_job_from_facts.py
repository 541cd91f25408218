"""A job without a drive is answered from the facts of its vehicle, on the page and in the report as by the command."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from speedcal.cli import cli
from speedcal.errors import VehicleError
from speedcal.jobs import load_job

FACTS = """[job]
unit = "mph"
shop = "Elm Street"

[vehicle]
rolled_turns = 3
rolled_distance_in = 320.16
axle = "41/11"
drive_gear = 13
turns_per_mile = 1000
"""
"""35-inch tires that roll 3.05 x 35 = 106.72 in, an axle of 3.73: 41/11 x 63360/106.72 x 13/1000 = 28.77 teeth."""


@pytest.fixture
def job(tmp_path: Path) -> Path:
    path = tmp_path / "job.toml"
    path.write_text(FACTS, encoding="utf-8")
    return path


@pytest.mark.published("common practice, no source; drive gear of 13 teeth from memory")
def test_the_report_of_a_job_without_a_drive_names_the_gear_of_the_facts(job: Path) -> None:
    """29 teeth, by trade arithmetic; with them the dial shows 28.77/29 of the truth: 59.5 mph at 60."""
    result = load_job(job).run()
    assert result.before is None
    assert result.corrections is not None
    assert not result.corrections.is_driven
    assert result.corrections.driven_gear[0].to_dict()["teeth"] == 29
    assert result.corrections.ideal_driven_teeth is not None
    assert result.corrections.ideal_driven_teeth.value == pytest.approx(41 / 11 * 63360 / 106.72 * 13 / 1000, rel=1e-4)
    assert result.expected is not None
    assert float(result.expected.indicated(60.0)) == pytest.approx(60 * 28.77 / 29, rel=1e-3)
    html = result.contents()["report.html"].decode()
    assert html.count("No drive: everything is worked out from the parts as stated") == 1
    assert "clocks to match" not in html
    told = json.loads(result.contents()["result.json"])
    assert (told["before"], told["drives"], told["corrections"]["from_a_drive"]) == (None, [], False)


def test_the_report_answers_what_the_command_answers(job: Path, tmp_path: Path) -> None:
    run = CliRunner().invoke
    report = run(cli, ["report", str(job), "--out", str(tmp_path / "out"), "--json"])
    assert report.exit_code == 0, report.output
    written = json.loads((tmp_path / "out" / "result.json").read_text(encoding="utf-8"))
    told = json.loads(run(cli, ["correct", str(job), "--json"]).output)
    assert written["corrections"] == told


def test_too_few_facts_are_named(tmp_path: Path) -> None:
    path = tmp_path / "job.toml"
    path.write_text('[vehicle]\ndriven_gear = 19\ntire = "265/70R17"\n', encoding="utf-8")
    with pytest.raises(VehicleError) as caught:
        load_job(path).run()
    assert caught.value.code == "facts_missing"
    assert "axle" in caught.value.values["links"]
