"""Notes the way people write them: read right, or answered with a question; never a wrong number."""

from __future__ import annotations

import json

import numpy as np
import pytest

from speedcal.errors import ReadingsFormatError
from speedcal.logs import read_readings
from speedcal.units import KMH_MPS, MPH_MPS


def _read(tmp_path, text, **options):
    path = tmp_path / "notes.txt"
    path.write_text(text, encoding="utf-8")
    return read_readings(path, **options)


@pytest.mark.parametrize(
    ("text", "unit_mps", "speeds"),
    [
        ("speedo mph\n10:03:17 56ish\n10:04:02 about 45\n10:05:00 ~60\n", MPH_MPS, [56, 45, 60]),
        ("mph\n10:03:17 40-45\n10:04:10 50 to 55\n10:05:00 60\n", MPH_MPS, [42.5, 52.5, 60]),
        ('mph\n10:03:17 45\n10:03:30 "\n10:04:00 50\n10:04:20 ditto\n', MPH_MPS, [45, 45, 50, 50]),
        ("10:03:17 40\n10:04:10 between 50 and 55\n10:05 Ann: all of these are mph\n", MPH_MPS, [40, 52.5]),
        ("mph\n10:03:17 40\n10:04:10 bit under 50\n10:05:00 past km post 14\n10:06:00 45\n", MPH_MPS, [40, 50, 45]),
        ("km/h\n10.03.17 80\n10.04.02 90\n10.05.30 100\n", KMH_MPS, [80, 90, 100]),
        ("km/h\n10.03.17: 80\n10.04.02: 90,5\n", KMH_MPS, [80, 90.5]),
        (
            "mph\n10:03:17 45\nturned onto the highway\n10:05:00 60\nlong hill here\n10:06:00 55\n",
            MPH_MPS,
            [45, 60, 55],
        ),
        ("mph\n10:03:17 45\npassed mile post 12 here\n10:05:00 60\n", MPH_MPS, [45, 60]),
        ("mph\n10:03:17 45 odo 61,482.6\n10:05:00 60 odo 61,484.1\n", MPH_MPS, [45, 60]),
        ("mph\n10:03:17 45, odometer 61482.6\n10:05:00 60, trip 1.5 mi\n", MPH_MPS, [45, 60]),
        ("45 mph at 10:32:15\n50 mph at 10:33:20\n", MPH_MPS, [45, 50]),
        ("1. 10:32:15 - 45mph\n2. 10:33:20 - 50mph\n", MPH_MPS, [45, 50]),
        ("10:32:15 am  45 mph\n1:02:20 pm  50 mph\n", MPH_MPS, [45, 50]),
        ("Sunday drive, speedo in mph\n\n10:32:15   45\n10:33:20   50\n", MPH_MPS, [45, 50]),
        ("30 mph\n40\n50\n60\n", MPH_MPS, [30, 40, 50, 60]),
        ("30, 40, 50, 60 km/h", KMH_MPS, [30, 40, 50, 60]),
        ("30; 45,6; 60 km/h", KMH_MPS, [30, 45.6, 60]),
        ("10:32:15 45 mph?\n10:33:20 50 mph\n", MPH_MPS, [45, 50]),
        ("mph\n10:32:15 45 maybe\n10:33:20 nearly standing\n10:34:00 50\n", MPH_MPS, [45, 50]),
        ("read_from: side\nrounding: down\nmph\n10:32:15 45\n10:33:20 50\n", MPH_MPS, [45, 50]),
        ("time hh:mm, mph\n10:32 45\n10:33 50\n10:35 55\n", MPH_MPS, [45, 50, 55]),
        ("mph\n7.15pm 45\n7.20 p.m. 55\n", MPH_MPS, [45, 55]),
        ("19h15 45 mph\n19h20 55 mph\n", MPH_MPS, [45, 55]),
        ("7:15:30 PM\t45 mph\n7:20:10 PM\t55 mph\n", MPH_MPS, [45, 55]),
        ("mph\n7:15 -> 45\n7:20 -> 55\n7:30 -> 30\n", MPH_MPS, [45, 55, 30]),
        ("[12/03/2024, 19:15:10] Me: 45 mph\n[12/03/2024, 19:18:22] Me: 55 mph\n", MPH_MPS, [45, 55]),
        ("mph\n10:15:00 45\n~~10:20:00 65~~\n10:20:00 55\n", MPH_MPS, [45, 55]),
        ("time,mph\n10:15:00,45\n10:20:00,~~65~~ 55\n", MPH_MPS, [45, 55]),
        ("mph\n10:15:00 45\n10:20:00 6\u03365\u0336 55\n", MPH_MPS, [45, 55]),
        ("| time | speedo mph |\n|---|---|\n| 7:15:10 | 45 |\n| 7:20:10 | 55 |\n", MPH_MPS, [45, 55]),
        (
            "time,speedo mph\n7:15:10,45\n7:20:10,55\n\ntime,speedo mph\n9:15:10,46\n9:20:10,57\n",
            MPH_MPS,
            [45, 55, 46, 57],
        ),
        ("10:32:15\t45 mph\t(downhill)\n10:33:20\t50 mph\t\n", MPH_MPS, [45, 50]),
        ("7:15, 45; 7:20, 55; 7:25, 60 mph\n", MPH_MPS, [45, 55, 60]),
        ("mph\n45 at 10:04:05, 50 at 10:05:10\n", MPH_MPS, [45, 50]),
        ("mph\n10:15:00 GPS says 60, dial says 64\n10:16:00 gps 50\n10:17:00 54\n", MPH_MPS, [64, 54]),
        ("all mph\n45\t10:04:05\n50\t10:05:10\n", MPH_MPS, [45, 50]),
        ("time,10:04:05,10:05:10,10:06:00\ndial mph,45,50,55\n", MPH_MPS, [45, 50, 55]),
        ("mph\n10:04:00-10:04:30 45\n10:06:00 to 10:07:00: 50\n", MPH_MPS, [45, 50]),
        ("held mph\nfifteen\nthirty\nforty five\na hundred and five\n", MPH_MPS, [15, 30, 45, 105]),
        ("time,dial mph\n10:04:05,forty five\n10:05:10,fifty two and a half\n10:06:10,nine\n", MPH_MPS, [45, 52.5, 9]),
        ("mph\nforty five at 10:04:05\nnine at 10:05:10\n", MPH_MPS, [45, 9]),
        ("mph\n10:15:00 forty five\n10:16:00 two trucks ahead\n10:20:00 fifty\n", MPH_MPS, [45, 50]),
    ],
)
def test_notes_are_read_as_they_are_meant(tmp_path, text, unit_mps, speeds):
    """In the order of the lines."""
    np.testing.assert_allclose(_read(tmp_path, text).speed_mps / unit_mps, speeds)


@pytest.mark.parametrize(
    ("text", "times", "speeds"),
    [
        ("mph\nfifty five at ten oh four\nforty at ten fifteen am\n", ["10:04", "10:15"], [55, 40]),
        ("mph\nten oh four fifty five\nten twelve forty five\n", ["10:04", "10:12"], [55, 45]),
        ("mph\nfifty five ten oh four\nforty five ten twelve\n", ["10:04", "10:12"], [55, 45]),
        (
            "one oh four and nine seconds twenty miles per hour\none oh five and ten seconds thirty two\n",
            ["1:04:09", "1:05:10"],
            [20, 32],
        ),
        (
            "mph\nten twelve forty five\nten fourteen fifty\nten fifteen thirty\neleven ten forty\n",
            ["10:12", "10:14", "10:15", "11:10"],
            [45, 50, 30, 40],
        ),
        ("Speeds in mph. Fifty five at ten oh four. Sixty m p h at ten oh six.\n", ["10:04", "10:06"], [55, 60]),
        ("mph\n55 at ten oh four\none ten at ten oh eight\n", ["10:04", "10:08"], [55, 110]),
        ("mph\nhalf past ten forty five\nquarter to eleven thirty\n", ["10:30", "10:45"], [45, 30]),
        ("mph\nsixty at ten o'clock and nine seconds\ntwenty at ten past ten\n", ["10:00:09", "10:10"], [60, 20]),
    ],
)
def test_dictated_notes_are_read(tmp_path, text, times, speeds):
    """Times as they are said in English; the order of time and speed is that which suits every line."""
    said = _read(tmp_path, text)
    clock = [sum(int(part) * 60 ** (2 - i) for i, part in enumerate(time.split(":"))) for time in times]
    np.testing.assert_allclose(said.speed_mps / MPH_MPS, speeds)
    np.testing.assert_allclose(np.diff(said.time_s), np.diff(clock))


_SPEEDS = [31, 36, 42, 47, 53, 58, 44, 39]


@pytest.mark.parametrize(
    "line",
    [
        "({h:02d}:{m:02d}:{s:02d}) <kim> {v} mph",
        "[12/03/2024, {h:02d}:{m:02d}:{s:02d}] +44 7700 900123: {v} mph",
        "13/03/24, {h:02d}:{m:02d}:{s:02d} - Car 54: {v} mph",
        "{h:02d}{m:02d}{s:02d}  {v} mph",
        "{h:02d} {m:02d} {s:02d}  {v} mph",
        "Speaker 1  {h:02d}:{m:02d}:{s:02d}\n{v} mph.\n",
        "#7: {h:02d}:{m:02d}:{s:02d} {v} mph",
        "13/3 {h:02d}:{m:02d}:{s:02d} {v} mph",
        "IMG_20240312_{h:02d}{m:02d}{s:02d}.jpg shows {v} mph",
        "======== IMG_2000.jpg\nTime Original : 2024:03:12 {h:02d}:{m:02d}:{s:02d}\nComment : {v} mph",
        "{v} miles an hour at {h:02d}:{m:02d}:{s:02d}",
    ],
)
def test_chats_and_bare_figures_of_a_clock_are_read(tmp_path, line):
    """Figures in the name of who wrote it are no reading; six figures that run as a clock does are times."""
    rows = [(8 + (50 + 2 * i) // 60, (50 + 2 * i) % 60, 7 * i, v) for i, v in enumerate(_SPEEDS)]
    readings = _read(tmp_path, "\n".join(line.format(h=h, m=m, s=s, v=v) for h, m, s, v in rows))
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, _SPEEDS)
    np.testing.assert_allclose(np.diff(readings.time_s), 127)


def test_minutes_and_seconds_of_a_stopwatch_may_stand_apart(tmp_path):
    readings = _read(tmp_path, "min,sec,dial mph\n0,12,45\n1,5,50\n61,0,55\n")
    np.testing.assert_allclose(readings.time_s, [12, 65, 3660])


def test_what_was_held_from_when_to_when_is_of_the_middle(tmp_path):
    """Of minutes, which tell the middle no better, of the begin; a zone of whole quarters behind a time is none."""
    times = _read(tmp_path, "mph\n10:04:00-10:04:30 45\n10:06:00 to 10:07:00 50\n").time_s
    np.testing.assert_allclose(times, [36255, 36390])
    minutes = _read(tmp_path, "mph\n10:02-10:04 45\n10:15 until 10:20 50\n10:31 55\n").time_s
    np.testing.assert_allclose(np.diff(minutes), [13 * 60, 16 * 60])


def test_messages_of_a_chat_that_was_exported_are_read(tmp_path):
    """No name says that they are speeds; most of them do."""
    messages = [
        {"id": i, "date": f"2024-03-12T10:{4 + i:02d}:00", "from": "Kim", "text": f"{v} mph"}
        for i, v in enumerate(_SPEEDS)
    ]
    readings = _read(tmp_path, json.dumps({"name": "drive", "messages": messages}))
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, _SPEEDS)


def test_the_unit_may_stand_in_a_message_above_the_readings(tmp_path):
    text = "12/13/24, 7:14 PM - Pat: ready? mph please\n" + "".join(
        f"12/13/24, 7:{15 + i} PM - Kim: {v}\n" for i, v in enumerate(_SPEEDS)
    )
    np.testing.assert_allclose(_read(tmp_path, text).speed_mps / MPH_MPS, _SPEEDS)


@pytest.mark.parametrize(
    ("remark", "speed"),
    [
        ("water 190", 45),
        ("mph with 4 of us in the car", 45),
        ("radar sign 52", 45),
        ("limit 50", 45),
        ("2nd try, lap 3", 45),
        ("84311", 45),
        ("passenger said 54", None),
        ("more like 47", None),
        ("scratch that 47", None),
        ("till bridge, 55", None),
        ("no 47", None),
        ("then 52", None),
        ("misread, 52", None),
        ("on the phone 52", None),
        ("miles out, 52", None),
        ("52", None),
    ],
)
def test_a_number_behind_a_reading_and_words_is_of_the_words(tmp_path, remark, speed):
    """Where the others stand alone before any word; a number that may be a reading too is left out and said.

    Half the readings with remarks were lost, and later corrections in words of no list passed over.
    """
    lines = [f"10:0{i}:17 {40 + i}" for i in range(6)]
    lines[5] += f"\n10:06:30 phone says 52\n10:07:00 tires 265/70R17\n10:08:00 45 {remark}\n10:09:00 46"
    readings = _read(tmp_path, "mph\n" + "\n".join([*lines, *(f"10:1{i}:00 50" for i in range(9))]) + "\n")
    expected = [40, 41, 42, 43, 44, 45, *([speed] if speed else []), 46, *[50] * 9]
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, expected)

    assert ("several_numbers" in readings.dropped) == (speed is None)


@pytest.mark.parametrize("line", ["2 dogs on road 45", "1 lorry in front 45"])
def test_a_count_before_a_reading_is_none(tmp_path, line):
    """Among readings that stand alone it was taken for one, as what the line begins with."""
    lines = [f"10:0{i}:17 {40 + i}" for i in range(9)]
    readings = _read(tmp_path, "mph\n" + "\n".join([*lines, f"10:10:00 {line}", "10:11:00 50"]) + "\n")
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [*range(40, 49), 50])


def test_notes_with_commas_in_their_remarks_are_notes(tmp_path):
    """Under ``Speedo, mph`` they are a table, whose rows were too long and whose cells were no numbers."""
    remarks = ("", ", speed limit 55, wet", "", " water 190", "", ", lorry, 2 lanes", "")
    rows = "".join(f"10:0{i}:17, {40 + i}{remark}\n" for i, remark in enumerate(remarks))
    readings = _read(tmp_path, f"Speedo, mph\n{rows}")
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, np.arange(40, 47))


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("30, 45,60 km/h", "list_or_decimals"),
        ("mph\n10:15:00 45\n10:2O:00 55\n", "letter_for_digit"),
        ("mph\n10:15:00 6O\n", "letter_for_digit"),
        ("mph\nten twelve forty five\n", "numbers_in_words"),
        ("mph\none ten at one thirty\n", "numbers_in_words"),
        ("mph\n0715 45\n", "several_numbers"),
        ("mph\n7:15 60 -> 63\n", "several_numbers"),
        ("mph\n7:15 60 gps 64\n", "several_numbers"),
        ("time,speedo mph\n7:15:10,45\n7:20:10,55\n\nspeedo mph,odometer mi\n46,100\n57,102\n", "second_table"),
        ("mph\n10:03:17 1,045\n10:05:00 60\n", "thousands_in_note"),
        ("mph\n10:03:17 45 50\n10:05:00 60\n", "several_numbers"),
        ("10:03:17 45\n10:05:00 60\n", "no_speed_unit"),
        ("10:03:17 45\n10:05:00 60\n10:09:30 speed limit sign in km/h\n", "no_speed_unit"),
        ("10:03:17 45\n10:05:00 60\nGPS shows km/h now\n", "no_speed_unit"),
        ("10:03:17 45 mph\n10:05:00 60 km/h\n", "several_units"),
        ("10:03:17 45\n10:05:00 96 km/h\n10:07:00 55\n", "no_speed_unit"),
        ("mph\n10:32 45\n", "hours_or_minutes"),
        ("read_from: passenger seat\nrounding: up\nmph\n10:32:15 45\n", "unknown_saying"),
    ],
)
def test_what_can_be_read_in_two_ways_is_asked(tmp_path, text, code):
    """One problem, named."""
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, text)
    assert caught.value.code == code


def test_a_range_is_as_uncertain_as_it_is_wide(tmp_path):
    """Rectangular between its ends: width over the root of twelve (JCGM 100:2008, 4.3.7); about is a unit."""
    readings = _read(tmp_path, "mph\n10:03:17 40-46\n10:04:10 56ish\n10:05:00 60\n")
    assert readings.u_speed_mps is not None
    np.testing.assert_allclose(readings.u_speed_mps / MPH_MPS, [6 / 12**0.5, 1.0, np.nan])


def test_remarks_are_counted(tmp_path):
    """And stop nothing."""
    assert _read(tmp_path, "mph\n10:03:17 45\nlong hill\n10:05:00 60\n").dropped == {"remark": 1}


def test_rows_that_sum_up_the_others_are_counted(tmp_path):
    readings = _read(tmp_path, "time,speedo mph\n7:15:10,45\n7:20:10,55\nAverage,50\nMin,45\nMax,55\n")
    assert (len(readings), dict(readings.dropped)) == (2, {"summary_row": 3})


def test_how_the_dial_was_read_is_kept(tmp_path):
    """In notes, and in comments above a table."""
    notes = _read(tmp_path, "read_from: side\nrounding: down\nTerrain: rolling\nmph\n10:32:15 45\n10:33:20 50\n")
    assert (notes.read_from, notes.rounding, notes.terrain) == ("side", "down", "rolling")
    table = _read(tmp_path, "# read from: film\n# terrain: mountainous\ntime,dial mph\n10:32:15,45\n10:33:20,50\n")
    assert (table.read_from, table.rounding, table.terrain) == ("film", None, "mountainous")


def test_uncertainties_of_a_readings_file_are_kept(tmp_path):
    """Of each row, and shared by all."""
    text = "time,dial (mph),u (mph),u_common (mph)\n10:32:15,45,0.2,0.4\n10:33:20,50,,0.5\n"
    readings = _read(tmp_path, text)
    assert readings.u_speed_mps is not None
    assert readings.u_common_mps is not None
    np.testing.assert_allclose(readings.u_speed_mps / MPH_MPS, [0.2, np.nan])
    np.testing.assert_allclose(readings.u_common_mps / MPH_MPS, [0.4, 0.5])


def test_a_trip_meter_is_an_instrument_and_no_length_in_metres(tmp_path):
    """Its unit follows the speeds where none is named."""
    readings = _read(tmp_path, "time,indicated mph,trip meter\n10:32:15,45,1.5\n10:33:20,50,2.4\n")
    np.testing.assert_allclose(readings.odometer_m / 1609.344, [1.5, 2.4])


@pytest.mark.parametrize(
    ("cell", "code"), [("0", "impossible_uncertainty"), ("-1", "impossible_uncertainty"), ("x", "cell_not_a_number")]
)
def test_an_uncertainty_that_cannot_be_is_said_with_its_line(tmp_path, cell, code):
    """It is not left out in silence: the reading would weigh as if nothing were stated."""
    path = tmp_path / "readings.csv"
    path.write_text(f"time,dial (mph),u (mph)\n10:32:15,45,0.2\n10:33:20,50,{cell}\n", encoding="utf-8")
    with pytest.raises(ReadingsFormatError) as caught:
        read_readings(path)
    assert [(problem.code, problem.line) for problem in caught.value.problems] in ([(code, 3)], [])
    assert code in {caught.value.code, *(problem.code for problem in caught.value.problems)}


@pytest.mark.parametrize("write", ["json", "long"])
def test_stated_uncertainties_are_carried_from_every_layout(tmp_path, write):
    """As from a film, or a column of one's own."""
    rows = [("2026-05-04T10:32:15Z", 45, 0.2, 0.4), ("2026-05-04T10:33:20Z", 50, 0.3, 0.5)]
    names = ("dial (mph)", "u (mph)", "u_common (mph)")
    path = tmp_path / "readings"
    if write == "json":
        text = json.dumps([dict(zip(("time", *names), row, strict=True)) for row in rows])
    else:
        lines = [f"{row[0]},{name},{value}" for row in rows for name, value in zip(names, row[1:], strict=True)]
        text = "time,quantity,value\n" + "\n".join(lines) + "\n"
    path.write_text(text, encoding="utf-8")
    readings = read_readings(path)
    np.testing.assert_allclose(readings.u_speed_mps / MPH_MPS, [0.2, 0.3])
    np.testing.assert_allclose(readings.u_common_mps / MPH_MPS, [0.4, 0.5])


@pytest.mark.parametrize(
    "title",
    [
        "Start: car park, mph",
        "Drive from the start at home; mph",
        "new tires since May, mph",
        "one lap of the ring road, mph",
        "about 20 min. Speeds in mph",
        "clock of the laptop, mph",
        "mph, I sat on the left",
    ],
)
def test_words_of_a_title_that_are_not_about_the_times_leave_them_alone(tmp_path, title):
    """Such words made minutes and seconds of hours and minutes: 22 minutes of a clock were 22 s."""
    readings = _read(tmp_path, f"{title}\n14:03 45\n14:05 46\n14:08 52\n14:25 50\n")
    assert readings.clock == "time of day"
    np.testing.assert_allclose(np.diff(readings.time_s), [120, 180, 1020])


@pytest.mark.parametrize("title", ["elapsed mm:ss, mph", "mph; minutes and seconds from the start", "Stopwatch. mph"])
def test_words_of_a_title_about_the_times_decide_what_they_are(tmp_path, title):
    """Hours and minutes, where nobody says otherwise."""
    readings = _read(tmp_path, f"{title}\n14:03 45\n14:05 46\n14:08 52\n14:25 50\n")
    assert readings.clock == "elapsed"
    np.testing.assert_allclose(np.diff(readings.time_s), [2, 3, 17])


def test_the_start_of_a_hold_is_a_time_of_day(tmp_path):
    """A column of that name was taken for a stopwatch, fourteen hours after its start."""
    path = tmp_path / "holds.csv"
    path.write_text("start,end,dial mph\n14:03:12,14:03:42,45\n14:04:10,14:04:50,52\n14:05:30,14:06:10,58\n")
    assert read_readings(path).clock == "time of day"


@pytest.mark.parametrize(
    "title",
    [
        "Truck with 4.10 gears, tires 265/75R16. mph",
        "odo at start 61,482.6 mi; speeds mph",
        "weather 5 C, wind 10 mph; speedo mph",
        "29.11.2026 mph",
        "P235/75R15 on 3.55 axle, dial mph",
    ],
)
def test_a_title_may_hold_several_numbers(tmp_path, title):
    """Sizes of tires and ratios above the notes were asked which of them was the speed."""
    readings = _read(tmp_path, f"{title}\n14:03:12 45\n14:05:10 46\n14:08:33 52\n")
    np.testing.assert_allclose(readings.speed_mps / MPH_MPS, [45, 46, 52])
    np.testing.assert_allclose(np.diff(readings.time_s), [118, 203])


@pytest.mark.parametrize("first", ["1402;12 45 steady", "140212 45 48 noted"])
def test_a_first_reading_that_cannot_be_read_is_no_title(tmp_path, first):
    """It is named like any other."""
    with pytest.raises(ReadingsFormatError) as caught:
        _read(tmp_path, f"mph\n{first}\n14:05:10 46\n14:08:33 52\n")
    assert caught.value.line == 2


def test_words_with_several_numbers_above_speeds_without_times_are_asked_about(tmp_path):
    """No time tells there where the readings begin."""
    with pytest.raises(ReadingsFormatError, match="2 numbers"):
        _read(tmp_path, "held about 30 then 35 mph\n40 mph\n50 mph\n60 mph\n")
