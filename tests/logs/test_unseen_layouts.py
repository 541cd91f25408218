"""Layouts of loggers and habits of note-takers: the truth, or a question, never a wrong number."""

from __future__ import annotations

import json
import tracemalloc
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pytest
from support.logfiles import sentence

from speedcal.cli import EXIT_UNUSABLE, main
from speedcal.errors import SpeedcalError
from speedcal.logs import read_readings, read_track
from speedcal.units import KMH_MPS, MPH_MPS

START_S = 1_710_495_000
N = 90
SPEED_MPS = np.round(15 + 7 * np.sin(np.arange(N) / 9), 2)
SHOWN_KMH = np.round(SPEED_MPS * 3.6 * 1.06)
_WAY = np.cumsum(SPEED_MPS)
_COURSE = _WAY / 300
LATITUDE = np.round(-33.45 + np.cumsum(SPEED_MPS * np.cos(_COURSE)) / 111_195, 7)
LONGITUDE = np.round(-70.61 + np.cumsum(SPEED_MPS * np.sin(_COURSE)) / (111_195 * np.cos(np.radians(33.45))), 7)


def _when(i, form="%Y-%m-%dT%H:%M:%SZ"):
    return datetime.fromtimestamp(START_S + i, UTC).strftime(form)


def _file(tmp_path, text, name="log.csv"):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return path


def _table(header, row, order=range(N)):
    return "\n".join([header, *(row(i) for i in order), ""])


def _minutes(angle, digits):
    return f"{int(angle):0{digits}d}{(angle - int(angle)) * 60:010.7f}"


TRACKS = {
    "year to second in six columns": _table(
        "year,month,day,hour,minute,second,lat,lon,speed (m/s)",
        lambda i: f"{_when(i, '%Y,%m,%d,%H,%M,%S')},{LATITUDE[i]},{LONGITUDE[i]},{SPEED_MPS[i]}",
    ),
    "date and clock time that name their zone": _table(
        "UTC date,UTC time,lat,lon,speed (m/s)",
        lambda i: f"{_when(i, '%Y/%m/%d,%H:%M:%S')},{LATITUDE[i]},{LONGITUDE[i]},{SPEED_MPS[i]}",
    ),
    "date and clock time by one letter": _table(
        "lat,lon,speed (m/s),utc_d,utc_t",
        lambda i: f"{LATITUDE[i]},{LONGITUDE[i]},{SPEED_MPS[i]},{_when(i, '%Y/%m/%d,%H:%M:%S')}",
    ),
    "speeds of three things, shortened": _table(
        "time,lat,lon,WndSpd,GndSpd m/s,VSpd",
        lambda i: f"{_when(i)},{LATITUDE[i]},{LONGITUDE[i]},3.1,{SPEED_MPS[i]},-0.2",
    ),
    "newest first": _table(
        "time,lat,lon,speed (m/s)",
        lambda i: f"{_when(i)},{LATITUDE[i]},{LONGITUDE[i]},{SPEED_MPS[i]}",
        range(N - 1, -1, -1),
    ),
    "rows exchanged": _table(
        "time,lat,lon,speed (m/s)",
        lambda i: f"{_when(i)},{LATITUDE[i]},{LONGITUDE[i]},{SPEED_MPS[i]}",
        [i * 37 % N for i in range(N)],
    ),
    "parts joined the wrong way round": _table(
        "time,lat,lon,speed (m/s)",
        lambda i: f"{_when(i)},{LATITUDE[i]},{LONGITUDE[i]},{SPEED_MPS[i]}",
        [*range(N // 2, N - 10), *range(N // 2), *range(N - 10, N)],
    ),
    "latitude in the column of the longitude": _table(
        "time,latitude,longitude,speed (m/s)", lambda i: f"{_when(i)},{LONGITUDE[i]},{LATITUDE[i]},{SPEED_MPS[i]}"
    ),
    "empty columns of the same names before": _table(
        "time,lat,lon,speed (m/s),lat,lon", lambda i: f"{_when(i)},,,{SPEED_MPS[i]},{LATITUDE[i]},{LONGITUDE[i]}"
    ),
}


@pytest.mark.parametrize("text", TRACKS.values(), ids=TRACKS)
def test_fixes_are_found_as_they_were_driven(tmp_path, text):
    """Time, place and speed of every fix, to the digit."""
    track = read_track(_file(tmp_path, text))
    np.testing.assert_allclose(track.time_s, START_S + np.arange(N), atol=1e-6)
    np.testing.assert_allclose(track.latitude_deg, LATITUDE, atol=1e-9)
    np.testing.assert_allclose(track.longitude_deg, LONGITUDE, atol=1e-9)
    np.testing.assert_allclose(track.speed_mps, SPEED_MPS, atol=1e-9)


_SENTENCES = "".join(
    sentence(f"GPGLL,{_minutes(-LATITUDE[i], 2)},S,{_minutes(-LONGITUDE[i], 3)},W,{_when(i, '%H%M%S')}.00,A,A")
    + "\n"
    + sentence(f"GPVTG,33.0,T,,M,,N,{SPEED_MPS[i] * 3.6:.4f},K,A")
    + "\n"
    for i in range(N)
)


def _plotted(decimals):
    """Return a track point file: a head of six lines, then latitude, longitude, break, feet, days since 1899-12-30."""
    rows = (
        f"{LATITUDE[i]:12.7f},{LONGITUDE[i]:12.7f},{int(i == 0)},{-777.0 if i % 9 == 4 else 1640.4 + i:7.1f},"
        f"{25_569 + (START_S + i) / 86_400:.{decimals}f}, {_when(i, '%d-%b-%y, %H:%M:%S')}\n"
        for i in range(N)
    )
    head = "Track Point File Version 2.1\nWGS 84\nAltitude is in Feet\nReserved 3\n0,2,255,drive,0,0,2,8421376,0\n90\n"
    return head + "".join(rows)


PLACES = {
    "KML points with a time each": "<kml xmlns='http://www.opengis.net/kml/2.2'><Document>"
    + "".join(
        f"<Placemark><TimeStamp><when>{_when(i)}</when></TimeStamp>"
        f"<Point><coordinates>{LONGITUDE[i]},{LATITUDE[i]},520</coordinates></Point></Placemark>"
        for i in range(N)
    )
    + "</Document></kml>",
    "GeoJSON line with times": json.dumps(
        {
            "type": "Feature",
            "properties": {"coordTimes": [_when(i) for i in range(N)]},
            "geometry": {"type": "LineString", "coordinates": np.column_stack([LONGITUDE, LATITUDE]).tolist()},
        }
    ),
    "JSON of places in one value": json.dumps(
        [{"point": f"{LATITUDE[i]:.7f}°, {LONGITUDE[i]:.7f}°", "time": _when(i)} for i in range(N)]
    ),
    "lines of named values behind a time": "".join(
        f"{_when(i)}: lat={LATITUDE[i]:.7f} lon={LONGITUDE[i]:.7f} sats=9\n" for i in range(N)
    ),
    "NMEA of GLL and VTG": _SENTENCES,
    "rows of a plotted track, without names": _plotted(10),
    "subtitles of a film, dated": "".join(
        f"{i + 1}\n00:{i // 60:02d}:{i % 60:02d},000 --> 00:{i // 60:02d}:{i % 60:02d},990\n"
        f"Frame {30 * i}, 33 ms\n{_when(i, '%Y-%m-%d %H:%M:%S')}.250\n"
        f"[iso: 100] [latitude: {LATITUDE[i]:.7f}] [longitude: {LONGITUDE[i]:.7f}] [rel_alt: 1.2]\n\n"
        for i in range(N)
    ),
    "subtitles of a film, by its own clock": "".join(
        f"{i + 1}\n00:{i // 60:02d}:{i % 60:02d},250 --> 00:{i // 60:02d}:{i % 60:02d},990\n"
        f"{3.6 * SPEED_MPS[i]:.1f} km/h  289 m\nLat={LATITUDE[i]:.7f} Lon={LONGITUDE[i]:.7f}\n\n"
        for i in range(N)
    ),
}


@pytest.mark.parametrize("name", PLACES)
def test_places_with_times_are_a_track_in_every_standard(tmp_path, name):
    """OGC KML 2.2, RFC 7946 with times beside, and the NMEA sentence that carries no speed."""
    track = read_track(_file(tmp_path, PLACES[name]))
    np.testing.assert_allclose(np.diff(track.time_s), 1.0)
    np.testing.assert_allclose(track.latitude_deg, LATITUDE, atol=1e-7)
    np.testing.assert_allclose(track.longitude_deg, LONGITUDE, atol=1e-7)
    if "VTG" in name:
        np.testing.assert_allclose(track.speed_mps, SPEED_MPS, atol=1e-4)


def test_a_plotted_track_has_its_date_and_its_heights(tmp_path):
    """Days since 1899-12-30 in seven decimals are 9 ms; heights are in feet, and -777 is none."""
    track = read_track(_file(tmp_path, _plotted(7), "drive.plt"))
    np.testing.assert_allclose(track.time_s, START_S + np.arange(N), atol=0.006)
    known = np.arange(N) % 9 != 4
    assert np.isnan(track.elevation_m[~known]).all()
    np.testing.assert_allclose(track.elevation_m[known], (1640.4 + np.flatnonzero(known)) * 0.3048, atol=0.02)


@pytest.mark.parametrize(("name", "start_s"), [("dated", START_S + 0.25), ("own clock", 946_684_800.25)])
def test_subtitles_have_the_time_they_state_or_that_of_the_film(tmp_path, name, start_s):
    """Where they state none, the track begins with the film, without a date."""
    text = next(text for title, text in PLACES.items() if title.endswith(name))
    track = read_track(_file(tmp_path, text, "film.srt"))
    np.testing.assert_allclose(track.time_s, start_s + np.arange(N), atol=1e-6)
    assert track.has_date == (name == "dated")


@pytest.mark.published("SAE J1979, mode 01, PID 0D: one byte, 1 km/h a bit; a positive answer begins with 41")
@pytest.mark.parametrize(
    ("line", "timed"),
    [
        ("{clock} 41 0D {byte}", True),
        ("{iso},010D,410D{byte}", True),
        ("({seconds}.000) can0 7E8#03410D{byte}00000000", True),
        (">010D\n7E8 03 41 0D {byte}", False),
    ],
)
def test_answers_of_a_vehicle_are_its_speed(tmp_path, line, timed):
    """Hexadecimal, with or without times and requests between them."""
    text = "\n".join(
        line.format(clock=_when(i, "%H:%M:%S"), iso=_when(i), seconds=START_S + i, byte=f"{int(SHOWN_KMH[i]):02X}")
        for i in range(N)
    )
    readings = read_readings(_file(tmp_path, text, "answers.txt"))
    np.testing.assert_allclose(readings.speed_mps / KMH_MPS, SHOWN_KMH)
    if timed:
        np.testing.assert_allclose(np.diff(readings.time_s), 1.0)
    else:
        assert readings.clock == "none"


@pytest.mark.parametrize(
    ("head", "found"),
    [
        (b"\x00\x00\x00\x18ftypheic\x00\x00\x00\x00mif1heic", "picture"),
        (b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom", "film"),
        (b"\x00\x00\x00\x1cftypM4A \x00\x00\x00\x00M4A isom", "sound"),
        (b"RIFF\x24\x08\x00\x00WAVEfmt ", "sound"),
        (b"{\\rtf1\\ansi 9:30:05 52 mph\\par}", "document"),
        (b"<!DOCTYPE html>\n<html><body>Sign in</body></html>", "web_page"),
    ],
)
def test_what_a_phone_offers_instead_of_a_log_is_called_by_its_name(tmp_path, head, found):
    """Photos, films, voice memos, documents and pages that ask to sign in; the remedy follows the kind."""
    path = tmp_path / "drive"
    path.write_bytes(head.ljust(600, b" "))
    for read in (read_track, read_readings):
        with pytest.raises(SpeedcalError) as caught:
            read(path)
        assert (caught.value.code, caught.value.values["found"]) == ("not_a_log", found)


def test_a_document_of_office_open_xml_is_no_archive_to_unpack(tmp_path):
    """ISO/IEC 29500-2: every package has its [Content_Types].xml."""
    path = tmp_path / "notes.docx"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("[Content_Types].xml", "<Types/>")
        archive.writestr("word/document.xml", "<w:document/>")
    with pytest.raises(SpeedcalError) as caught:
        read_readings(path)
    assert caught.value.values["found"] == "document"


@pytest.mark.parametrize("name", ["x" * 300, "a\0b"])
def test_a_name_that_no_file_can_have_is_refused_in_words(tmp_path, name):
    """Too long, or with a NUL in it."""
    with pytest.raises(SpeedcalError) as caught:
        read_track(tmp_path / name)
    assert caught.value.code == "file_not_opened"


@pytest.mark.parametrize(
    "arguments", [["fleet", "{long}", "--out", "result", "--json"], ["trim", "{track}", "--out", "{long}"]]
)
def test_a_name_that_no_file_can_have_ends_in_one_message(tmp_path, capsys, monkeypatch, arguments):
    """Of a folder, and of what is to be written."""
    track = Path(__file__).parents[2] / "data_demo" / "before.gpx"
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as ended:
        main([part.format(long="x" * 300, track=track) for part in arguments])
    assert ended.value.code == EXIT_UNUSABLE
    out, err = capsys.readouterr()
    told = err.splitlines()
    assert len(told) == 1
    assert "--json" not in arguments or json.loads(out)["error"] == "system_refused"
    assert "x" * 300 in told[0]


def test_a_file_of_two_gigabytes_is_refused_before_it_is_read(tmp_path):
    """Its size is asked for first: memory stays where it was."""
    path = tmp_path / "drive.gpx"
    with path.open("wb") as stream:
        stream.truncate(2 << 30)
    tracemalloc.start()
    with pytest.raises(SpeedcalError) as caught:
        read_track(path)
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert caught.value.code == "too_large"
    assert most < 10 << 20


@pytest.mark.parametrize("mark", ["-1", "9999", "255", "NO DATA", "err"])
def test_what_stands_for_no_speed_is_none(tmp_path, mark):
    """A mark is the same wherever it stands: below zero, beyond vehicles, reached at a leap, or a word."""
    text = _table("time,vehicle speed (km/h)", lambda i: f"{_when(i)},{mark if i % 9 == 4 else SHOWN_KMH[i]}")
    readings = read_readings(_file(tmp_path, text))
    kept = np.arange(N) % 9 != 4
    np.testing.assert_allclose(readings.speed_mps / KMH_MPS, SHOWN_KMH[kept], rtol=1e-12)
    np.testing.assert_allclose(readings.time_s, START_S + np.flatnonzero(kept))
    assert [(finding.code, finding.values["count"]) for finding in readings.findings] == [("marks_for_nothing", 10)]


def test_a_top_speed_that_is_driven_up_to_is_no_mark(tmp_path):
    """And single faults are still named line by line, beside the rows that are read."""
    driven = np.minimum(np.arange(N) * 3.0, 200.0)
    text = _table("time,vehicle speed (km/h)", lambda i: f"{_when(i)},{driven[i]:.0f}")
    np.testing.assert_allclose(read_readings(_file(tmp_path, text)).speed_mps / KMH_MPS, driven)
    readings = read_readings(_file(tmp_path, text.replace(",60\n", ",-5\n").replace(",90\n", ",fast\n")))
    np.testing.assert_allclose(readings.speed_mps / KMH_MPS, np.delete(driven, [20, 30]))
    (finding,) = readings.findings
    named = [(problem.line, problem.code) for problem in finding.values["problems"]]
    assert named == [(22, "impossible_speed"), (32, "cell_not_a_number")]


@pytest.mark.parametrize("header", ["asset", "colour"])
@pytest.mark.parametrize("track", [True, False])
def test_two_vehicles_under_any_name_are_a_question(tmp_path, header, track):
    """What takes turns at the same times and leaps as it does is not one vehicle; each answer gives its own rows."""
    text = _table(
        f"{header},time,lat,lon,vehicle speed (km/h)",
        lambda i: (
            f"red,{_when(i)},{LATITUDE[i]},{LONGITUDE[i]},{SHOWN_KMH[i]}\n"
            f"blue,{_when(i)},{LATITUDE[i] + 0.02},{LONGITUDE[i]},{SHOWN_KMH[::-1][i]}"
        ),
    )
    read, path = (read_track if track else read_readings), _file(tmp_path, text)
    with pytest.raises(SpeedcalError) as caught:
        read(path)
    assert caught.value.code == "several_sessions"
    blue = read(path, session="blue")
    if track:
        np.testing.assert_allclose(blue.latitude_deg, LATITUDE + 0.02)
    else:
        np.testing.assert_allclose(blue.speed_mps / KMH_MPS, SHOWN_KMH[::-1])


def test_what_changes_with_the_speed_of_one_vehicle_is_no_second_one(tmp_path):
    """A gear, a brake, a number of satellites that flickers."""
    text = _table(
        "time,vehicle speed (km/h),gear,brake,satellites",
        lambda i: f"{_when(i)},{SHOWN_KMH[i]},{SHOWN_KMH[i] // 20:.0f},{int(np.cos(i / 9) < 0)},{9 + i % 2}",
    )
    assert len(read_readings(_file(tmp_path, text))) == N


@pytest.mark.parametrize(
    ("text", "times_s", "speeds"),
    [
        ("mph\nat 14 minutes 20 it said 52\nat 15 minutes 5 it said 60\n", [860, 905], [52, 60]),
        ("14 min 20 sec: 52 mph\n61 min 5 sec: 60 mph\n", [860, 3665], [52, 60]),
        ("mph\n14'20\" 52\n15'05\" 60\n", [860, 905], [52, 60]),
        ("mph\nat 14 min 52 mph\nat 15 min 60 mph\n", [840, 900], [52, 60]),
        ("mph\n14h32m10s 52\n14h34m05s 60\n", [52330, 52445], [52, 60]),
        ("mph\n1\n00:00:14,200 --> 00:00:16,000\n52\n\n2\n00:00:24,200 --> 00:00:26,000\n60\n", [14.2, 24.2], [52, 60]),
        ("WEBVTT\n\n00:14.200 --> 00:16.000\n52 mph\n\n00:24.200 --> 00:26.000\nnow 60\n", [14.2, 24.2], [52, 60]),
        ("mph\n9:30:05-52\n9:31:05 - 60\n9:32:05 -45\n", [34205, 34265, 34325], [52, 60, 45]),
        ("mph\n9:30:05 - 30 - 35\n9:31:05 40 -45\n", [34205, 34265], [32.5, 42.5]),
        ("speed in mph\n1  9:30:05  52\n2  9:31:05  60\n3  9:32:05  45\n", [34205, 34265, 34325], [52, 60, 45]),
        ("38,9:30:05\n53,9:31:05\n54 mph,9:32:05\n", [34205, 34265, 34325], [38, 53, 54]),
        ("Fri 15 March 2024, mph\n9:30:05 52\n9:31:05 60\n", [34205, 34265], [52, 60]),
        ("mph\n9:30:05 52 and a half\n9:31:05 60 1/2\n9:32:05 45½\n", [34205, 34265, 34325], [52.5, 60.5, 45.5]),
        ("mph\n9:30:05 between 30 and 35\n9:31:05 just under 60\n", [34205, 34265], [32.5, 60]),
        ("mph\n9:30:05 50\n9:31:05 52 for 2 min\n", [34205, 34265], [50, 52]),
    ],
)
def test_notes_and_subtitles_are_read_with_their_times(tmp_path, text, times_s, speeds):
    """Spoken times, subtitles, dashes, numbered lines, halves."""
    readings = read_readings(_file(tmp_path, text, "notes.txt"))
    np.testing.assert_allclose(readings.time_s, times_s, atol=1e-6)
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, speeds, rtol=1e-12)


@pytest.mark.parametrize(
    ("line", "code"),
    [(">60", "one_sided"), ("over 60", "one_sided"), ("at least 60", "one_sided")],
)
def test_notes_that_tell_no_speed_are_a_question(tmp_path, line, code):
    """More than 60 is no reading."""
    with pytest.raises(SpeedcalError) as caught:
        read_readings(_file(tmp_path, f"mph\n9:30:05 50\n9:31:05 {line}\n", "notes.txt"))
    assert caught.value.code == code


def test_a_time_with_figures_hanging_on_to_it_is_not_cut_short(tmp_path):
    """9:30x15 is no 9:30."""
    with pytest.raises(SpeedcalError) as caught:
        read_readings(_file(tmp_path, "mph\n9:30x15 50\n9:31x15 60\n", "notes.txt"))
    assert {problem.code for problem in caught.value.problems} == {"time_goes_on"}


def test_just_under_is_as_uncertain_as_about(tmp_path):
    """A mile per hour."""
    readings = read_readings(_file(tmp_path, "mph\n9:30:05 50\n9:31:05 just under 60\n9:32:05 nearly 40\n", "n.txt"))
    np.testing.assert_allclose(readings.u_speed_mps / MPH_MPS, [np.nan, 1, 1])
