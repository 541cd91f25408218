"""Tables as spreadsheets of many countries write them, in their figures, with their words for time, date and dial."""

from __future__ import annotations

import io
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

import speedcal
from speedcal.errors import ReadingsFormatError
from speedcal.logs.writing.written_times import parse_stamp
from speedcal.units import KMH_MPS

_BEGIN = datetime(2026, 3, 17, 14, 3, 12, tzinfo=UTC)
_AFTER_S = (0, 24, 55, 82, 122, 144, 179, 208)
_SHOWN = (48, 62, 75, 90, 103, 97, 84, 66)
_ROWS = [(_BEGIN + timedelta(seconds=after), shown) for after, shown in zip(_AFTER_S, _SHOWN, strict=True)]


def _check(path: Path, *, dated: bool) -> speedcal.Readings:
    readings = speedcal.read_readings(path)
    assert np.allclose(readings.speed_mps, np.array(_SHOWN) * KMH_MPS)
    assert np.allclose(readings.time_s - readings.time_s[0], _AFTER_S)
    if dated:
        assert (readings.clock, readings.time_s[0]) == ("local", _BEGIN.timestamp())
    return readings


@pytest.mark.parametrize(
    ("header", "form"),
    [
        ("Uhrzeit;Tacho (km/h)", "%d.%m.%Y %H:%M:%S"),
        ("Uhrzeit;Tacho (Stundenkilometer)", "Di. %d. März %Y %H:%M:%S"),
        ("Hora;Velocidad indicada (km/h)", "%d de marzo de %Y %H:%M:%S"),
        ("Tijd;Teller (km/u)", "%d-%m-%Y %H:%M:%S"),
        ("Saat;Hız göstergesi (km/sa)", "%d.%m.%Y %H:%M:%S"),
        ("Время;Спидометр (км/ч)", "%d.%m.%Y %H:%M:%S"),
        ("Tid;Speedometer (km/t)", "%d-%m-%Y %H.%M.%S"),
        ("Aika;Nopeusmittari (km/h)", "%d.%m.%Y %H.%M.%S"),
        ("Idő;Sebesség (km/h)", "%Y. %m. %d. %H:%M:%S"),
        ("시간;속도계 (km/h)", "%Y. %m. %d. 오후 2:%M:%S"),
        ("時刻;速度計 (km/h)", "%Y年3月17日 %H時%M分%S秒"),
        ("time;speedo km/h", "Tuesday, March %d, %Y %I:%M:%S %p"),
        ("Zeitpunkt;Tacho km/h", "%Y%m%d%H%M%S"),
        ("time;speedo km/h", "%G-W%V-%uT%H:%M:%S"),
        ("time;speedo km/h", "%Y-%jT%H:%M:%S"),
    ],
)
def test_the_date_and_the_words_of_a_country(tmp_path: Path, header: str, form: str) -> None:
    rows = [f"{time.strftime(form)};{shown}" for time, shown in _ROWS]
    path = tmp_path / "log.csv"
    path.write_text("\n".join([header, *rows]), "utf-8")
    _check(path, dated=True)


@pytest.mark.parametrize(
    ("form", "at_s"),
    [
        ("%d.%m. %H:%M:%S", 14 * 3600 + 3 * 60 + 12),
        ("00%M%S", 3 * 60 + 12),
        ("%H.%M.%S", 14 * 3600 + 3 * 60 + 12),
        ("%H:%M:%S Uhr", 14 * 3600 + 3 * 60 + 12),
        ("Tue %H:%M:%S", 14 * 3600 + 3 * 60 + 12),
        ("%H h %M min %S s", 14 * 3600 + 3 * 60 + 12),
        ("%I:%M:%S p", 14 * 3600 + 3 * 60 + 12),
        ("%I.%M.%S p.m", 14 * 3600 + 3 * 60 + 12),
        ("%Mm %Ss", 3 * 60 + 12),
        ("%M'%S\"", 3 * 60 + 12),
    ],
)
def test_a_time_as_it_is_said(tmp_path: Path, form: str, at_s: float) -> None:
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time;dial km/h", *(f"{t.strftime(form)};{v}" for t, v in _ROWS)]), "utf-8")
    assert _check(path, dated=False).time_s[0] == at_s


@pytest.mark.parametrize(
    "header",
    [
        "Zeit;Breitengrad;Längengrad;Höhe m;Geschwindigkeit km/h",
        "Ora;Latitudine;Longitudine;Altitudine m;Velocità km/h",
        "Tijd;Breedtegraad;Lengtegraad;Hoogte m;Snelheid km/u",
        "Czas;Szerokość;Długość;Wysokość m;Prędkość km/h",
        "Zaman;Enlem;Boylam;Yükseklik m;Hız km/sa",
        "Время;Широта;Долгота;Высота m;Скорость км/ч",
        "Čas;Zeměpisná šířka;Zeměpisná délka;Výška m;Rychlost km/h",
        "时间;纬度;经度;海拔 m;速度 km/h",
        "시간;위도;경도;고도 m;속도 km/h",
    ],
)
def test_the_columns_of_a_track(tmp_path: Path, header: str) -> None:
    path = tmp_path / "track.csv"
    rows = [f"{t:%d.%m.%Y %H:%M:%S};12,{i}5;-38,{i}7;10{i};{v},0" for i, (t, v) in enumerate(_ROWS)]
    path.write_text("\n".join([header, *rows]), "utf-8")
    track = speedcal.read_track(path)
    assert np.allclose(track.latitude_deg, [float(f"12.{i}5") for i in range(8)])
    assert np.allclose(track.longitude_deg, [float(f"-38.{i}7") for i in range(8)])
    assert np.allclose(track.elevation_m, [100 + i for i in range(8)])
    assert np.allclose(track.speed_mps, np.array(_SHOWN) * KMH_MPS)
    assert np.allclose(track.time_s - _BEGIN.timestamp(), _AFTER_S)


@pytest.mark.parametrize("zero", ["٠", "۰", "०", "０"])
def test_the_figures_of_a_script(tmp_path: Path, zero: str) -> None:
    figures = str.maketrans("0123456789", "".join(chr(ord(zero) + i) for i in range(10)))
    rows = [f"{time:%H:%M:%S},{shown}".translate(figures) for time, shown in _ROWS]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["time,\u200edial\u00a0km/h", *rows]), "utf-8")
    _check(path, dated=False)


def test_letters_of_one_byte_that_are_russian(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{time:%H:%M:%S};{shown}" for time, shown in _ROWS]
    path.write_text("\n".join(["Время;Скорость (км/ч)", *rows]), "cp1251")
    _check(path, dated=False)


def test_what_is_true_is_not_the_dial_in_any_language(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    for header in ("Tijd;Teller km/h;Werkelijk km/h", "Zeit;angezeigt km/h;tatsächlich km/h"):
        path.write_text("\n".join([header, *(f"{t:%H:%M:%S};{v};{0.93 * v:.0f}" for t, v in _ROWS)]), "utf-8")
        _check(path, dated=False)


def test_times_that_nobody_can_read_are_not_passed_over(tmp_path: Path) -> None:
    """Read without them, the readings would be a list of held speeds."""
    path = tmp_path / "log.csv"
    path.write_text("\n".join(["xyz;dial km/h", *(f"{t:%H}/{t:%M}/{t:%S};{v}" for t, v in _ROWS)]), "utf-8")
    with pytest.raises(ReadingsFormatError, match="14/03/12"):
        speedcal.read_readings(path)


@pytest.mark.parametrize("header", ["Zeit", "Uhrzeit", "heure"])
def test_a_watch_from_nought_under_the_name_of_a_clock_is_told(tmp_path: Path, header: str) -> None:
    """Hours and minutes make half an hour of each minute, which is not to be passed over in silence."""
    path = tmp_path / "log.csv"
    rows = [f"{after // 60}:{after % 60:02d};{v}" for after, (_, v) in zip(_AFTER_S, _ROWS, strict=True)]
    path.write_text("\n".join([f"{header};Tacho km/h", *rows]), "utf-8")
    try:
        told = [finding.code for finding in speedcal.read_readings(path).findings]
    except ReadingsFormatError as refused:
        told = [refused.code]
    assert told in (["hours_and_minutes"], ["minutes_and_seconds"], ["hours_or_minutes"])


def test_a_column_nobody_can_read_leaves_the_time_to_the_one_that_is_named(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"48/29/{i};{after};{v}" for i, (after, v) in enumerate(zip(_AFTER_S, _SHOWN, strict=True))]
    path.write_text("\n".join(["xyz;elapsed s;dial km/h", *rows]), "utf-8")
    assert _check(path, dated=False).clock == "elapsed"


@pytest.mark.parametrize("header", ["c1", ""])
def test_numbers_that_may_be_times_are_not_passed_over_in_silence(tmp_path: Path, header: str) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{after};{v}" for after, (_, v) in zip(_AFTER_S, _ROWS, strict=True)]
    path.write_text("\n".join([f"{header};dial km/h", *rows]), "utf-8")
    readings = speedcal.read_readings(path)
    assert readings.clock == "none"
    assert [finding.code for finding in readings.findings] == ["no_times"]


def test_a_column_of_dates_with_dots_is_no_time(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    rows = [f"{16 + i // 4}.03.26;{time:%H:%M:%S};{shown}" for i, (time, shown) in enumerate(_ROWS)]
    path.write_text("\n".join(["Datum;Zeit;Tacho km/h", *rows]), "utf-8")
    time_s = speedcal.read_readings(path).time_s
    assert np.allclose(np.diff(time_s), np.diff(_AFTER_S) + 86_400 * (np.arange(7) == 3))


def test_a_time_of_an_open_document_has_seconds_that_are_not_shown(tmp_path: Path) -> None:
    cells = "".join(
        "<table:table-row><table:table-cell office:value-type='time' office:time-value="
        f"'PT{t:%H}H{t:%M}M{t:%S}S'><text:p>{t:%H:%M}</text:p></table:table-cell>"
        f"<table:table-cell office:value-type='float' office:value='{v}'/></table:table-row>"
        for t, v in _ROWS
    )
    names = "".join(f"<table:table-cell><text:p>{name}</text:p></table:table-cell>" for name in ("time", "dial km/h"))
    spaces = " ".join(
        f"xmlns:{name}='urn:oasis:names:tc:opendocument:xmlns:{name}:1.0'" for name in ("office", "table", "text")
    )
    kept = io.BytesIO()
    with zipfile.ZipFile(kept, "w") as archive:
        archive.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        table = f"<table:table><table:table-row>{names}</table:table-row>{cells}</table:table>"
        archive.writestr("content.xml", f"<office:document-content {spaces}>{table}</office:document-content>")
    path = tmp_path / "log.ods"
    path.write_bytes(kept.getvalue())
    _check(path, dated=False)


def test_a_stamp_with_its_zone_by_offset_and_by_name() -> None:
    stamp = parse_stamp("Tue Mar 17 2026 15:03:12 GMT+0100 (Central European Standard Time)")
    assert stamp is not None
    assert (stamp.kind, stamp.value) == ("zoned", _BEGIN.timestamp())


@pytest.mark.parametrize(
    "text", ["2026-W54-1T10:00:00", "2026-367T10:00:00", "mon " * 30 + "10:00", "12.60.00", "5m 72s"]
)
def test_what_only_looks_like_a_time_is_none(text: str) -> None:
    assert parse_stamp(text) is None
