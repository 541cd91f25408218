"""Files as loggers lay them out: read right, or answered with a question that names the choice."""

from __future__ import annotations

import csv
import io
import json
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from support.logfiles import SmallDrive, small_drive
from support.mutations import faults
from support.structures import DRIVE, FILES, NAMES, SHOWN_KMH, rows_text, wide

import speedcal
from speedcal.errors import ReadingsFormatError, SpeedcalError
from speedcal.logs import read_readings, read_track
from speedcal.logs.inspection import inspect_file


def _bytes(name, encoding):
    data = FILES[name]
    return data if data[:2] == b"PK" else data.decode().encode(encoding)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("name", FILES)
def test_truth_and_instrument_are_found_whatever_the_structure(tmp_path, name, encoding):
    """Positions and times to the digit, recorded speed and readings in their units."""
    path = tmp_path / "log.txt"
    path.write_bytes(_bytes(name, encoding))
    track, readings = read_track(path), read_readings(path)
    np.testing.assert_allclose(track.time_s, DRIVE.time_s, atol=1e-3)
    np.testing.assert_allclose(track.latitude_deg, DRIVE.latitude_deg, atol=1e-8)
    np.testing.assert_allclose(track.longitude_deg, DRIVE.longitude_deg, atol=1e-8)
    np.testing.assert_allclose(track.speed_mps, DRIVE.speed_mps, atol=1e-9)
    np.testing.assert_allclose(readings.speed_mps * 3.6, SHOWN_KMH, atol=1e-9)
    assert readings.speed_unit == "km/h"
    told = {"no_position", "speed_missing"} if "missing" in name else {"summary_row"} if "sums" in name else set()
    assert set(track.dropped) | set(readings.dropped) <= told


@pytest.mark.parametrize(
    ("text", "code", "column"),
    [
        (wide(DRIVE.iso, NAMES), "truth_as_instrument", "gps speed (m/s)"),
        (wide(DRIVE.iso, [*NAMES[:4], "gps velocity km/h"]), "no_certain_column", None),
        (wide(DRIVE.iso, [*NAMES[:4], "speed km/h"]), "no_certain_column", None),
        (wide(DRIVE.iso, [*NAMES[:3], "vehicle speed km/h", "wheel speed km/h"]), "several_speed_columns", None),
        (wide(DRIVE.iso, [*NAMES[:4], "vehicle speed"]), "column_without_unit", None),
        (wide(DRIVE.iso, ["a", "b", "c", "d", "e"]), "no_speed_column", None),
        (wide(DRIVE.iso, NAMES), "no_such_column", "speedo"),
        (
            rows_text(
                [
                    [*row, "vehicle id" if i == 0 else f"T{i % 2}"]
                    for i, row in enumerate(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES))))
                ]
            ),
            "several_sessions",
            None,
        ),
    ],
)
def test_what_is_not_certain_is_asked(tmp_path, text, code, column):
    """Never guessed; one problem, not one for each row."""
    path = tmp_path / "log.csv"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path, column=column)
    assert caught.value.code == code
    assert not caught.value.problems
    assert len(str(caught.value)) < 500


def test_text_of_an_older_system_is_decoded(tmp_path):
    """Japanese of two bytes a character, and Western text of one, which must not become Japanese."""
    path = tmp_path / "log.csv"
    path.write_bytes(FILES["in Japanese"].decode().encode("cp932"))
    np.testing.assert_allclose(read_readings(path).speed_mps * 3.6, SHOWN_KMH, atol=1e-9)
    western = wide(DRIVE.iso, ["Zeit", "Breite", "Länge", "GPS m/s", "Tacho für größere Ränge km/h"])
    path.write_bytes(western.encode("cp1252"))
    assert inspect_file(path).columns[4].name == "Tacho für größere Ränge km/h"


@pytest.mark.parametrize("cells", [("91.5", "11.5"), ("4875.038", "1130.5"), ("4830.5", "36130.5")])
def test_what_is_no_position_does_not_become_one(tmp_path, cells):
    """91 minutes, 75 minutes, 361 degrees."""
    path = tmp_path / "log.csv"
    path.write_text("time,latitude,longitude\n" + "".join(f"{iso},{','.join(cells)}\n" for iso in DRIVE.iso))
    with pytest.raises(SpeedcalError) as caught:
        read_track(path)
    assert caught.value.code == "positions_unread"


def test_a_wrong_column_is_one_problem_and_not_one_for_each_row(tmp_path):
    """The cause: the column holds no speeds."""
    path = tmp_path / "log.csv"
    path.write_text(
        rows_text([["time", "place", "remark"], *([time, "x", "road"] for time in DRIVE.iso)]), encoding="utf-8"
    )
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path, column="remark", unit="mph")
    assert caught.value.code == "most_rows_unreadable"
    assert len(str(caught.value)) < 500


def test_positions_propose_the_unit_of_readings_and_decide_that_of_the_track(tmp_path):
    """The user decides what the instrument shows; what the receiver recorded is physics, and it is said."""
    path = tmp_path / "log.csv"
    path.write_text(wide(DRIVE.iso, [*NAMES[:3], "gps speed", "vehicle speed"]), encoding="utf-8")
    track = read_track(path)
    np.testing.assert_allclose(track.speed_mps, DRIVE.speed_mps)
    assert [f.values["speed_unit"] for f in track.findings if f.code == "speed_unit_by_positions"] == ["m/s"]
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path)
    assert caught.value.values["proposed"] == "km/h"


def test_one_table_of_both_speeds_says_which_was_taken_for_what(tmp_path):
    """Both remarks stand under one answer, so each names what its column was taken for."""
    path = tmp_path / "log.csv"
    path.write_text(wide(DRIVE.iso, NAMES), encoding="utf-8")
    truth, dial = (
        next(f.text for f in read(path).findings if f.code.endswith("speed_column"))
        for read in (read_track, read_readings)
    )
    assert re.search(r"true speed .* 'gps speed \(m/s\)'; not used for that: 'vehicle speed \(km/h\)'", truth)
    assert re.search(r"dial showed .* 'vehicle speed \(km/h\)'; not used for that: 'gps speed \(m/s\)'", dial)


def test_a_unit_in_the_header_that_the_positions_contradict_is_corrected_and_said(tmp_path):
    """The column says knots and holds m/s."""
    path = tmp_path / "log.csv"
    path.write_text(wide(DRIVE.iso, [*NAMES[:3], "gps speed kn", "vehicle speed km/h"]), encoding="utf-8")
    track = read_track(path)
    np.testing.assert_allclose(track.speed_mps, DRIVE.speed_mps)
    assert "speed_unit_contradicted" in [finding.code for finding in track.findings]


def test_the_vehicles_own_speed_is_never_taken_for_that_of_the_receiver(tmp_path):
    """A column without an origin that reads 8 % high against the positions."""
    rows = [
        [time, f"{a:.7f}", f"{b:.7f}", f"{c * 1.08:.2f}"]
        for time, a, b, c in zip(DRIVE.iso, DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, strict=True)
    ]
    path = tmp_path / "log.csv"
    path.write_text(rows_text([["time", "lat", "lon", "speed m/s"], *rows]), encoding="utf-8")
    track = read_track(path)
    assert np.isnan(track.speed_mps).all()
    assert [finding.code for finding in track.findings] == ["speed_not_of_receiver"]


def test_decimal_marks_lost_in_an_export_are_put_back_by_the_neighbors(tmp_path):
    """138093 km/h between 138 and 139 is 138.093; one between speeds that do not tell is left out."""
    speeds = ["137.801", "138093", "138.402", "139.002", "9999999", "140.104", *["141.5"] * 20]
    path = tmp_path / "log.csv"
    path.write_text(
        rows_text([["time", "vehicle speed km/h"], *([t, s] for t, s in zip(DRIVE.iso, speeds, strict=False))]),
        encoding="utf-8",
    )
    readings = read_readings(path)
    assert readings.speed_mps[1] * 3.6 == pytest.approx(138.093)
    assert len(readings) == len(speeds) - 1
    assert [(f.values["repaired"], f.values["left_out"]) for f in readings.findings if f.code == "decimals_lost"] == [
        (1, 1)
    ]


def test_a_status_that_would_drop_most_of_a_file_is_not_applied(tmp_path):
    """It is said instead."""
    rows = list(csv.reader(io.StringIO(wide(DRIVE.iso, NAMES))))
    path = tmp_path / "log.csv"
    path.write_text(
        rows_text([[*row, "fix status" if i == 0 else "0"] for i, row in enumerate(rows)]), encoding="utf-8"
    )
    track = read_track(path)
    assert len(track) == len(DRIVE.time_s)
    assert "status_not_applied" in [finding.code for finding in track.findings]


def test_stamps_cut_to_whole_seconds_cost_no_fix(tmp_path):
    """Four fixes in three seconds: a quarter would be lost."""
    drive: SmallDrive = small_drive(120)
    stamps = [f"{int(drive.time_s[0]) + int(0.75 * i)}" for i in range(120)]
    rows = [
        [s, f"{a:.7f}", f"{b:.7f}"] for s, a, b in zip(stamps, drive.latitude_deg, drive.longitude_deg, strict=True)
    ]
    path = tmp_path / "log.csv"
    path.write_text(rows_text([["epoch", "lat", "lon"], *rows]), encoding="utf-8")
    track = read_track(path)
    assert len(track) == 120
    (told,) = (finding for finding in track.findings if finding.code == "stamps_of_a_timer")
    assert told.values["period_s"] == pytest.approx(0.75, abs=0.001)
    true = drive.time_s[0] + 0.75 * np.arange(120)
    assert np.abs(track.time_s - true).max() < 0.76


NUMBERS = st.one_of(
    st.floats(allow_nan=False, allow_infinity=False), st.sampled_from([1e300, -1e200, 5e-324, 1.7976931348623157e308])
)
PLACES = ("latitude", "longitude", "altitude m", "gps speed m/s", "vehicle speed km/h", "u km/h", "odometer km")


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(value=NUMBERS, place=st.sampled_from([*PLACES, "epoch"]), rows=st.sampled_from([1, 30, 60]))
def test_no_number_is_printed_at_length(tmp_path, value, place, rows):
    """Any finite one, anywhere in a table, once or in every row: no word of the answer has more than twenty digits."""
    names = ["epoch", *PLACES]
    path = tmp_path / "log.csv"
    good = zip(DRIVE.time_s, DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, SHOWN_KMH, strict=True)
    body = [[t, a, b, 200, v, shown, 0.5, 12_000 + i] for i, (t, a, b, v, shown) in enumerate(good)]
    for row in body[:rows]:
        row[names.index(place)] = repr(value)
    path.write_text(rows_text([names, *body]), encoding="utf-8")
    try:
        found = inspect_file(path)
        text = str(found) + json.dumps(found.to_dict())
    except SpeedcalError as error:
        text = str(error) + json.dumps({**error.to_dict(), "problems": []})
    text = re.sub(r"[0-9a-f]{64}", "", text)
    assert max(map(len, re.findall(r"[0-9]+", text))) <= 20


def test_a_row_dated_before_any_calendar_is_left_out_of_track_and_readings_alike(tmp_path):
    path = tmp_path / "log.csv"
    rows = list(zip(DRIVE.time_s, DRIVE.latitude_deg, DRIVE.longitude_deg, SHOWN_KMH, strict=True))
    rows[5] = (-62135596801.0, *rows[5][1:])
    path.write_text(rows_text([["epoch", *PLACES[:2], "vehicle speed km/h"], *rows]), encoding="utf-8")
    for found in (read_track(path), read_readings(path)):
        assert found.dropped["impossible_date"] == 1
        assert len(found) == len(rows) - 1
    assert "impossible date" in str(inspect_file(path))


def test_tracks_and_readings_that_hold_the_same_are_equal(tmp_path):
    """And comparing never raises."""
    path = tmp_path / "log.csv"
    path.write_text(FILES["plain"].decode(), encoding="utf-8")
    assert read_track(path) == read_track(path)
    assert read_readings(path) == read_readings(path)
    assert read_track(path) != read_readings(path)
    assert isinstance(speedcal.read_track(path), speedcal.Track)


def test_damage_ends_in_a_result_or_in_an_error_of_ours(tmp_path):
    """Every layout once and a bit; lines dropped, doubled or exchanged leave times and values together."""
    assert list(faults(7 * len(FILES), len(FILES) + 13, tmp_path / "log")) == []


@pytest.mark.benchmark
def test_20000_damaged_files_end_in_a_result_or_in_an_error_of_ours(tmp_path):
    """The size for a night."""
    assert list(faults(0, 20_000, tmp_path / "log")) == []
