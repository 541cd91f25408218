"""Several vehicles or sessions in one file: asked which, and the answer is taken wherever the question is asked."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import openpyxl
import pytest
from click.testing import CliRunner
from support.logfiles import small_drive
from support.structures import rows_text

import speedcal
from speedcal.cli import cli
from speedcal.errors import ReadingsFormatError, TrackFormatError
from speedcal.jobs import load_job, measure_job
from speedcal.logs import read_readings, read_track
from speedcal.logs.inspection import inspect_file
from speedcal.units import MPH_MPS
from speedcal.web.work.marks import choices

DRIVE = small_drive(200)
FACTORS = {"Truck 7": 1.05, "van": 0.95}
NAMES = ["time", "latitude", "longitude", "gps speed (m/s)", "vehicle speed (km/h)"]


def _rows(factor):
    """One drive after the other: the second an hour later."""
    later = 3600 if factor < 1 else 0
    return [
        [f"{time + later:.0f}", f"{lat:.7f}", f"{lon:.7f}", f"{speed:.2f}", f"{speed * 3.6 * factor:.0f}"]
        for time, lat, lon, speed in zip(
            DRIVE.time_s, DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, strict=True
        )
    ]


def _csv(rows):
    stream = io.StringIO()
    csv.writer(stream).writerows(rows)
    return stream.getvalue().encode()


def _wide(*more):
    header = [*NAMES, "vehicle id", *(name for name, _ in more)]
    body = [[*row, name, *(of[name] for _, of in more)] for name, f in FACTORS.items() for row in _rows(f)]
    return _csv([header, *body])


def _long():
    return _csv(
        [
            ["time", "device", "quantity", "value"],
            *(
                [row[0], name, quantity, value]
                for name, f in FACTORS.items()
                for row in _rows(f)
                for quantity, value in zip(NAMES[1:], row[1:], strict=True)
            ),
        ]
    )


def _objects(factor):
    return [dict(zip(NAMES, row, strict=True)) for row in _rows(factor)]


def _sheets():
    book = openpyxl.Workbook()
    book.remove(book.active)
    for name, factor in FACTORS.items():
        sheet = book.create_sheet(name)
        for row in [NAMES, *_rows(factor)]:
            sheet.append(row)
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


FILES = {
    "a column": _wide(),
    "two columns that say the same": _wide(("session", {"Truck 7": "Truck 7", "van": "van"})),
    "one measurement a row": _long(),
    "a list of trips": json.dumps({"trips": [{"id": n, "points": _objects(f)} for n, f in FACTORS.items()]}).encode(),
    "objects by name": json.dumps({n: {"points": _objects(f)} for n, f in FACTORS.items()}).encode(),
    "lines": "\n".join(json.dumps({"vehicle": n, **o}) for n, f in FACTORS.items() for o in _objects(f)).encode(),
    "sheets": _sheets(),
}


def _write(tmp_path, name):
    path = tmp_path / "log.dat"
    path.write_bytes(FILES[name])
    return path


def _answer(error, name):
    """Return the name in the question that holds the name of a vehicle."""
    return next(word for word in error.values["names"] if name in word)


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("vehicle", FACTORS)
def test_the_question_names_what_there_is_and_the_answer_is_taken(tmp_path, name, vehicle):
    path = _write(tmp_path, name)
    with pytest.raises(TrackFormatError) as of_track:
        read_track(path)
    with pytest.raises(ReadingsFormatError) as of_readings:
        read_readings(path)
    assert of_track.value.code == of_readings.value.code == "several_sessions"
    assert "--session" in str(of_track.value)
    session = _answer(of_readings.value, vehicle)
    track, readings = read_track(path, session=session.upper()), read_readings(path, session=session)
    assert len(track) == len(readings) == len(DRIVE.time_s)
    np.testing.assert_allclose(track.latitude_deg, DRIVE.latitude_deg, atol=1e-8)
    np.testing.assert_allclose(readings.speed_mps * 3.6, np.round(DRIVE.speed_mps * 3.6 * FACTORS[vehicle]), atol=0.51)
    assert inspect_file(path, session=session).readings == readings
    with pytest.raises(ReadingsFormatError) as unknown:
        read_readings(path, session="tractor")
    assert unknown.value.code == "no_such_session"
    assert vehicle in str(unknown.value)


def test_the_command_and_the_job_take_the_answer(tmp_path):
    """With the words of the question."""
    path = _write(tmp_path, "a column")
    for name, factor in FACTORS.items():
        asked = CliRunner().invoke(cli, ["calibrate", str(path), str(path)])
        assert "--session" in str(asked.exception)
        given = CliRunner().invoke(cli, ["calibrate", str(path), str(path), "--session", name, "--json"])
        assert json.loads(given.stdout)["error_factor"]["value"] == pytest.approx(factor, rel=0.01)
        assert CliRunner().invoke(cli, ["inspect", str(path), "--session", name]).exit_code == 0
        out = str(tmp_path / f"{name}.gpx")
        assert CliRunner().invoke(cli, ["trim", str(path), "--session", name, "--out", out]).exit_code == 0
        job = tmp_path / "job.toml"
        job.write_text(f'[before]\ntrack = "log.dat"\nreadings = "log.dat"\nsession = "{name}"\n', encoding="utf-8")
        measured = measure_job(load_job(job))
        assert measured.before.error_factor.value == pytest.approx(factor, rel=0.01)


def test_two_files_may_name_the_same_vehicle_differently(tmp_path):
    """One answer serves both; with one of the names alone the other file asks."""
    track, notes = tmp_path / "track.gpx", tmp_path / "log.csv"
    track.write_text(_gpx(("van; blue", 0.02), ("unit 12", 0.0)))
    notes.write_bytes(_wide())
    both = ["calibrate", str(track), str(notes), "--json", "--session"]
    given = json.loads(CliRunner().invoke(cli, [*both, "Unit 12; truck 7"]).stdout)
    assert given["error_factor"]["value"] == pytest.approx(FACTORS["Truck 7"], rel=0.01)
    assert "both names with ; between" in str(CliRunner().invoke(cli, [*both, "unit 12"]).exception)
    assert len(read_track(track, session="van; blue")) == len(DRIVE.time_s)
    with pytest.raises(ReadingsFormatError, match="none of the 2"):
        read_readings(notes, session="van; truck 7")
    with pytest.raises(ReadingsFormatError) as asked:
        read_readings(notes, session="unit 12")
    offered = choices([{**asked.value.to_dict(), "field": "session"}])["session"]
    assert offered == ["Truck 7", "van", "unit 12; Truck 7", "unit 12; van"]


def test_a_file_of_one_vehicle_is_read_whole_whatever_is_named(tmp_path):
    """The track may come from a receiver that names itself, and the readings from a log of several vehicles."""
    path = tmp_path / "track.csv"
    path.write_bytes(_csv([[*NAMES, "device"], *([*row, "phone"] for row in _rows(1.05))]))
    assert speedcal.read_track(path, session="van") == read_track(path)


def test_a_column_that_numbers_the_rows_names_no_sessions(tmp_path):
    path = tmp_path / "track.csv"
    path.write_bytes(_csv([[*NAMES, "drive no"], *([*row, i] for i, row in enumerate(_rows(1.05)))]))
    assert len(read_track(path)) == len(DRIVE.time_s)


def test_pages_of_one_drive_are_read_together(tmp_path):
    """Two sheets of notes, the second going on where the first ends."""
    book = openpyxl.Workbook()
    times = [f"10:{i:02d}:00" for i in range(12)]
    for sheet, part in ((book.active, slice(0, 7)), (book.create_sheet("page 2"), slice(7, 12))):
        for row in [("time", "dial (mph)"), *zip(times[part], range(30, 42)[part], strict=True)]:
            sheet.append(row)
    path = tmp_path / "notes.xlsx"
    book.save(path)
    with pytest.raises(ReadingsFormatError) as asked:
        read_readings(path)
    assert asked.value.code == "several_sessions"
    together = read_readings(path, session="all")
    np.testing.assert_allclose(together.speed_mps, np.arange(30, 42) * MPH_MPS)
    np.testing.assert_allclose(np.diff(together.time_s), 60)


@pytest.mark.parametrize("between", [[], [""]])
def test_blocks_of_notes_side_by_side_are_one_list(tmp_path, between):
    """Two pages of a notebook typed beside each other; the second is shorter."""
    times = [f"10:{i:02d}:00" for i in range(9)]
    rows = [[times[i], str(30 + i)] for i in range(9)] + [["", ""]]
    columns = ["time", "dial (mph)"]
    typed = [[*columns, *between, *columns], *([*a, *between, *b] for a, b in zip(rows[:5], rows[5:], strict=True))]
    path = tmp_path / "notes.csv"
    path.write_text(rows_text(typed))
    found = read_readings(path)
    np.testing.assert_allclose(found.speed_mps, np.arange(30, 39) * MPH_MPS)
    np.testing.assert_allclose(np.diff(found.time_s), 60)
    assert [finding.code for finding in found.findings] == ["blocks_side_by_side"]


def _gpx(*tracks):
    """Tracks of a name, and by how far north of the drive each is, in degrees."""
    parts = []
    for name, north in tracks:
        points = "".join(
            f'<trkpt lat="{lat + north:.7f}" lon="{lon:.7f}"><time>{stamp}</time></trkpt>'
            for lat, lon, stamp in zip(DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.iso, strict=True)
        )
        parts.append(f"<trk><name>{name}</name><trkseg>{points}</trkseg></trk>")
    return f'<gpx version="1.1">{"".join(parts)}</gpx>'


def test_of_tracks_of_one_time_in_different_places_it_is_asked_which(tmp_path):
    """The longest was taken, and of equals the first."""
    path = tmp_path / "two.gpx"
    path.write_text(_gpx(("car", 0.0), ("van", 0.02)))
    with pytest.raises(TrackFormatError) as asked:
        read_track(path)
    assert asked.value.code == "several_sessions"
    assert asked.value.values["names"] == ["car", "van"]
    van = read_track(path, session="van")
    assert len(van) == len(DRIVE.time_s)
    np.testing.assert_allclose(van.latitude_deg, DRIVE.latitude_deg + 0.02, atol=1e-7)


def test_two_receivers_in_one_vehicle_are_no_question(tmp_path):
    """Some 30 m apart, as a phone between houses and a receiver under the open sky may be."""
    path = tmp_path / "two.gpx"
    path.write_text(_gpx(("phone", 0.0003), ("receiver", 0.0)))
    assert len(read_track(path)) == len(DRIVE.time_s)
