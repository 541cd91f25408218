"""Files as people and loggers make them: one drive of known times and speeds, which each must give back."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import speedcal
from speedcal.errors import ReadingsFormatError, SpeedcalError
from speedcal.logs import Readings, limits, read_checks, read_readings
from speedcal.units import KMH_MPS, MILE_M, MPH_MPS, SPEED_UNIT_MPS

_BEGIN_S = 14 * 3600 + 3 * 60 + 12
_AFTER_S = (0, 53, 139, 230, 308, 392, 483, 578, 656, 745)
_SHOWN = (45, 52, 58, 60, 47, 33, 41, 55, 63, 38)
_DAY_S = 86_400


def _rows(form: str, first: int = 0, last: int = 10) -> str:
    """Return a row for each reading, with its time in parts, its seconds since the start and its speed."""
    lines = []
    for i in range(first, last):
        at = _BEGIN_S + _AFTER_S[i]
        hour, minute, second = at // 3600, at // 60 % 60, at % 60
        clock = f"{hour}:{minute:02d}:{second:02d}"
        lines.append(
            form.format(n=i + 1, t=clock, h=hour, h12=hour - 12, m=minute, s=second, at=_AFTER_S[i], v=_SHOWN[i])
        )
    return "\n".join(lines) + "\n"


def _read(tmp_path: Path, text: str, name: str = "readings.csv", **said: str) -> Readings:
    path = tmp_path / name
    path.write_text(text, "utf-8")
    return read_readings(path, **said)


def _is_the_drive(readings: Readings) -> None:
    np.testing.assert_allclose(readings.speed_mps / SPEED_UNIT_MPS[readings.speed_unit], _SHOWN, rtol=1e-9)
    np.testing.assert_allclose(readings.time_s - readings.time_s[0], _AFTER_S, atol=1e-3)


@pytest.mark.parametrize(
    "text",
    [
        "compteur en km/h\n" + _rows("{h} h {m:02d} min {s:02d} s : {v}"),
        "compteur en km/h\n" + _rows("{h}h{m:02d}'{s:02d}\" -> {v}"),
        "mätaren visar km/tim\n" + _rows("kl {h}.{m:02d}.{s:02d}  {v}"),
        "mph\n" + _rows("+{at}s {v}"),
        "mph\n" + _rows("after {at} seconds it read {v}"),
        "mph\n" + _rows("{v} at {h12}:{m:02d}.{s:02d}pm"),
        "mph\n" + _rows("({n}) {t} {v}"),
        "Stopwatch laps, mph\n" + _rows("Lap {n}  {t}  {v}"),
        "mph; " + _rows("{t}={v};").replace("\n", " "),
        "mph\n" + _rows("{t} speedo {v} gps 50"),
        "mph\n" + _rows("{t} {v} vs 50 gps"),
        "mph\n" + _rows("{t} {v} at 2,200 rpm"),
        "mph\n" + _rows("17 Mar 2026 {t} {v}"),
        "mph\n" + _rows("Tue 17 March {t} {v}"),
        "mph\n" + _rows("March 17th, 2026 at {t}: {v}"),
        _rows("Ann, [17 Mar 2026 {t}]\n{v} mph\n"),
        "Wind 15 mph, 12 °C\nDial in km/h\n" + _rows("{t} {v}"),
        "# Road test\n\nDriver: Ann\n\n## Readings (mph)\n\n" + _rows("- {t}: {v}"),
    ],
)
def test_notes_give_the_drive_back(tmp_path: Path, text: str) -> None:
    """Times, dates, numbers of lines and other instruments as they are typed."""
    _is_the_drive(_read(tmp_path, text, "notes.txt"))


@pytest.mark.parametrize(
    "text",
    [
        "Sekunden;Tacho km/h\n" + _rows("{at};{v}"),
        "Laufzeit [s];Tacho km/h\n" + _rows("{at};{v}"),
        "temps écoulé (s);compteur km/h\n" + _rows("{at};{v}"),
        "tiempo (s);velocímetro km/h\n" + _rows("{at};{v}"),
        "time,dial mph\n" + _rows("{h}:{m:02d}.{s:02d},{v}"),
        "date time,dial mph\n" + _rows("17-Mar-26 {t},{v}"),
        "date et heure;compteur km/h\n" + _rows("mardi 17 mars 2026 à {t};{v}"),
        "datum och tid;mätare km/h\n" + _rows("17 mars 2026 kl. {t};{v}"),
        "data i godzina;licznik km/h\n" + _rows("17 października 2026 {t};{v}"),
        "date,time,dial mph\n" + _rows("20260317,{h}{m:02d}{s:02d},{v}"),
        "Time        Tacho     GPS\n[hh:mm:ss]  [km/h]    [km/h]\n" + _rows("{t}    {v}      50"),
        '"time","dial\nmph","remark"\n' + _rows('"{t}","{v}","up\nhill"'),
    ],
)
def test_tables_give_the_drive_back(tmp_path: Path, text: str) -> None:
    """Headers of other countries, dates in words, units below the names, cells of several lines."""
    _is_the_drive(_read(tmp_path, text))


def test_cells_over_several_columns_and_rows_stand_where_they_are_seen(tmp_path: Path) -> None:
    """A page that joins cells shifted every column behind them."""
    head = (
        "<tr><th rowspan=2>time</th><th colspan=2>speed</th><th rowspan=2>day</th></tr>"
        "<tr><th>dial mph</th><th>gps mph</th></tr>"
    )
    lines = _rows("<tr><td>{t}</td><td>{v}</td><td>50</td><td rowspan=2>17.3.2026</td></tr>").splitlines()
    lines[1::2] = [line.replace("<td rowspan=2>17.3.2026</td>", "") for line in lines[1::2]]
    readings = _read(tmp_path, f"<html><table>{head}{''.join(lines)}</table></html>", "page.html")
    _is_the_drive(readings)
    assert readings.clock == "local"


def test_cells_that_reach_far_down_cost_no_more_than_their_limit(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each row would hold one cell more than the row above."""
    monkeypatch.setattr(limits, "MAX_CELLS", 10_000)
    rows = "<tr><td rowspan=9999>1</td></tr>" * 200
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, f"<table>{rows}</table>", "page.html")
    assert caught.value.code == "too_many"


def test_a_unit_beside_the_list_of_a_json_file_is_that_of_its_speeds(tmp_path: Path) -> None:
    """It was asked for."""
    records = ",".join(_rows('{{"time": "{t}", "speed": {v}}}').split("\n")[:-1])
    readings = _read(tmp_path, f'{{"unit": "mph", "readings": [{records}]}}', "log.json")
    _is_the_drive(readings)
    assert readings.speed_unit == "mph"


def test_an_hour_that_is_left_out_is_that_of_the_line_above(tmp_path: Path) -> None:
    """Each line came fourteen hours after the one above."""
    text = _rows("{t} {v}", 0, 1) + "  04:05 52\n  05:31 58\n  59:20 60\n  01:30 47\n"
    readings = _read(tmp_path, f"mph\n{text}", "notes.txt")
    np.testing.assert_allclose(np.diff(readings.time_s), [53, 86, 3229, 130])


@pytest.mark.parametrize("mark", ["", '"'])
def test_a_date_holds_until_the_next(tmp_path: Path, mark: str) -> None:
    """Two days were one, the second in the middle of the first."""
    day = f"{mark},10:33:05,46\n"
    text = f"date,time,dial mph\n17/03/2026,10:32:05,45\n{day}18/03/2026,10:32:35,50\n{day.replace('33', '34')}"
    readings = _read(tmp_path, text)
    np.testing.assert_allclose(np.diff(readings.time_s), [60, _DAY_S - 30, 90])


def test_a_date_in_a_line_alone_holds_for_the_notes_below(tmp_path: Path) -> None:
    """One such line alone is a title, as before."""
    notes = "mph\nTue 17 March 2026\n10:32:05 45\n10:33:05 46\n18 March 2026\n10:32:35 50\n10:34:05 46\n"
    np.testing.assert_allclose(np.diff(_read(tmp_path, notes, "notes.txt").time_s), [60, _DAY_S - 30, 90])
    assert _read(tmp_path, notes.replace("18 March 2026\n", ""), "notes.txt").clock == "time of day"


def test_the_date_of_a_spreadsheet_in_its_first_row_is_not_the_time_of_it(tmp_path: Path) -> None:
    """Midnight of the date was taken for the time of the first row, and the other rows had none."""
    text = "date,time,dial mph\n" + _rows("{v},{t},{v}").replace("45,14", "2026-03-17 00:00:00,14", 1)
    lines = text.splitlines()
    text = "\n".join([*lines[:2], *("," + line.split(",", 1)[1] for line in lines[2:])])
    _is_the_drive(_read(tmp_path, text))


@pytest.mark.parametrize("text", ["time,dial mph\n" + _rows("{t},{v}"), "mph\n" + _rows("{t} {v}")])
def test_a_file_joined_to_itself_counts_once(tmp_path: Path, text: str) -> None:
    """Every reading counted twice, which makes an interval too narrow."""
    readings = _read(tmp_path, text * 2)
    _is_the_drive(readings)
    assert readings.dropped["repeated_row"] == len(_SHOWN)


def test_the_same_speed_at_another_time_is_no_repeated_row(tmp_path: Path) -> None:
    """A line out of order repeats nothing."""
    readings = _read(tmp_path, "time,dial mph\n10:00:00,45\n10:02:00,50\n10:01:00,45\n10:03:00,45\n")
    assert len(readings) == 4


@pytest.mark.parametrize(
    "text",
    [
        "Truck 1\ntime,dial mph\n" + _rows("{t},{v}", 0, 5) + "\nTruck 2\ntime,dial mph\n" + _rows("{t},{v}", 5),
        "Truck 1, mph\n" + _rows("{t} {v}", 0, 5) + "Truck 2, mph\n" + _rows("{t} {v}", 5),
    ],
)
def test_blocks_with_the_name_of_a_vehicle_above_each_are_asked_for(tmp_path: Path, text: str) -> None:
    """Two dials were read as one."""
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, text)
    assert (caught.value.code, caught.value.values["names"]) == ("several_sessions", ["Truck 1", "Truck 2"])
    second = _read(tmp_path, text, session="truck 2")
    np.testing.assert_allclose(second.speed_mps / MPH_MPS, _SHOWN[5:])
    _is_the_drive(_read(tmp_path, text, session="all"))


@pytest.mark.parametrize("name", ["Fahrzeug", "Véhicule", "vehículo", "Kennzeichen", "fordon", "Reg"])
def test_vehicles_in_a_column_of_another_language_are_asked_for(tmp_path: Path, name: str) -> None:
    """The rows of two vehicles were read as those of one."""
    rows = "".join(f"{'ab'[i % 2]};10:{i:02d}:05;{50 + i}\n" for i in range(10))
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, f"{name};clock;dial km/h\n{rows}")
    assert caught.value.code == "several_sessions"
    assert len(_read(tmp_path, f"{name};clock;dial km/h\n{rows}", session="b")) == 5


@pytest.mark.parametrize(
    ("line", "left"),
    [
        ("stood at lights for 2 min", "no_reading_in_line"),
        ("-50- 52", "several_numbers"),
        ("45 gps", "line_without_speed"),
    ],
)
def test_what_is_no_reading_of_the_dial_is_left_out_and_told(tmp_path: Path, line: str, left: str) -> None:
    """Each was taken for one: 2 mph, 51 mph, the speed of the receiver."""
    readings = _read(tmp_path, "mph\n" + _rows("{t} {v}") + f"14:20:00 {line}\n", "notes.txt")
    _is_the_drive(readings)
    assert readings.dropped == {left: 1}


def test_times_over_a_mile_are_no_times_of_readings(tmp_path: Path) -> None:
    """A sheet of checks was read as a drive of a minute."""
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, "dial mph,mile seconds\n60,61.2\n50,73.5\n40,92.1\n30,123.0\n")
    assert caught.value.code == "checks_as_readings"


def test_a_text_nobody_has_typed_is_refused_before_it_is_understood(tmp_path: Path) -> None:
    """Half a million characters in long lines took minutes."""
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, ("ab " * 160 + "14:03\n") * 1_100, "notes.txt")
    assert caught.value.code == "too_long_for_notes"


@pytest.mark.parametrize(
    ("header", "part"),
    [
        ("dial mph,half mile s", 0.5),
        ("dial mph,time for half a mile", 0.5),
        ("dial mph,1/2 mile s", 0.5),
        ("dial mph,quarter mile s", 0.25),
        ("dial mph,mile s", 1.0),
        ("Tacho mph,Sekunden für 1 Mile", 1.0),
    ],
)
def test_the_part_of_a_mile_in_a_header_is_the_distance(tmp_path: Path, header: str, part: float) -> None:
    """Half a mile was taken for a whole one, and the dial for half of what it is."""
    path = tmp_path / "checks.csv"
    path.write_text(f"{header}\n60,{61.2 * part}\n50,{73.5 * part}\n", "utf-8")
    np.testing.assert_allclose(read_checks(path).true_mps, [MILE_M / 61.2, MILE_M / 73.5])


@pytest.mark.parametrize("word", ["Handy", "teléfono", "telefoon", "telefon", "téléphone"])
def test_a_phone_of_another_country_tells_the_true_speed(tmp_path: Path, word: str) -> None:
    """It was taken for a second dial; a name below the table is no check."""
    path = tmp_path / "checks.csv"
    path.write_text(f"Tacho km/h;{word} km/h\n60;57,5\n50;48,0\n\nAnn\n", "utf-8")
    np.testing.assert_allclose(read_checks(path).true_mps, np.array([57.5, 48.0]) * KMH_MPS)


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("dial mph,gps mph\n60,0\n50,49\n", "impossible_speed"),
        ("dial mph,mile seconds\n60,61.2\n50,7.35\n", "impossible_speed"),
        ("phone beside the dial, mph\n60 / 58.8\n50 / 49\n", "several_problems"),
    ],
)
def test_a_truth_that_cannot_be_is_refused(tmp_path: Path, text: str, code: str) -> None:
    """No fix shows as 0, a figure is exchanged; the words above do not say which number is the phone's."""
    path = tmp_path / "checks.txt"
    path.write_text(text, "utf-8")
    with pytest.raises(SpeedcalError) as caught:
        read_checks(path)
    assert caught.value.code == code


def test_date_and_time_in_figures_give_a_track_its_day(tmp_path: Path) -> None:
    """20260317 and 140000 were a time of day of no date."""
    rows = "".join(f"20260317,1400{i:02d},{45.1 + 1e-4 * i:.4f},7.2\n" for i in range(30))
    path = tmp_path / "track.csv"
    path.write_text(f"date,time,lat,lon\n{rows}", "utf-8")
    track = speedcal.read_track(path)
    assert (track.has_date, track.time_s[0]) == (True, 1_773_756_000.0)
