"""A dial about 1.609 times off: another unit is suspected, until somebody says which unit stands on it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

import speedcal
from speedcal.errors import ReadingsFormatError
from speedcal.finding import codes_of
from speedcal.jobs.contents import Drive
from speedcal.jobs.job_file import load_job
from speedcal.jobs.measured_drive import readings_of
from speedcal.jobs.pipeline import measure_job
from speedcal.logs import read_readings
from speedcal.logs.drive.readings import with_dial_unit
from speedcal.simulate import simulate, write_drive
from speedcal.vehicle import Vehicle, correct, diagnose

DRIVE = simulate("noted", 3, error_factor=1.58, offset_mps=0.0)
NEAR = simulate("noted", 3, error_factor=1.1, offset_mps=0.0)


def drive_in(folder: Path, head: str = "") -> tuple[Path, Path]:
    """Write the drive, with a line above its readings."""
    track, readings = write_drive(DRIVE, folder)
    readings.write_text(head + readings.read_text(encoding="utf-8"), encoding="utf-8")
    return track, readings


def test_it_is_weak_until_somebody_looked_and_no_number_changes(tmp_path: Path) -> None:
    """The unit is the only doubt; the answer itself is what it was, and holds the truth."""
    track, readings = drive_in(tmp_path)
    doubted = speedcal.calibrate(speedcal.read_track(track), speedcal.read_readings(readings))
    assert doubted.trust.codes == ["unit_suspected"]
    track, readings = drive_in(tmp_path, "# dial_unit: mph\n")
    sure = speedcal.calibrate(speedcal.read_track(track), speedcal.read_readings(readings))
    assert sure.trust.word == "TRUSTED"
    assert "dial_unit_seen" in codes_of(sure.findings)
    assert sure.error_factor == doubted.error_factor
    assert sure.error_factor.contains(1.58)


@pytest.mark.parametrize(("factor", "doubted"), [(1.33, False), (1.37, True), (1.9, True), (2.0, False), (0.75, False)])
def test_a_dial_a_fifth_high_and_noted_in_the_other_unit_is_doubted(factor: float, doubted: bool) -> None:
    """Gears that alone make a dial a third high or a quarter low are not, nor are twice the pulses."""
    for seed in range(2):
        drive = simulate("logged", seed, error_factor=factor, offset_mps=0.0)
        result = speedcal.calibrate(drive.track, drive.readings)
        assert ("unit_suspected" in result.trust.codes) == doubted


@pytest.mark.parametrize("word", ["dial_unit: mph", "Dial unit = mph", "dial unit mph"])
def test_it_stands_above_notes_and_names_their_unit(tmp_path: Path, word: str) -> None:
    """Where the notes name none; it is no reading and no remark."""
    path = tmp_path / "notes.txt"
    path.write_text(f"{word}\n10:32:15 45\n10:33:20 50\n", encoding="utf-8")
    readings = read_readings(path)
    assert (readings.speed_unit, len(readings), readings.dropped) == ("mph", 2, {})
    table = tmp_path / "table.csv"
    table.write_text(f"# {word}\ntime,dial\n10:32:15,45\n10:33:20,50\n", encoding="utf-8")
    assert read_readings(table).speed_unit == "mph"


def test_another_unit_than_that_of_the_readings_is_a_question(tmp_path: Path) -> None:
    for text in ("dial_unit: km/h\n10:32:15 45 mph\n10:33:20 50\n", "# dial_unit: km/h\ntime,dial mph\n10:32:15,45\n"):
        path = tmp_path / "notes.txt"
        path.write_text(text, encoding="utf-8")
        with pytest.raises(ReadingsFormatError) as caught:
            read_readings(path)
        assert caught.value.code in ("dial_unit_contradicts", "several_units")


def test_a_machine_may_log_in_another_unit_than_stands_on_the_dial(tmp_path: Path) -> None:
    """What many vehicles tell of their speed is in km/h, whatever their dial: they were told to correct one of them."""
    path = tmp_path / "log.csv"
    rows = [f"{i},{60 + i % 7}" for i in range(90)]
    path.write_text("\n".join(["time (s),vehicle speed (km/h)", *rows]), encoding="utf-8")
    assert readings_of(Drive(readings=path, dial_unit="mph"), None).speed_unit == "km/h"
    filmed = Drive(readings=path, dial_unit="mph", read_from="film")
    with pytest.raises(ReadingsFormatError, match="mph is what stands on the dial"):
        readings_of(filmed, None)
    path.write_text("\n".join(["time (s),vehicle speed (km/h)", *rows[::8]]), encoding="utf-8")  # by hand
    with pytest.raises(ReadingsFormatError, match="mph is what stands on the dial"):
        readings_of(Drive(readings=path, dial_unit="mph"), None)


def test_the_other_scale_is_no_longer_a_cause(tmp_path: Path) -> None:
    """What is left is a unit mixed up behind the dial, and the advice says where."""
    readings = with_dial_unit(DRIVE.readings, "mph")
    doubted, sure = (speedcal.calibrate(DRIVE.track, one) for one in (DRIVE.readings, readings))
    vehicle = Vehicle.from_dict({"tire": "P225/70R16"})
    assert "other_scale" in {item.code for item in diagnose(doubted, vehicle).hypotheses}
    assert "other_scale" not in {item.code for item in diagnose(sure, vehicle).hypotheses}
    first = correct(sure, vehicle).advice[0]
    assert (first.action, first.part) == ("set_unit", "instrument")
    assert "in the notes" not in str(first)


def test_a_job_says_it_of_a_drive(tmp_path: Path) -> None:
    track, readings = drive_in(tmp_path)
    job = tmp_path / "job.toml"
    text = f'[before]\ntrack = "{track.name}"\nreadings = "{readings.name}"\n'
    words = []
    for key in ("", 'dial_unit = "mph"\n'):
        job.write_text(text + key, encoding="utf-8")
        (drive,) = measure_job(load_job(job)).drives
        words.append(drive.calibration.trust.word)
    assert words == ["WEAK", "TRUSTED"]


def test_it_is_said_once_and_changes_nothing_elsewhere() -> None:
    twice = with_dial_unit(with_dial_unit(NEAR.readings, "mph"), "mph")
    assert [finding.code for finding in twice.findings].count("dial_unit_seen") == 1
    assert replace(twice, findings=()) == replace(NEAR.readings, findings=())
