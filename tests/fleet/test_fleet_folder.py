"""A folder with one subfolder a vehicle: every vehicle a row, those that fail with their reason, nothing done twice."""

from __future__ import annotations

import csv
import json
import os
import re
import shutil
import sys
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from support.fleets import LOGGED, NOTED, drive_on, write_fleet, write_pair

import speedcal
from speedcal.cli import cli, main
from speedcal.conformity import pool
from speedcal.errors import FitError, FleetError
from speedcal.fleet import FleetResult, drive
from speedcal.fleet.drive import measure
from speedcal.fleet.kept import calibration_of
from speedcal.fleet.remembered import NAME, Remembered
from speedcal.fleet.rows import FleetRow, Limits
from speedcal.fleet.sources import _RESULTS, find_vehicles
from speedcal.jobs.job_file import job_text
from speedcal.units import MPH_MPS

TRUTH = {"truck 1": (1.0, 1.0), "truck 2": (1.06, 1.06), "truck 3": (0.97, 0.97)}
CONTRACT = ["vehicle", "drives", "trust", "error_factor", "low", "high", "odometer_factor", "worst_finding", "reason"]


@pytest.fixture(scope="module")
def drives(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three vehicles, one whose files are broken, one without files, one with a broken drive beside a good one."""
    folder = write_fleet(tmp_path_factory.mktemp("fleet") / "drives", TRUTH)
    (folder / "broken").mkdir()
    (folder / "broken" / "day0.gpx").write_text("<gpx>", encoding="utf-8")
    (folder / "broken" / "day0.csv").write_text("time,dial (mph)\n", encoding="utf-8")
    (folder / "empty").mkdir()
    write_pair(drive_on(0, 77, 1.0), folder / "half", "day0")
    (folder / "half" / "day1.gpx").write_text("<gpx>", encoding="utf-8")
    (folder / "half" / "day1.csv").write_text("time,dial (mph)\n", encoding="utf-8")
    return folder


@pytest.fixture(scope="module")
def out(drives: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Run the command once."""
    out = tmp_path_factory.mktemp("out")
    done = CliRunner().invoke(cli, ["fleet", str(drives), "--out", str(out), "--processes", "1"])
    assert done.exit_code == 0, done.output
    return out


@pytest.fixture(scope="module")
def rows(out: Path) -> dict[str, dict[str, str]]:
    """Read the table, by vehicle."""
    with (out / "fleet.csv").open(encoding="utf-8", newline="") as table:
        return {row["vehicle"]: row for row in csv.DictReader(table)}


def test_every_vehicle_is_a_row_with_the_columns_promised(rows: dict[str, dict[str, str]], out: Path) -> None:
    assert set(rows) == {*TRUTH, "broken", "empty", "half"}
    assert (out / "fleet.csv").read_text(encoding="utf-8").split("\n")[0].split(",")[:9] == CONTRACT
    assert [rows[name]["drives"] for name in (*TRUTH, "broken", "empty", "half")] == ["2", "2", "2", "1", "0", "2"]


@pytest.mark.parametrize("vehicle", TRUTH)
def test_intervals_hold_the_truth(vehicle: str, rows: dict[str, dict[str, str]]) -> None:
    """The factor each vehicle was simulated with, for needle and odometer alike."""
    row, truth = rows[vehicle], TRUTH[vehicle][0]
    assert row["trust"] == "TRUSTED"
    assert float(row["low"]) < truth < float(row["high"])
    assert float(row["high"]) - float(row["low"]) < 0.06
    assert float(row["odometer_low"]) < truth < float(row["odometer_high"])
    assert abs(float(row["odometer_factor"]) - truth) < 0.01


@pytest.mark.skipif(sys.platform != "linux", reason="names of files are text there")
def test_a_name_that_is_no_text_does_not_stop_the_others(tmp_path: Path) -> None:
    """A folder of an old system, in its own alphabet; the second run knows its drives again."""
    write_pair(drive_on(0, 78, 1.0), tmp_path / "in" / "good", "day0")
    write_pair(drive_on(0, 79, 1.0), tmp_path / "in" / os.fsdecode(b"m\xfcll"), os.fsdecode(b"day\xff"))
    for _ in range(2):
        result = speedcal.fleet(tmp_path / "in", processes=1, remember=tmp_path / "out")
        assert {(row.vehicle, row.trust) for row in result.rows} == {("good", "TRUSTED"), ("m\\udcfcll", "TRUSTED")}
        result.write(tmp_path / "out")
    assert "m\\udcfcll" in (tmp_path / "out" / "fleet.csv").read_text(encoding="utf-8")


def test_the_wrong_ones_are_named_and_the_right_one_is_not(rows: dict[str, dict[str, str]]) -> None:
    """6 % and 3 % off, told by odometers in tenths of a mile; none is new in a first run."""
    assert {name for name, row in rows.items() if row["wrong"] == "yes"} == {"truck 2", "truck 3"}
    assert {row["new"] for row in rows.values()} == {"no"}
    assert next(iter(rows)) == "truck 2"  # twice the error over the same distance costs twice as much


def test_a_vehicle_that_fails_says_why_and_the_others_go_on(rows: dict[str, dict[str, str]]) -> None:
    assert (rows["broken"]["error_factor"], rows["broken"]["trust"]) == ("", "")
    assert rows["broken"]["reason"] == "damaged_xml"
    assert rows["empty"]["reason"] == "no_drives"
    assert rows["half"]["reason"] == ""
    assert rows["half"]["worst_finding"] == "drives_refused"
    assert float(rows["half"]["low"]) < 1.0 < float(rows["half"]["high"])


def test_the_page_and_the_tables_hold_no_positions(drives: Path, out: Path) -> None:
    latitude = re.search(r'lat="(-?\d+\.\d{2})', (drives / "truck 1" / "day0.gpx").read_text(encoding="utf-8"))
    assert latitude is not None
    for name in ("fleet.html", "fleet.csv", "fleet.json", "drives.sqlite"):
        assert latitude[1].encode() not in (out / name).read_bytes()


def test_the_json_of_the_command_is_that_of_the_library(drives: Path, out: Path) -> None:
    """The outcomes are remembered, so this measures nothing again."""
    done = CliRunner().invoke(cli, ["fleet", str(drives), "--out", str(out), "--json", "--processes", "1"])
    told = json.loads(done.stdout)
    assert told == json.loads((out / "fleet.json").read_text(encoding="utf-8"))
    assert told["without_number"] == ["broken", "empty"]
    assert told["vehicles"][0]["advice"]["action"] in {"measure_fact", "check_count", "set_unit"}


def test_what_is_kept_of_a_drive_is_its_calibration(drives: Path) -> None:
    """Pooling what was kept gives what pooling the drives themselves gives."""
    (found,) = [one for one in find_vehicles(drives) if one.vehicle == "truck 2"]
    kept = pool([calibration_of(measure(files, None)) for files in found.drives])
    tracks = [speedcal.read_track(drives / "truck 2" / f"day{day}.gpx") for day in (0, 1)]
    readings = [speedcal.read_readings(drives / "truck 2" / f"day{day}.csv") for day in (0, 1)]
    whole = pool([speedcal.calibrate(*pair) for pair in zip(tracks, readings, strict=True)])
    for got, wanted in zip(kept.error_factor.to_dict().values(), whole.error_factor.to_dict().values(), strict=True):
        assert got == pytest.approx(wanted, abs=2e-6)
    assert kept.odometer_factor == whole.odometer_factor
    assert str(kept.trust) == str(whole.trust)


@pytest.fixture
def nothing_measured(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Fail where a drive would be measured."""

    def refuse(files: object, unit: object) -> None:
        raise AssertionError(f"{files} was measured again")

    monkeypatch.setattr(drive, "measure", refuse)
    return


@pytest.mark.usefixtures("nothing_measured")
def test_a_second_run_measures_nothing_and_gives_the_same_bytes(drives: Path, out: Path, tmp_path: Path) -> None:
    """Files moved elsewhere are known by their content; only what could not be read is tried again."""
    moved, again = tmp_path / "moved", tmp_path / "again"
    for vehicle in TRUTH:
        shutil.copytree(drives / vehicle, moved / vehicle)
    shutil.copytree(out, again)
    result = speedcal.fleet(moved, remember=again)
    assert {row.vehicle for row in result.wrong} == {"truck 2", "truck 3"}
    first = result.write(again)
    before = [path.read_bytes() for path in first]
    assert [path.read_bytes() for path in speedcal.fleet(moved, remember=again).write(again)] == before


def test_a_dial_without_odometer_is_left_open_with_what_would_settle_it(tmp_path: Path) -> None:
    """A dial reads high by design: 4 % over says nothing, an odometer over a measured distance does."""
    write_pair(drive_on(1, 901, 1.04, kind=replace(NOTED, odometer=False)), tmp_path / "van", "day0")
    result = speedcal.fleet(tmp_path)
    (row,) = result.not_judged
    assert row.trust == "TRUSTED"
    assert row.advice is not None
    assert (row.advice.action, row.advice.part) == ("measure_fact", "odometer_distance")
    assert "not judged: van" in str(result)


def test_a_drive_more_makes_a_new_run_and_names_what_is_new(drives: Path, out: Path, tmp_path: Path) -> None:
    """The truck that turns out wrong since then is new; those that were wrong before are not."""
    grown, again = tmp_path / "drives", tmp_path / "out"
    shutil.copytree(drives, grown)
    shutil.copytree(out, again)
    write_pair(drive_on(10, 902, 1.05), grown / "truck 9", "day0")
    result = speedcal.fleet(grown, remember=again)
    assert result.compared
    assert [row.vehicle for row in result.new] == ["truck 9"]
    assert "new since the last run: truck 9" in str(result)


def test_the_same_drive_twice_counts_once(drives: Path, out: Path, tmp_path: Path) -> None:
    for stem in ("day0", "copy"):
        for suffix in ("gpx", "csv"):
            (tmp_path / "van").mkdir(exist_ok=True)
            shutil.copy(drives / "truck 1" / f"day0.{suffix}", tmp_path / "van" / f"{stem}.{suffix}")
    (row,) = speedcal.fleet(tmp_path / "van", remember=shutil.copytree(out, tmp_path / "out")).rows
    alone = speedcal.calibrate(
        speedcal.read_track(drives / "truck 1" / "day0.gpx"), speedcal.read_readings(drives / "truck 1" / "day0.csv")
    )
    assert row.calibration is not None
    assert row.calibration.error_factor.half_width == pytest.approx(alone.error_factor.half_width, rel=1e-5)
    assert (row.drives, [finding.code for finding in row.findings]) == (2, ["drives_given_twice"])


def test_a_drive_that_lies_with_two_vehicles_is_told_to_both(drives: Path, out: Path, tmp_path: Path) -> None:
    """It is known by its content, whatever it is called."""
    for vehicle in TRUTH:
        shutil.copytree(drives / vehicle, tmp_path / "drives" / vehicle)
    for suffix in ("gpx", "csv"):
        shutil.copy(drives / "truck 2" / f"day1.{suffix}", tmp_path / "drives" / "truck 1" / f"extra.{suffix}")
    rows = speedcal.fleet(tmp_path / "drives", remember=shutil.copytree(out, tmp_path / "out")).rows
    told = {row.vehicle: [f.values for f in row.findings if f.code == "drives_of_two_vehicles"] for row in rows}
    assert told == {
        "truck 1": [{"names": ["extra"], "vehicles": ["truck 2"]}],
        "truck 2": [{"names": ["day1"], "vehicles": ["truck 1"]}],
        "truck 3": [],
    }


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["nowhere"], "nowhere: there is no such file or folder"),
        (["bare"], "no vehicle found. Name a folder with one subfolder a vehicle"),
        (["notes.csv"], "Name the column with --vehicle"),
        (["bare", "--rule", "un_r39_typ"], "did you mean 'un_r39_type'?"),
        (["bare", "--percent", "0"], "--percent"),
    ],
)
def test_what_cannot_be_a_fleet_is_told(
    arguments: list[str], words: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capfd: pytest.CaptureFixture[str]
) -> None:
    """One message with what to do, exit status 2, nothing written."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "bare").mkdir()
    (tmp_path / "notes.csv").write_text("time,dial (mph)\n10:00:00,50\n", encoding="utf-8")
    with pytest.raises(SystemExit) as ended:
        main(["fleet", *arguments, "--out", "out"])
    assert ended.value.code == 2
    told = capfd.readouterr().err
    assert words in " ".join(told.split())
    assert "Traceback" not in told
    assert not (tmp_path / "out").exists()


def test_a_zip_is_the_folder_that_was_packed(drives: Path, out: Path, tmp_path: Path) -> None:
    """Nothing is measured anew, and nothing of it is left."""
    shutil.make_archive(str(tmp_path / "month"), "zip", drives.parent, drives.name)
    again = shutil.copytree(out, tmp_path / "out")
    result = speedcal.fleet(tmp_path / "month.zip", remember=again)
    assert [row.to_dict() for row in result.rows] == json.loads((out / "fleet.json").read_text("utf-8"))["vehicles"]
    assert {path.name for path in again.iterdir()} == {path.name for path in out.iterdir()}
    (tmp_path / "month.zip").write_bytes(b"PK\x03\x04 cut off")
    with pytest.raises(speedcal.SpeedcalError, match=r"month\.zip: the archive cannot be unpacked: .* Unpack it"):
        speedcal.fleet(tmp_path / "month.zip")


def test_a_zip_in_a_folder_is_a_folder_of_its_name(drives: Path, out: Path, tmp_path: Path) -> None:
    """In the folder of a vehicle some of its drives, beside others a vehicle; one log alone stays a packed log."""
    (tmp_path / "drives" / "van").mkdir(parents=True)
    shutil.make_archive(str(tmp_path / "drives" / "van" / "may"), "zip", drives / "truck 2")
    shutil.make_archive(str(tmp_path / "drives" / "truck 3"), "zip", drives / "truck 3")
    with zipfile.ZipFile(tmp_path / "drives" / "van" / "day9.gpx.zip", "w") as packed:
        packed.write(drives / "truck 3" / "day0.gpx", "day0.gpx")
    (tmp_path / "drives" / "van" / "day9.csv").write_bytes((drives / "truck 3" / "day0.csv").read_bytes())
    again = shutil.copytree(out, tmp_path / "out")
    seen: list[int] = []
    result = speedcal.fleet(tmp_path / "drives", remember=again, progress=lambda done, _: seen.append(done))
    assert {row.vehicle: (row.drives, len(row.refused)) for row in result.rows} == {"van": (3, 0), "truck 3": (2, 0)}
    assert seen == [5]
    assert {path.name for path in again.iterdir()} == {path.name for path in out.iterdir()}


@pytest.mark.parametrize("name", ["=1+2", "+1", "-1", "@sum(1)", "\t=1"])
def test_a_name_is_no_formula_in_a_spreadsheet(name: str, tmp_path: Path) -> None:
    """In the CSV it begins with an apostrophe; Parquet, JSON and the page have it as typed."""
    result = FleetResult((FleetRow(name, 0),), Limits(1.0), 0.05, None)
    result.write(tmp_path)
    with (tmp_path / "fleet.csv").open(encoding="utf-8", newline="") as table:
        assert [row["vehicle"] for row in csv.DictReader(table)] == [f"'{name}"]
    assert json.loads((tmp_path / "fleet.json").read_text("utf-8"))["vehicles"][0]["vehicle"] == name
    assert result.table()[0]["vehicle"] == name


@pytest.mark.parametrize("place", [".", "result", "truck 1"])
def test_results_written_among_the_drives_are_no_drives(drives: Path, tmp_path: Path, place: str) -> None:
    """Into the folder itself, one in it, or one of a vehicle: the next runs see what the first saw."""
    for name in ("truck 1", "truck 2"):
        shutil.copytree(drives / name, tmp_path / name, ignore=shutil.ignore_patterns("day1*"))
    runs = []
    for out in (place, place, "another"):
        result = speedcal.fleet(tmp_path, remember=tmp_path / out, processes=1)
        runs.append([(row.vehicle, row.drives) for row in result.rows])
        written = result.write(tmp_path / out)
    assert {path.name for path in written} | {NAME} == _RESULTS
    assert sorted(runs[0]) == [("truck 1", 1), ("truck 2", 1)]
    assert runs[1] == runs[2] == runs[0]


def test_a_drive_that_is_called_as_a_result_is_not_written_over(drives: Path, tmp_path: Path) -> None:
    """The original is kept, and the command says so before it measures anything."""
    day = drives / "truck 1" / "day0"
    for ending in (".gpx", ".csv"):
        shutil.copy(day.with_suffix(ending), tmp_path / f"fleet{ending}")
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir()}
    with pytest.raises(FleetError, match="no fleet has written it"):
        speedcal.fleet(tmp_path, remember=tmp_path, processes=1)
    result = speedcal.fleet(tmp_path, remember=tmp_path / "result", processes=1)
    with pytest.raises(FleetError, match="no fleet has written it"):
        result.write(tmp_path)
    assert len(result.write(tmp_path / "result")) >= 3
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()} == before


def test_what_else_lies_in_a_folder_is_no_drive_and_no_vehicle(drives: Path, tmp_path: Path) -> None:
    """What systems and people leave there."""
    shutil.copytree(drives / "truck 1", tmp_path / "truck 1")
    (tmp_path / "__MACOSX").mkdir()
    for name in ("Thumbs.db", "desktop.ini", "order.docx", "dash.HEIC", ".DS_Store", "~$order.docx"):
        (tmp_path / "truck 1" / name).write_bytes(b"\0")
    (found,) = find_vehicles(tmp_path)
    assert [files.name for files in found.drives] == ["day0", "day1"]
    assert found.refused == ()


@pytest.mark.parametrize(
    "statement",
    [
        "DROP TABLE outcomes; CREATE TABLE outcomes (number)",
        "UPDATE outcomes SET outcome = '{'",
        "DROP TABLE runs; CREATE TABLE runs (number)",
    ],
)
def test_a_damaged_file_of_outcomes_is_told(statement: str, drives: Path, out: Path, tmp_path: Path) -> None:
    """Or one of another program, as a full disk is, whatever it strikes."""
    again = shutil.copytree(out, tmp_path / "out")
    memory = Remembered(again)
    memory._db.executescript(statement)
    memory.close()
    with pytest.raises(speedcal.SpeedcalError, match="cannot be kept or read in the folder of the results"):
        speedcal.fleet(drives, remember=again)


def test_a_folder_at_an_address_is_a_fleet_too(drives: Path, rows: dict[str, dict[str, str]]) -> None:
    """The same drives, opened by address as workers of a cluster do; needs fsspec."""
    pytest.importorskip("fsspec")
    result = speedcal.fleet(f"file://{drives / 'truck 2'}")
    (row,) = result.rows
    assert (row.vehicle, row.drives, row.wrong) == ("truck 2", 2, True)
    assert row.calibration is not None
    assert row.calibration.error_factor.value == pytest.approx(float(rows["truck 2"]["error_factor"]), abs=1e-5)
    with pytest.raises(speedcal.SpeedcalError, match="there is no such file or folder"):
        speedcal.fleet("memory://nothing-there")
    with pytest.raises(speedcal.SpeedcalError, match="without a column that names the vehicle"):
        speedcal.fleet(f"file://{drives / 'truck 2' / 'day0.gpx'}")


def test_what_lies_at_an_address_is_measured_once(
    drives: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Unless the file there is another: size and time of change are asked for, not the content."""
    pytest.importorskip("fsspec")
    place = shutil.copytree(drives / "truck 2", tmp_path / "van")
    first = speedcal.fleet(place.as_uri(), remember=tmp_path / "out")
    with monkeypatch.context() as patched:
        patched.setattr(drive, "measure", None)
        assert speedcal.fleet(place.as_uri(), remember=tmp_path / "out").to_dict() == first.to_dict()
    shutil.copy(drives / "truck 3" / "day0.gpx", place / "day0.gpx")
    shutil.copy(drives / "truck 3" / "day0.csv", place / "day0.csv")
    assert speedcal.fleet(place.as_uri(), remember=tmp_path / "out").to_dict() != first.to_dict()


def test_an_address_that_cannot_be_read_is_told_whatever_its_library_raises(tmp_path: Path) -> None:
    """Libraries of addresses have errors of their own; what a job file says would not be heeded."""
    fsspec = pytest.importorskip("fsspec")

    class Locked(fsspec.AbstractFileSystem):  # type: ignore[misc]
        protocol = "locked"

        def find(self, *_: object, **__: object) -> None:
            raise Exception("unable to locate credentials")

    fsspec.register_implementation("locked", Locked, clobber=True)
    with pytest.raises(speedcal.SpeedcalError, match="cannot be read: unable to locate credentials"):
        speedcal.fleet("locked://bucket/drives")
    (tmp_path / "van").mkdir()
    (tmp_path / "van" / "job.toml").write_text("", encoding="utf-8")
    (row,) = speedcal.fleet(tmp_path.as_uri()).rows
    assert row.reason is not None
    assert row.reason["error"] == "job_at_address"


def test_names_of_pairs(tmp_path: Path) -> None:
    """One stem, or one stem with what the file is behind it; in folders of days too; three of a stem are refused."""
    for name in (
        "day0.gpx", "day0.csv", "day1_track.gpx", "day1 notes.txt", "may/track.gpx", "may/readings.csv", "both.fit",
        "odd.gpx", "odd.csv", "odd.txt", ".hidden", "job notes.pdf",
    ):  # fmt: skip
        path = tmp_path / "van" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text("", encoding="utf-8")
    (found,) = find_vehicles(tmp_path)
    pairs = {files.name: sorted(Path(path).name for path in files.paths) for files in found.drives}
    assert pairs == {
        "both": ["both.fit"],
        "day0": ["day0.csv", "day0.gpx"],
        "day1": ["day1 notes.txt", "day1_track.gpx"],
        "may/drive": ["readings.csv", "track.gpx"],
    }
    assert [(name, error.code) for name, error in found.refused] == [("odd", "several_files_for_drive")]


def test_a_log_of_both_speeds_is_a_drive_of_a_fleet_as_it_is_of_a_job(tmp_path: Path) -> None:
    """Named as checks it was refused, and without a unit whatever was said."""
    rows = "".join(f"{k},{30 + k % 20},{32 + k % 20}\n" for k in range(90))
    (tmp_path / "log.csv").write_text(f"time (s),GPS speed,Vehicle speed\n{rows}", encoding="utf-8")
    (tmp_path / "job.toml").write_text('[before]\nchecks = "log.csv"\n', encoding="utf-8")
    ((files,),) = [found.drives for found in find_vehicles(tmp_path)]
    assert measure(files, None)["error"]["error"] == "column_without_unit"
    assert "error" not in measure(files, "mph")


def test_all_that_a_job_says_of_reading_a_drive_is_heeded(tmp_path: Path) -> None:
    """Its session too: a file of several vehicles is refused without."""
    said = {
        "unit": "mph", "column": "speed", "session": "truck 7", "zone": "+02:00", "clock_offset_s": 3.0,
        "read_from": "side", "rounding": "down", "terrain": "level", "dial_unit": "mph",
    }  # fmt: skip
    for name in ("day0.gpx", "day0.csv"):
        (tmp_path / name).touch()
    table = {"track": "day0.gpx", "readings": "day0.csv", **said, "date": "2026-05-04", "odometer": 61234.0}
    (tmp_path / "job.toml").write_text(job_text({"before": table}), encoding="utf-8")
    ((files,),) = [found.drives for found in find_vehicles(tmp_path)]
    assert dict(files.options) == said


def test_the_vehicle_of_a_job_tells_a_fleet_its_ranges_as_it_tells_the_job(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The drive after the work is one with the new axle: 6.72 is 1.6 times its 4.2, and 1.5 times the old one."""
    write_pair(drive_on(0, 77, 1.0), tmp_path, "day0")
    drive = {"track": "day0.gpx", "readings": "day0.csv"}
    tables = {"vehicle": {"axle": "4.48", "second_axle": "6.72"}, "before": drive, "work": {"axle": "4.2"}}
    (tmp_path / "job.toml").write_text(job_text({**tables, "after": drive}), encoding="utf-8")
    told: list[tuple[float, ...]] = []

    def calibrated(*_: object, range_gains: tuple[float, ...], **__: object) -> None:
        told.append(range_gains)
        raise FitError("truth_as_instrument", source="day0.csv")

    monkeypatch.setattr("speedcal.calibration.calibrate", calibrated)
    ((before, after),) = [found.drives for found in find_vehicles(tmp_path)]
    for files in (before, after):
        measure(files, "mph")
    assert told == [(pytest.approx(1.5),), (pytest.approx(1.6),)]


@pytest.mark.parametrize(("off_mph", "action"), [(-4.0, "reseat_needle"), (1.0, "keep_as_is")])
def test_a_needle_that_sits_low_is_not_kept_because_the_odometer_is_right(
    tmp_path: Path, off_mph: float, action: str
) -> None:
    """By its odometer the vehicle is right, and stays so; a dial that reads low is told beside it."""
    for day in range(2):
        made = drive_on(30.0 * day, 60 + day, 1.0, kind=LOGGED, shown_m=2e7 + 5e6 * day)
        speed = made.readings.speed_mps
        moving = speed > 5 * MPH_MPS
        shifted = replace(made.readings, speed_mps=np.where(moving, speed + off_mph * MPH_MPS, speed))
        write_pair(replace(made, readings=shifted), tmp_path / "drives" / "van", f"day{day}")
    done = CliRunner().invoke(
        cli, ["fleet", str(tmp_path / "drives"), "--out", str(tmp_path / "out"), "--processes", "1", "--json"]
    )
    assert done.exit_code == 0, done.output
    (row,) = json.loads((tmp_path / "out" / "fleet.json").read_text(encoding="utf-8"))["vehicles"]
    assert (row["judged_by"], row["wrong"], row["advice"]["action"]) == ("odometer", False, action)
    told = [finding["code"] for finding in row["findings"]]
    assert ("dial_off_odometer_right" in told) is (action != "keep_as_is")


def test_a_rule_at_speeds_that_no_drive_reached_is_said_to_be_judged_beyond_them(tmp_path: Path) -> None:
    """A van in town is judged at 120 km/h by the one rule, and at 50 mph by the other."""
    write_pair(drive_on(1, 901, 1.04, kind=NOTED), tmp_path / "van", "day0")
    for rule, told in (("un_r39_type", True), ("us_393_82", False)):
        (row,) = speedcal.fleet(tmp_path, rule=rule).rows
        assert ("outside_driven_range" in {finding.code for finding in row.findings}) is told


def test_miles_are_told_of_an_odometer_alone_and_one_that_stands_still_is_named(tmp_path: Path) -> None:
    """Two loggers of a truck that is 6 % high; the odometer of one does not move, so nothing of it is miscounted."""
    made = drive_on(0.0, 71, 1.06, kind=LOGGED)
    still = replace(made.readings, odometer_m=np.full_like(made.readings.odometer_m, 2e7))
    write_pair(made, tmp_path / "counts", "day0")
    write_pair(replace(made, readings=still), tmp_path / "stands", "day0")
    result = speedcal.fleet(tmp_path)
    counts, stands = (next(row for row in result.rows if row.vehicle == name) for name in ("counts", "stands"))
    lines = {name: line for line in str(result).splitlines() for name in ("counts", "stands") if f"  {name}:" in line}
    driven = counts.distance_m / 1000
    assert f", off by {0.06 * driven:.1f} km in {driven:.1f};" in lines["counts"]
    assert " km in " not in lines["stands"]
    told = {row.vehicle: {finding.code for finding in row.findings} for row in (counts, stands)}
    assert ("odometer_stands_still" in told["counts"], "odometer_stands_still" in told["stands"]) == (False, True)
