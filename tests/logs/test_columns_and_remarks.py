"""Columns under names that say little or in another language, titles with commas, and remarks with numbers."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from speedcal.errors import ReadingsFormatError
from speedcal.logs import read_readings, read_track
from speedcal.logs.drive.readings import Readings
from speedcal.logs.inspection import inspect_file
from speedcal.logs.writing.headers import read_heading
from speedcal.units import KMH_MPS, MPH_MPS
from tests.support.logfiles import small_drive

_AFTER_S = np.array([0, 24, 55, 82, 122, 144, 179], float)
_DIAL = np.array([30, 38, 47, 55, 64, 60, 52])
_AT = ("14:03:12", "14:03:36", "14:04:07", "14:04:34", "14:05:14", "14:05:36", "14:06:11")


def _read(tmp_path: Path, text: str, name: str = "notes.txt") -> Readings:
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    return read_readings(path)


def _is_drive(readings: Readings, unit_mps: float = MPH_MPS) -> bool:
    rows = len(readings) == len(_DIAL) and np.allclose(readings.speed_mps, _DIAL * unit_mps)
    return bool(rows and np.allclose(readings.time_s - readings.time_s[0], _AFTER_S))


def _rows(form: str) -> str:
    return "".join(form.format(i=i, at=_AT[i], dial=_DIAL[i], after=_AFTER_S[i]) + "\n" for i in range(len(_DIAL)))


@pytest.mark.parametrize(
    "table",
    [
        "no;quota (m);tachimetro km/h\n" + _rows("{i};{i}12.5;{dial}"),
        "speedo km/h,pressure\n" + _rows("{dial},1013.{i}"),
        "distance (km);tacho (km/h);volts\n" + _rows("{i},250;{dial};13,82{i}"),
    ],
)
def test_a_number_under_an_unknown_name_is_no_time(tmp_path: Path, table: str) -> None:
    """Heights, pressures and distances of five figures used to be taken for times where no column had any."""
    readings = _read(tmp_path, table, "notes.csv")
    assert readings.clock == "none"
    assert readings.speed_mps == pytest.approx(_DIAL * KMH_MPS)


@pytest.mark.parametrize("name", ["fixtime", "Ora", "Klockslag", "Pořízeno"])
@pytest.mark.parametrize("unit_s", [1.0, 0.001])
def test_seconds_since_1970_are_times_under_any_name(tmp_path: Path, name: str, unit_s: float) -> None:
    """A name that is not known used to cost a log its times."""
    rows = "".join(f"{(1_787_326_867 + a) / unit_s:.0f},{d}\n" for a, d in zip(_AFTER_S, _DIAL, strict=True))
    readings = _read(tmp_path, f"{name},indicated km/h\n{rows}", "notes.csv")
    assert readings.clock == "utc"
    assert readings.time_s[0] == 1_787_326_867
    assert _is_drive(readings, KMH_MPS)


@pytest.mark.parametrize(
    ("name", "unit_s"),
    [("mS", 1e-3), ("mSec", 1e-3), ("MilliSeconds", 1e-3), ("MicroSeconds", 1e-6), ("NanoSeconds", 1e-9)],
)
def test_parts_of_a_second_may_have_capitals(tmp_path: Path, name: str, unit_s: float) -> None:
    """They were seconds, a thousand times as long, or no times."""
    rows = "".join(f"{a / unit_s:.0f},{d}\n" for a, d in zip(_AFTER_S, _DIAL, strict=True))
    assert _is_drive(_read(tmp_path, f"{name},indicated km/h\n{rows}", "notes.csv"), KMH_MPS)


@pytest.mark.parametrize("parts", ["Stunde;Minute;Sekunde", "heure;minute;seconde", "hora;minuto;segundo"])
def test_parts_of_a_time_in_other_languages(tmp_path: Path, parts: str) -> None:
    """The column of the minutes alone used to be the time."""
    rows = "".join(f"{at.replace(':', ';')};{dial}\n" for at, dial in zip(_AT, _DIAL, strict=True))
    assert _is_drive(_read(tmp_path, f"{parts};indicated km/h\n{rows}", "notes.csv"), KMH_MPS)


@pytest.mark.parametrize("titles", ["Dash,,GPS,", "GPS,,Dash,", "Speedo,,Phone,"])
def test_a_block_of_the_receiver_beside_that_of_the_dial_is_no_second_half_of_it(tmp_path: Path, titles: str) -> None:
    """Both used to be read as one list."""
    form = "14:00:0{i},20,{at},{dial}" if titles.startswith("GPS") else "{at},{dial},14:00:0{i},20"
    assert _is_drive(_read(tmp_path, f"{titles}\ntime,mph,time,mph\n{_rows(form)}", "notes.csv"))


_BESIDE = (
    ("Velocità media km/h", "Gemiddelde snelheid km/h", "Prędkość średnia km/h", "Medelhastighet km/h", "Ø km/h"),
    (
        "Velocidad máxima km/h",
        "Höchstgeschwindigkeit km/h",
        "vitesse moyenne km/h",
        "Top speed mph",
        "Vmax km/h",
        "Promedio km/h",
    ),
    ("difference mph", "Abweichung km/h", "Écart (km/h)", "Verschil km/h", "delta mph"),
)


@pytest.mark.parametrize("device", ["GPS", "Phone"])
def test_readings_go_by_the_time_of_the_dial_where_each_device_has_its_own(tmp_path: Path, device: str) -> None:
    """The clock of the receiver used to go first, whose rows are of other moments."""
    other = _rows("14:00:0{i},20,{at},{dial}")
    text = f"{device} time,{device} mph,dash time,dash mph\n{other}"
    assert _is_drive(_read(tmp_path, text, "notes.csv"))


@pytest.mark.parametrize("titles", [",Dash,,Phone,", ",Needle,,GPS,"])
def test_columns_of_one_name_bear_the_titles_of_their_groups(tmp_path: Path, titles: str) -> None:
    """It used to be asked which of four columns named mph and km/h is the dial."""
    text = f"{titles}\ntime,mph,rpm,mph,rpm\n{_rows('{at},{dial},1800,20,0')}"
    assert _is_drive(_read(tmp_path, text, "notes.csv"))


def test_a_target_is_no_reading(tmp_path: Path) -> None:
    """Beside an actual speed it used to be taken for what the dial showed."""
    with pytest.raises(ReadingsFormatError) as refused:
        _read(tmp_path, f"time,target mph,actual mph\n{_rows('{at},55,{dial}')}", "notes.csv")
    assert refused.value.code == "no_certain_column"


@pytest.mark.parametrize("names", _BESIDE)
def test_a_mean_a_highest_speed_and_a_difference_are_no_reading(names: tuple[str, ...]) -> None:
    """They used to stand in the question which column is the dial."""
    assert {read_heading(name).role for name in names} == {""}
    assert read_heading("Velocidad km/h").role == "speed"


@pytest.mark.parametrize("name", ["Tachimetro", "Snelheidsmeter", "Velocidad tablero", "Cruscotto"])
def test_the_dial_in_other_languages(name: str) -> None:
    """What these words name is the instrument, whatever other speeds stand beside it."""
    assert read_heading(name).origin == "instrument"


@pytest.mark.parametrize("names", [("dash", "phone"), ("GPS", "speedometer"), ("can bus", "satellite")])
def test_rows_whose_source_is_a_receiver_are_no_readings(tmp_path: Path, names: tuple[str, str]) -> None:
    """Both used to be taken for readings of the dial, two at each moment."""
    of_receiver = {"phone", "GPS", "satellite"}
    rows = "".join(
        f"{at},{dial if name not in of_receiver else dial - 3} mph,{name}\n"
        for at, dial in zip(_AT, _DIAL, strict=True)
        for name in names
    )
    readings = _read(tmp_path, f"time,speed,source\n{rows}", "notes.csv")
    assert _is_drive(readings)
    assert readings.dropped["other_source"] == len(_DIAL)


def test_a_date_that_stays_over_midnight_is_that_of_the_start(tmp_path: Path) -> None:
    """The readings after midnight used to lie a day before the others; two days as they are stay so."""
    late = ("23:58:12", "23:58:36", "23:59:07", "23:59:34", "00:00:14", "00:00:36", "00:01:11")
    rows = "".join(f"2026-08-21,{at},{dial}\n" for at, dial in zip(late, _DIAL, strict=True))
    assert _is_drive(_read(tmp_path, f"date,time,speedo mph\n{rows}", "notes.csv"))
    rows = rows.replace("2026-08-21,00", "2026-08-20,00")
    assert not _is_drive(_read(tmp_path, f"date,time,speedo mph\n{rows}", "notes.csv"))


def test_a_unit_in_any_comment_above_counts(tmp_path: Path) -> None:
    """Only the last comment used to be looked at."""
    text = "# speeds in km/h\n# by hand\nt;v\n" + _rows("{after};{dial}")
    assert _is_drive(_read(tmp_path, text, "notes.csv"), KMH_MPS)


@pytest.mark.parametrize("below", ["mph", "all in mph", "(speeds in mph)"])
def test_a_unit_may_stand_below_the_readings(tmp_path: Path, below: str) -> None:
    """It used to be asked for."""
    assert _is_drive(_read(tmp_path, f"{_rows('{at} {dial}')}{below}\n"))


@pytest.mark.parametrize("form", ["{at} 20 gps {dial} dash", "{at} 20 (dash {dial})", "{at} limit 20, needle {dial}"])
def test_of_two_numbers_the_one_beside_the_word_for_the_dial_counts(tmp_path: Path, form: str) -> None:
    """It used to be asked which of them is the speed, on every line."""
    assert _is_drive(_read(tmp_path, f"speeds in mph\n{_rows(form)}"))


@pytest.mark.parametrize(
    "text",
    [
        "Fri 8/21, 14:00 start, mph\n" + _rows("{at} {dial}"),
        _rows("{at} {dial} mph rpm 2100"),
        "14:03 and 12 s: 30 mph\n" + _rows("{at} {dial} mph").partition("\n")[2],
        "14:03:12 30 mph\n14:03 and 36 s: 38 mph\n14:04 and 07 s: 47 mph\n14:04 and 34 s: 55 mph\n"
        "14:05 and 14 s: 64 mph\n14:05 and 36 s: 60 mph\n14:06:11 52 mph\n",
        _rows("{at} {dial} mph") + "14:06:40 limit now 55 mph\n",
        _rows("{at} {dial}") + "mph\n14:06:50 18 wheeler ahead\n",
    ],
)
def test_titles_seconds_and_revs_are_told_from_speeds(tmp_path: Path, text: str) -> None:
    """They used to be readings or to cost some."""
    assert _is_drive(_read(tmp_path, text))


def test_seconds_that_come_round_are_no_sender(tmp_path: Path) -> None:
    """Three lines with ``and 12 s:`` used to be of a person of that name, their times cut to the minute."""
    text = "".join(f"14:{minute:02d} and 12 s: {40 + minute} mph\n" for minute in range(3, 9))
    assert _read(tmp_path, text).time_s == pytest.approx([14 * 3600 + 60 * m + 12 for m in range(3, 9)])


def test_a_dictated_time_may_end_in_figures(tmp_path: Path) -> None:
    """Lines without an oh in them used to be remarks."""
    said = (
        "fourteen oh five and 20 seconds 45 mph",
        "fourteen ten and 30 seconds 52",
        "fourteen ten and 40 seconds 50",
    )
    text = "\n".join(said)
    assert _read(tmp_path, text).time_s == pytest.approx([50_720, 51_030, 51_040])


def test_a_number_on_both_sides_of_the_dial_is_asked_about(tmp_path: Path) -> None:
    """``20 dash 45`` may be either."""
    with pytest.raises(ReadingsFormatError) as refused:
        _read(tmp_path, f"speeds in mph\n{_rows('{at} 20 dash {dial}')}")
    assert "2 numbers" in str(refused.value)


@pytest.mark.parametrize(
    "text",
    [
        "Pickup, 33x12.5 tires, gears 4.10\ntime,speedo mph,gps mph,remark,rpm\n" + _rows("{at},{dial},20,,1800"),
        "No,time,speedo, mph,gps, mph\n" + _rows("{i},{at},{dial},20"),
        "Hi,\nhere are the readings.\n(mph)\n" + _rows("{at}, {dial}"),
        "Video time - speedometer\n" + _rows("{at} - {dial} mph"),
        "Speedo, mph\n" + _rows("{at}, {dial}"),
        "Dad's truck, 33x12.5 tires\nmph\n" + _rows("{at}, {dial}").replace(":", "."),
    ],
)
def test_commas_of_a_title_part_no_columns(tmp_path: Path, text: str) -> None:
    """They used to give the columns below them other names."""
    assert _is_drive(_read(tmp_path, text, "notes.csv"))


@pytest.mark.parametrize(
    ("header", "encoding"),
    [
        ("Godzina;Prędkość km/h;Prędkość średnia km/h", "cp1250"),
        ("Čas;Naměřená rychlost km/h;Průměrná rychlost km/h", "cp1250"),
        ("Hora;Velocímetro km/h;Velocidad máxima km/h", "cp1252"),
        ("時刻;速度 km/h;GPS km/h", "cp932"),
    ],
)
def test_headers_in_the_encoding_of_a_spreadsheet_of_their_country(tmp_path: Path, header: str, encoding: str) -> None:
    """Those of Central Europe used to be taken for Western or Japanese ones, and their means for readings."""
    (tmp_path / "notes.csv").write_bytes(f"{header}\n{_rows('{at};{dial};20')}".encode(encoding))
    found = inspect_file(tmp_path / "notes.csv")
    assert found.readings is not None
    assert _is_drive(found.readings, KMH_MPS)
    assert [column.name for column in found.columns] == header.split(";")


def test_a_unit_behind_a_comma_moves_no_position(tmp_path: Path) -> None:
    """The columns behind ``speed, km/h`` used to be taken for the ones beside them: longitudes for latitudes."""
    drive = small_drive()
    rows = zip(drive.time_s, drive.speed_mps * 3.6, drive.latitude_deg, drive.longitude_deg, strict=True)
    text = "time,gps speed, km/h,latitude,longitude\n" + "".join(
        f"{t:.0f},{v:.2f},{a:.7f},{o:.7f}\n" for t, v, a, o in rows
    )
    path = tmp_path / "track.csv"
    path.write_text(text)
    track = read_track(path)
    assert track.latitude_deg == pytest.approx(drive.latitude_deg, abs=1e-6)
    assert track.longitude_deg == pytest.approx(drive.longitude_deg, abs=1e-6)
    assert track.speed_mps == pytest.approx(drive.speed_mps, abs=0.01)


@pytest.mark.parametrize("remark", ["ok 2 more runs", "slowing 45", "then 3 miles"])
def test_where_each_reading_has_its_unit_a_number_without_one_behind_words_is_none(tmp_path: Path, remark: str) -> None:
    """A person who writes units leaves none out."""
    assert _is_drive(_read(tmp_path, f"{_rows('{at} {dial} mph')}14:06:40 {remark}\n"))


_OTHERS = (
    "speed limit 45",
    "limit is now 45",
    "fuel 20 l",
    "outside 22 degrees",
    "bridge 2",
    "oil at 95 C",
    "tank 40",
    "4 miles to go",
)
_LED_UP_TO = ("slowing 45", "now 45", "past the bridge 45", "wet road, 45", "we're doing 45", "it's 45", "needle at 45")


@pytest.mark.parametrize("form", ["{at} {dial}", "{at} speedo {dial}", "{at}: {dial} mph"])
def test_a_number_behind_words_that_no_other_line_has_is_no_reading(tmp_path: Path, form: str) -> None:
    """Timed remarks about limits, fuel and weather used to be readings; each is named now."""
    for remark in _OTHERS:
        readings = _read(tmp_path, f"speeds in mph\n{_rows(form)}14:06:40 {remark}\n")
        assert _is_drive(readings), remark


@pytest.mark.parametrize("remark", _LED_UP_TO)
def test_words_that_lead_up_to_a_speed_cost_no_reading(tmp_path: Path, remark: str) -> None:
    """How the speed goes, what shows it and where they are is said before a reading."""
    readings = _read(tmp_path, f"speeds in mph\n{_rows('{at} {dial}')}14:06:40 {remark}\n")
    assert readings.speed_mps[-1] == pytest.approx(45 * MPH_MPS)
    assert not readings.dropped


def test_lines_that_each_say_something_else_have_no_habit(tmp_path: Path) -> None:
    """Where the words change from line to line, none of them is unlike the others."""
    words = ("school", "bridge", "mill", "church", "station", "farm", "pond")
    lines = "".join(f"{at} {word} {dial}\n" for at, word, dial in zip(_AT, words, _DIAL, strict=True))
    assert _is_drive(_read(tmp_path, f"speeds in mph\n{lines}"))
