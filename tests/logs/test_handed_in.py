"""Files as customers hand them in: with what a phone showed, remarks with numbers, archives, mails, plans."""

from __future__ import annotations

import io
import json
import zipfile
from email.message import EmailMessage
from pathlib import Path

import numpy as np
import pytest

from speedcal.errors import ReadingsFormatError, SpeedcalError, TrackFormatError
from speedcal.logs import read_readings, read_track
from speedcal.logs.drive.readings import Readings
from speedcal.logs.inspection import inspect_file
from speedcal.units import KMH_MPS, MILE_M, MPH_MPS
from tests.support.logfiles import gpx_11, kml, small_drive

_AT = ("14:03:12", "14:03:36", "14:04:07", "14:04:34", "14:05:14", "14:05:36", "14:06:11")
_AFTER_S = np.array([0, 24, 55, 82, 122, 144, 179], float)
_DIAL, _PHONE = (30, 38, 47, 55, 64, 60, 52), (28, 36, 44, 52, 60, 57, 49)
_ROWS = tuple(zip(_AT, _DIAL, _PHONE, strict=True))


def _file(tmp_path: Path, content: str | bytes, name: str = "notes.txt") -> Path:
    path = tmp_path / name
    path.write_bytes(content.encode() if isinstance(content, str) else content)
    return path


def _is_drive(readings: Readings, unit_mps: float = MPH_MPS) -> bool:
    rows = len(readings) == len(_DIAL) and np.allclose(readings.speed_mps, np.array(_DIAL) * unit_mps)
    return bool(rows and np.allclose(readings.time_s - readings.time_s[0], _AFTER_S))


def _zip(**members: bytes) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in members.items():
            archive.writestr(name.replace("_", "."), data)
    return packed.getvalue()


_TABLE = "time,speedo mph\n" + "".join(f"{at},{dial}\n" for at, dial, _ in _ROWS)


@pytest.mark.parametrize(
    "form",
    [
        "{at} dash {dial} mph\n{at} phone {phone} mph\n",
        "{at} GPS {phone} mph\n{at} dash {dial} mph\n",
        "[17/03/2026, {at}] Pat: dash {dial} mph\n[17/03/2026, {at}] Ann: gps {phone} mph\n",
        "{at} {dial} mph\n{at} took exit 23\n",
        "{at} {dial} mph\n{at} joined I-70\n",
        "{at} {dial} mph\n{at} Ausfahrt 41\n",
    ],
)
def test_what_a_phone_shows_or_a_sign_says_is_no_reading(tmp_path: Path, form: str) -> None:
    """Each line of its own was taken for a reading of the dial."""
    text = "".join(form.format(at=at, dial=dial, phone=phone) for at, dial, phone in _ROWS)
    assert _is_drive(read_readings(_file(tmp_path, text)))


@pytest.mark.parametrize(
    "line", ["15:00:00 on route 9, 50 mph", "15:00:00 lane 2 50 mph", "15:00:00 gear 4: 50 mph", "15:00 bridge 50"]
)
def test_a_speed_beside_the_number_of_a_road_stays_one(tmp_path: Path, line: str) -> None:
    readings = read_readings(_file(tmp_path, "14:00:00 40 mph\n14:30:00 45 mph\n" + line))
    assert np.allclose(readings.speed_mps / MPH_MPS, [40, 45, 50])


@pytest.mark.parametrize("header", ["time,phone mph,car mph", "time,Handy km/h,Tacho mph"])
def test_a_column_of_a_phone_is_not_taken_for_the_dial(tmp_path: Path, header: str) -> None:
    text = f"{header}\n" + "".join(f"{at},{phone},{dial}\n" for at, dial, phone in _ROWS)
    assert _is_drive(read_readings(_file(tmp_path, text)))


def test_a_column_of_a_receiver_without_a_unit_is_not_taken_for_the_dial(tmp_path: Path) -> None:
    """It was: TRUSTED with a factor of 1.00. The other column does not say what it is, so it is asked."""
    text = "mph\ntime,satnav,car\n" + "".join(f"{at},{phone},{dial}\n" for at, dial, phone in _ROWS)
    with pytest.raises(ReadingsFormatError, match="no column holds a speed"):
        read_readings(_file(tmp_path, text))


def test_speeds_of_a_receiver_are_no_times(tmp_path: Path) -> None:
    """Pairs without a time: the word GPS made the second column the clock of the first."""
    text = "speedo mph,GPS mph\n" + "".join(f"{dial},{phone}\n" for _, dial, phone in _ROWS)
    assert read_readings(_file(tmp_path, text)).clock == "none"


@pytest.mark.parametrize(
    "text",
    [
        "time,am/pm,speedo mph\n" + "".join(f"{2}{at[2:]},PM,{dial}\n" for at, dial, _ in _ROWS),
        'time,speedo mph\n' + "".join(f'="{at}",="{dial}"\n' for at, dial, _ in _ROWS),
        "time,speedo,engine\nh:m:s,mph,1/min\n" + "".join(f"{at},{dial},2500\n" for at, dial, _ in _ROWS),
        "".join(f"{at} {dial} mi/hr\n" for at, dial, _ in _ROWS),
    ],
)  # fmt: skip
def test_tables_as_programs_write_them_are_the_drive(tmp_path: Path, text: str) -> None:
    readings = read_readings(_file(tmp_path, text))
    assert _is_drive(readings)
    assert readings.time_s[0] == 14 * 3600 + 3 * 60 + 12


@pytest.mark.parametrize(("column", "letter"), [("status", "A"), ("gear", "P")])
def test_a_letter_in_each_row_is_no_half_of_the_day(tmp_path: Path, column: str, letter: str) -> None:
    """``A`` is what a receiver writes of a good fix, ``P`` a gear."""
    text = f"time,{column},speedo mph\n" + "".join(f"{at},{letter},{dial}\n" for at, dial, _ in _ROWS)
    assert read_readings(_file(tmp_path, text)).time_s[0] == 14 * 3600 + 3 * 60 + 12


@pytest.mark.parametrize("unit", ["k.p.h.", "Stundenkilometern", "किमी/घंटा", "کیلومتر بر ساعت"])
def test_more_words_for_kilometers_an_hour(tmp_path: Path, unit: str) -> None:
    text = "".join(f"{at} {dial} {unit}\n" for at, dial, _ in _ROWS)
    assert _is_drive(read_readings(_file(tmp_path, text)), KMH_MPS)


def test_a_duration_of_iso_8601_is_a_time_since_the_start(tmp_path: Path) -> None:
    rows = zip(_AFTER_S, _DIAL, strict=True)
    text = "elapsed,speedo mph\n" + "".join(f"PT{s // 60:.0f}M{s % 60:.0f}S,{dial}\n" for s, dial in rows)
    readings = read_readings(_file(tmp_path, text))
    assert _is_drive(readings)
    assert readings.clock == "elapsed"


@pytest.mark.parametrize("header", ["Kilometerstand (mi)", "compteur kilométrique (mi)", "odómetro (mi)"])
def test_the_odometer_in_other_languages(tmp_path: Path, header: str) -> None:
    text = f"time;speedo mph;{header}\n" + "".join(f"{at};{dial};12’345.{i}\n" for i, (at, dial, _) in enumerate(_ROWS))
    odometer_m = read_readings(_file(tmp_path, text)).odometer_m
    assert np.allclose(odometer_m / MILE_M, 12_345 + np.arange(len(_AT)) / 10)


def test_an_odometer_that_cannot_be_read_keeps_no_speed_from_counting(tmp_path: Path) -> None:
    """The file was refused, by the name of the column of speeds."""
    text = "time,speedo mph,odometer\n" + "".join(f"{at},{dial},full tank\n" for at, dial, _ in _ROWS)
    readings = read_readings(_file(tmp_path, text))
    assert _is_drive(readings)
    assert [finding.values["found"] for finding in readings.findings if finding.code == "odometer_unread"] == [
        "full tank"
    ]


@pytest.mark.parametrize("narrow", [(1,), (0, 2, 4, 6)])
def test_cells_of_a_narrow_column_are_told_and_no_comments(tmp_path: Path, narrow: tuple[int, ...]) -> None:
    """Rows that began with number signs were left out without a word."""
    rows = [f"{'########' if i in narrow else at},{dial}" for i, (at, dial, _) in enumerate(_ROWS)]
    path = _file(tmp_path, "time,speedo mph\n" + "\n".join(rows))
    if len(narrow) == 1:
        assert read_readings(path).dropped == {"cell_too_narrow": 1}
    else:
        with pytest.raises(ReadingsFormatError, match=r"too narrow.*Widen the column"):
            read_readings(path)


@pytest.mark.parametrize(("mph", "kmh"), [("{0:.0f}", "{1:.0f}"), ("{0:.1f}", "{1:.0f}")])
def test_two_columns_of_one_speed_are_the_rounder_one(tmp_path: Path, mph: str, kmh: str) -> None:
    """As two numbers in one cell are; by more than a step apart, they are two dials and it is asked."""
    form = f"{{at}},{mph},{kmh}\n"
    header = "time,speedo mph,speedo km/h\n"
    path = _file(tmp_path, header + "".join(form.format(d, d * 1.609344, at=at) for at, d, _ in _ROWS))
    assert len(read_readings(path)) == len(_DIAL)
    apart = header + "".join(form.format(d, d * 1.609344 + 2.5, at=at) for at, d, _ in _ROWS)
    with pytest.raises(ReadingsFormatError, match="several columns"):
        read_readings(_file(tmp_path, apart))


def test_an_archive_with_a_track_and_notes_is_both(tmp_path: Path) -> None:
    """It was taken for the track alone, and a copy of the track for a second one."""
    drive = gpx_11(small_drive())
    path = _file(tmp_path, _zip(drive_gpx=drive, copy_gpx=drive, notes_csv=_TABLE.encode()), "drive.zip")
    assert _is_drive(read_readings(path))
    assert len(read_track(path)) == 40
    found = inspect_file(path)
    assert (found.track is not None, found.readings is not None, found.refused) == (True, True, ())


def test_two_tracks_in_an_archive_are_a_question(tmp_path: Path) -> None:
    path = _file(tmp_path, _zip(one_gpx=gpx_11(small_drive()), two_gpx=gpx_11(small_drive(50))))
    with pytest.raises(TrackFormatError, match=r"several files.*one\.gpx.*two\.gpx"):
        read_track(path)


def _locked() -> bytes:
    packed = bytearray(_zip(drive_gpx=gpx_11(small_drive())))
    packed[packed.index(b"PK\x01\x02") + 8] |= 1
    return bytes(packed)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (_locked(), "asks for a password"),
        (_zip(), "archive is empty"),
        (b"Rar!\x1a\x07\x01\x00" + b"\x99" * 300, "archive of another kind.*Unpack it"),
        (b"7z\xbc\xaf\x27\x1c" + b"\x99" * 300, "archive of another kind.*Unpack it"),
        (b"drive.gpx".ljust(257, b"\0") + b"ustar\0".ljust(300, b"\0"), "archive of another kind.*Unpack it"),
    ],
)
def test_archives_that_stay_closed_say_what_to_do(tmp_path: Path, data: bytes, words: str) -> None:
    with pytest.raises(SpeedcalError, match=words):
        read_track(_file(tmp_path, data))


_LINE = {"type": "Feature", "properties": {}, "geometry": {"type": "LineString", "coordinates": [[9.1, 45.1], [9, 45]]}}


@pytest.mark.parametrize(
    "plan",
    [
        gpx_11(small_drive()).replace(b"<time>", b"<cmt>").replace(b"</time>", b"</cmt>"),
        kml(small_drive()).replace(b"gx:Track", b"LineString"),
        json.dumps(_LINE).encode(),
    ],
)
def test_positions_without_times_are_called_a_plan(tmp_path: Path, plan: bytes) -> None:
    with pytest.raises(TrackFormatError, match="positions without times: a plan") as caught:
        read_track(_file(tmp_path, plan))
    assert caught.value.code == "no_timed_track"


def _mail(text: str, kind: str) -> EmailMessage:
    mail = EmailMessage()
    mail["From"], mail["Subject"] = "pat@example.invalid", "my drive"
    mail.set_content(text, subtype=kind)
    return mail


def test_a_mail_with_a_table_is_the_table(tmp_path: Path) -> None:
    rows = "".join(f"<tr><td>{at}</td><td>{dial}</td></tr>" for at, dial, _ in _ROWS)
    mail = _mail(f"<p>Hi</p><table><tr><th>time</th><th>speedo mph</th></tr>{rows}</table>", "html")
    assert _is_drive(read_readings(_file(tmp_path, mail.as_bytes(), "drive.eml")))


def test_a_mail_with_the_notes_attached_says_so(tmp_path: Path) -> None:
    mail = _mail("See what is attached.\n", "plain")
    mail.add_attachment(_TABLE.encode(), maintype="text", subtype="csv", filename="notes.csv")
    with pytest.raises(ReadingsFormatError, match=r"'notes\.csv' attached.*Save what is attached"):
        read_readings(_file(tmp_path, mail.as_bytes(), "drive.eml"))


def test_lines_that_a_page_lays_out_are_kept(tmp_path: Path) -> None:
    lines = "".join(f"{at} {dial} mph\n" for at, dial, _ in _ROWS)
    assert _is_drive(read_readings(_file(tmp_path, f"<html><body><pre>\n{lines}</pre></body></html>", "page.html")))
