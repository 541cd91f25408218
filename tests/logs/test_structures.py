"""Files as loggers lay them out: read right, or answered with a question that names the choice."""

from __future__ import annotations

import csv
import io
import json

import numpy as np
import pytest
from support.logfiles import SmallDrive, small_drive

import speedcal
from speedcal.errors import ReadingsFormatError, SpeedcalError
from speedcal.logs import read_readings, read_track

DRIVE = small_drive(60)
SHOWN_KMH = np.round(DRIVE.speed_mps * 3.6 * 1.05)
MS = [f"{int(t) * 1000}" for t in DRIVE.time_s]


def _csv(rows: list[list[object]], mark: str = ",", *, quoted: bool = False) -> str:
    stream = io.StringIO()
    csv.writer(stream, delimiter=mark, quoting=csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL).writerows(rows)
    return stream.getvalue()


def _wide(times: list[str], names: list[str], *, above: list[list[object]] = (), below: list[list[object]] = ()) -> str:
    body = [
        [time, f"{lat:.7f}", f"{lon:.7f}", f"{speed:.2f}", f"{shown:.0f}"]
        for time, lat, lon, speed, shown in zip(
            times, DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, SHOWN_KMH, strict=True
        )
    ]
    return _csv([*above, names, *below, *body])


NAMES = ["time", "latitude", "longitude", "gps speed (m/s)", "vehicle speed (km/h)"]
PREAMBLE = [
    ["Logger", "export"],
    ["Format", 3],
    ["Title", "Sunday"],
    ["Created", "31/12/2025", "02:54"],
    ["Note", ""],
    [],
]
SAME = ["time", "latitude", "longitude", "speed", "speed"]
LONG = [
    [time, name, value, unit]
    for i, time in enumerate(DRIVE.iso)
    for name, value, unit in (
        ("latitude", f"{DRIVE.latitude_deg[i]:.7f}", "deg"),
        ("longitude", f"{DRIVE.longitude_deg[i]:.7f}", "deg"),
        ("gps speed", f"{DRIVE.speed_mps[i]:.2f}", "m/s"),
        ("vehicle speed", f"{SHOWN_KMH[i]:.0f}", "km/h"),
        ("coolant temperature", "90", "C"),
    )
]
OBJECTS = [
    {
        "timestamp": time,
        "position": {"latitude": lat, "longitude": lon},
        "gps": {"speed": {"value": speed, "unit": "m/s"}},
        "vehicle": {"speed": {"value": shown, "unit": "km/h"}},
    }
    for time, lat, lon, speed, shown in zip(
        DRIVE.iso,
        *(x.tolist() for x in (DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, SHOWN_KMH)),
        strict=True,
    )
]
LISTS = {
    "meta": {"device": "logger", "channels": [1, 2, 3]},
    "data": {
        "time": DRIVE.iso,
        "latitude": DRIVE.latitude_deg.tolist(),
        "longitude": DRIVE.longitude_deg.tolist(),
        "gps speed m/s": DRIVE.speed_mps.tolist(),
        "vehicle speed km/h": SHOWN_KMH.tolist(),
    },
}
GEOJSON = {
    "type": "FeatureCollection",
    "features": [
        {
            "type": "Feature",
            "geometry": {"type": "Point", "coordinates": [lon, lat]},
            "properties": {"time": time, "gps speed m/s": speed, "vehicle speed km/h": shown},
        }
        for time, lat, lon, speed, shown in zip(
            DRIVE.iso,
            *(x.tolist() for x in (DRIVE.latitude_deg, DRIVE.longitude_deg, DRIVE.speed_mps, SHOWN_KMH)),
            strict=True,
        )
    ],
}


def _instrument_by_instrument() -> str:
    lines = []
    for i in range(len(MS)):
        lines.append(f"{int(MS[i]) - 1300};010D;{SHOWN_KMH[i]:.1f}")
        place = f"{DRIVE.latitude_deg[i]:.7f}:{DRIVE.longitude_deg[i]:.7f}:{DRIVE.speed_mps[i]}:{MS[i]}:251.4:3.3:0.1"
        lines.append(f"{int(MS[i]) - 1290};gps;{place}")
    return "\n".join(lines) + "\n"


BOTH = {
    "plain": _wide(DRIVE.iso, NAMES),
    "preamble": _wide(DRIVE.iso, NAMES, above=PREAMBLE),
    "a hundred lines of settings": _wide(DRIVE.iso, NAMES, above=[["setting", i] for i in range(100)]),
    "units in a row of their own": _wide(
        DRIVE.iso,
        ["time", "latitude", "longitude", "gps speed", "vehicle speed"],
        below=[["utc", "deg", "deg", "m/s", "km/h"]],
    ),
    "names, units and sources": _wide(
        [f"{int(m) / 1000:.3f}" for m in MS],
        ["timestamp", *SAME[1:]],
        above=PREAMBLE,
        below=[["unix time", "deg", "deg", "m/s", "km/h"], ["", "100: gps", "100: gps", "100: gps", "200: obd"]],
    ),
    "everything quoted": _csv(list(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES)))), quoted=True),
    "semicolons": _csv(list(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES)))), ";"),
    "semicolons and decimal commas": _csv(
        [
            [cell.replace(".", ",") if i else cell for cell in row]
            for i, row in enumerate(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES))))
        ],
        ";",
    ),
    "tabs": _csv(list(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES)))), "\t"),
    "blank rows": _wide(DRIVE.iso, NAMES).replace("\n", "\n\n"),
    "epoch in milliseconds": _wide(MS, ["timestamp", *NAMES[1:]]),
    "epoch in seconds": _wide([m[:-3] for m in MS], ["epoch", *NAMES[1:]]),
    "a time that stands still": _csv(
        [
            ["session start time", *row] if i == 0 else ["2020-09-13T12:00:00Z", *row]
            for i, row in enumerate(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES))))
        ]
    ),
    "cells with their unit": _wide(DRIVE.iso, [*NAMES[:4], "vehicle speed"])
    .replace("\r\n", " km/h\r\n")
    .replace("vehicle speed km/h", "vehicle speed"),
    "header once more": _wide(DRIVE.iso, NAMES) + _wide(DRIVE.iso, NAMES).split("\r\n")[0] + "\r\n",
    "precision beside position": _csv(
        [
            [row[0], "3.5" if i else "latitude accuracy", *row[1:]]
            for i, row in enumerate(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES))))
        ]
    ),
    "a mode that is no status": _csv(
        [
            [*row, "drive mode" if i == 0 else "0"]
            for i, row in enumerate(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES))))
        ]
    ),
    "long form": _csv([["time", "quantity", "value", "unit"], *LONG]),
    "long form without the other quantities": _csv([["timestamp", "signal", "value", "unit"], *LONG], ";"),
    "json lines": "\n".join(map(json.dumps, OBJECTS)),
    "json list": json.dumps(OBJECTS),
    "nested json": json.dumps({"trip": {"id": 7, "samples": OBJECTS}}),
    "json of lists": json.dumps(LISTS),
    "geojson": json.dumps(GEOJSON),
    "long form in json": json.dumps([dict(zip(("time", "name", "value", "unit"), row, strict=True)) for row in LONG]),
    "one file an instrument": _instrument_by_instrument(),
}


@pytest.mark.parametrize("encoding", ["utf-8", "utf-16"])
@pytest.mark.parametrize("name", BOTH)
def test_truth_and_instrument_are_found_whatever_the_structure(tmp_path, name, encoding):
    """Positions and times to the digit, recorded speed and readings in their units."""
    path = tmp_path / "log.txt"
    path.write_bytes(BOTH[name].encode(encoding))
    track, readings = read_track(path), read_readings(path)
    np.testing.assert_allclose(track.time_s, DRIVE.time_s, atol=1e-3)
    np.testing.assert_allclose(track.latitude_deg, DRIVE.latitude_deg, atol=1e-8)
    np.testing.assert_allclose(track.longitude_deg, DRIVE.longitude_deg, atol=1e-8)
    np.testing.assert_allclose(track.speed_mps, DRIVE.speed_mps, atol=1e-9)
    np.testing.assert_allclose(readings.speed_mps * 3.6, SHOWN_KMH, atol=1e-9)
    assert readings.speed_unit == "km/h"
    assert track.dropped == readings.dropped == {}


@pytest.mark.parametrize(
    ("text", "code", "column"),
    [
        (_wide(DRIVE.iso, NAMES), "truth_as_instrument", "gps speed (m/s)"),
        (_wide(DRIVE.iso, [*NAMES[:4], "gps velocity km/h"]), "no_certain_column", None),
        (_wide(DRIVE.iso, [*NAMES[:4], "speed km/h"]), "no_certain_column", None),
        (_wide(DRIVE.iso, [*NAMES[:3], "vehicle speed km/h", "wheel speed km/h"]), "several_speed_columns", None),
        (_wide(DRIVE.iso, [*NAMES[:4], "vehicle speed"]), "column_without_unit", None),
        (_wide(DRIVE.iso, ["a", "b", "c", "d", "e"]), "no_speed_column", None),
        (_wide(DRIVE.iso, NAMES), "no_such_column", "speedo"),
        (
            _csv(
                [
                    [*row, "vehicle id" if i == 0 else f"T{i % 2}"]
                    for i, row in enumerate(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES))))
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


def test_a_wrong_column_is_one_problem_and_not_one_for_each_row(tmp_path):
    """The cause: the column holds no speeds."""
    path = tmp_path / "log.csv"
    path.write_text(_csv([["time", "place", "remark"], *([time, "x", "road"] for time in DRIVE.iso)]), encoding="utf-8")
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path, column="remark", unit="mph")
    assert caught.value.code == "most_rows_unreadable"
    assert len(str(caught.value)) < 500


def test_positions_propose_the_unit_of_readings_and_decide_that_of_the_track(tmp_path):
    """The user decides what the instrument shows; what the receiver recorded is physics, and it is said."""
    path = tmp_path / "log.csv"
    path.write_text(_wide(DRIVE.iso, [*NAMES[:3], "gps speed", "vehicle speed"]), encoding="utf-8")
    track = read_track(path)
    np.testing.assert_allclose(track.speed_mps, DRIVE.speed_mps)
    assert [f.values["speed_unit"] for f in track.findings if f.code == "speed_unit_by_positions"] == ["m/s"]
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path)
    assert caught.value.values["proposed"] == "km/h"


def test_a_unit_in_the_header_that_the_positions_contradict_is_corrected_and_said(tmp_path):
    """The column says knots and holds m/s."""
    path = tmp_path / "log.csv"
    path.write_text(_wide(DRIVE.iso, [*NAMES[:3], "gps speed kn", "vehicle speed km/h"]), encoding="utf-8")
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
    path.write_text(_csv([["time", "lat", "lon", "speed m/s"], *rows]), encoding="utf-8")
    track = read_track(path)
    assert np.isnan(track.speed_mps).all()
    assert [finding.code for finding in track.findings] == ["speed_not_of_receiver"]


def test_decimal_marks_lost_in_an_export_are_put_back_by_the_neighbors(tmp_path):
    """138093 km/h between 138 and 139 is 138.093; one between speeds that do not tell is left out."""
    speeds = ["137.801", "138093", "138.402", "139.002", "9999999", "140.104", *["141.5"] * 20]
    path = tmp_path / "log.csv"
    path.write_text(
        _csv([["time", "vehicle speed km/h"], *([t, s] for t, s in zip(DRIVE.iso, speeds, strict=False))]),
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
    rows = list(csv.reader(io.StringIO(_wide(DRIVE.iso, NAMES))))
    path = tmp_path / "log.csv"
    path.write_text(_csv([[*row, "fix status" if i == 0 else "0"] for i, row in enumerate(rows)]), encoding="utf-8")
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
    path.write_text(_csv([["epoch", "lat", "lon"], *rows]), encoding="utf-8")
    track = read_track(path)
    assert len(track) == 120
    assert track.time_step_s == 1.0
    true = drive.time_s[0] + 0.75 * np.arange(120)
    assert np.abs(track.time_s - true).max() < 0.76


@pytest.mark.parametrize("value", [1e300, 1e-300, 1.7976931348623157e308, -1e200, 123456789.123456789])
def test_no_number_is_printed_at_length(tmp_path, value):
    """Any finite one."""
    path = tmp_path / "log.csv"
    path.write_text(
        _csv([["time", "vehicle speed km/h"], *([t, repr(value)] for t in DRIVE.iso[:5])]), encoding="utf-8"
    )
    try:
        text = str(read_readings(path))
    except SpeedcalError as error:
        text = str(error)
    assert max(map(len, text.replace("/", " ").split())) < 60


def test_tracks_and_readings_that_hold_the_same_are_equal(tmp_path):
    """And comparing never raises."""
    path = tmp_path / "log.csv"
    path.write_text(BOTH["plain"], encoding="utf-8")
    assert read_track(path) == read_track(path)
    assert read_readings(path) == read_readings(path)
    assert read_track(path) != read_readings(path)
    assert isinstance(speedcal.read_track(path), speedcal.Track)


@pytest.mark.parametrize("name", BOTH)
def test_damage_ends_in_a_result_or_in_an_error_of_ours(tmp_path, name):
    """Bytes changed, cut out, doubled, and lines exchanged; seeded."""
    rng = np.random.default_rng(len(name))
    path = tmp_path / "log.txt"
    for _ in range(8):
        data = bytearray(BOTH[name].encode())
        for _ in range(int(rng.integers(1, 6))):
            i, k = int(rng.integers(len(data))), int(rng.integers(1, 100))
            data[i : i + k] = [b"", bytes(data[i : i + k]) * 2, b"\x00", b'"', b"1e308", b"{", b"\n"][
                int(rng.integers(7))
            ]
        path.write_bytes(bytes(data) or b"x")
        for read in (read_track, read_readings):
            try:
                text = str(read(path))
            except SpeedcalError as error:
                text = str(error)
            assert 0 < len(text) < 5000
