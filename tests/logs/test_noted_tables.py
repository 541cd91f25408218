"""Tables that people fill by hand: speeds as they are noted, times as a watch or a chat gives them."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from speedcal.errors import ReadingsFormatError
from speedcal.logs import read_readings
from speedcal.logs.drive.readings import Readings
from speedcal.units import MPH_MPS

_AT = ("14:03:12", "14:03:36", "14:04:07", "14:04:34", "14:05:14", "14:05:36", "14:06:11")
_AFTER_S = (0, 24, 55, 82, 122, 144, 179)
_SHOWN = ("30", "38", "47", "55", "64", "60", "52")


def _read(tmp_path: Path, *lines: str) -> Readings:
    path = tmp_path / "notes"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return read_readings(path)


def _is_drive(readings: Readings) -> bool:
    rows = len(readings) == len(_SHOWN) and np.allclose(readings.speed_mps, np.array(_SHOWN, float) * MPH_MPS)
    return bool(rows and np.allclose(readings.time_s - readings.time_s[0], _AFTER_S))


@pytest.mark.parametrize(
    ("cell", "shown", "u"),
    [
        ("60-62", 61, 2 / math.sqrt(12)),
        ("60–62", 61, 2 / math.sqrt(12)),
        ("60 to 62", 61, 2 / math.sqrt(12)),
        ("60..62", 61, 2 / math.sqrt(12)),
        ("61±1", 61, 1 / math.sqrt(3)),
        ("61 +/- 1 mph", 61, 1 / math.sqrt(3)),
        ("34+", 34, 1),
        ("34-", 34, 1),
        ("~34", 34, 1),
        ("34?", 34, 1),
        ("ca. 34 mph", 34, 1),
        ("34ish", 34, 1),
        ("62 1/2", 62.5, math.nan),
        ("62½", 62.5, math.nan),
    ],
)
def test_a_cell_says_what_a_note_does(tmp_path: Path, cell: str, shown: float, u: float) -> None:
    readings = _read(tmp_path, "time,speedo mph", "10:00:00,40", f"10:01:00,{cell}", "10:02:00,50")
    assert np.allclose(readings.speed_mps / MPH_MPS, [40, shown, 50])
    noted = np.full(3, math.nan) if readings.u_speed_mps is None else readings.u_speed_mps / MPH_MPS
    assert np.allclose(noted, [math.nan, u, math.nan], equal_nan=True)


@pytest.mark.parametrize("cell", ["30 in 4th", "over 34", "60 62", "-34", "3O"])
def test_what_a_cell_leaves_open_is_no_speed(tmp_path: Path, cell: str) -> None:
    rows = [f"{at},{shown}" for at, shown in zip(_AT, _SHOWN, strict=True)]
    assert len(_read(tmp_path, "time,speedo mph", *rows, f"14:07:00,{cell}")) == len(_SHOWN)


def _table(header: str, form: str, *above: str) -> list[str]:
    return [*above, header, *(form.format(at=at, v=shown) for at, shown in zip(_AT, _SHOWN, strict=True))]


@pytest.mark.parametrize(
    "lines",
    [
        _table("time,speedo", "{at},{v}", "Speedometer log in mph", ""),
        _table("| Time | Dial |\n| :---: | ---: |", "| {at} | {v} |", "## Drive, mph", ""),
        _table("| **Time** | **Dial mph** |", "| {at} | **{v}** |"),
        _table("'Time','Speedo (mph)'", "'{at}','{v}'"),
        _table("time,speedo mph,remark", "{at},{v},hot, windy"),
        _table("speedo mph", "> {at} {v}", "On 17 March 2026 Alex wrote:"),
        _table("", "Alex, {at}\n{v} mph\n"),
        ["mph", *(f"{at}{' ' if i % 2 else chr(10)}{v}" for i, (at, v) in enumerate(zip(_AT, _SHOWN, strict=True)))],
        _table("speedo mph", "{at} {v} mph, 2500 rpm"),
        _table("speedometer in miles per hour", "at {at} it says {v}"),
    ],
)
def test_a_drive_as_people_write_and_copy_it(tmp_path: Path, lines: list[str]) -> None:
    assert _is_drive(_read(tmp_path, *lines))


def test_the_unit_in_a_column_of_its_own(tmp_path: Path) -> None:
    assert _is_drive(_read(tmp_path, *_table("time,speed,unit", "{at},{v},mph")))
    assert _is_drive(_read(tmp_path, *_table("time,value,unit", "{at},{v},mph")))


@pytest.mark.parametrize("unit", ["mph", "km/h"])
def test_a_unit_first_named_among_bare_speeds_holds_for_none_of_them(tmp_path: Path, unit: str) -> None:
    lines = _table("time,speed", "{at},{v}")
    lines[3] += f" {unit}"
    with pytest.raises(ReadingsFormatError) as refused:
        _read(tmp_path, *lines)
    assert (refused.value.code, refused.value.line) == ("column_without_unit", 4)
    lines[1] += " mph"
    if unit == "mph":
        assert _is_drive(_read(tmp_path, *lines))


@pytest.mark.parametrize("title", ["Wind 20 km/h", "Limit 50 mph, dial in km/h", "mph or km/h"])
def test_the_unit_of_something_else_above_the_table_is_not_the_dials(tmp_path: Path, title: str) -> None:
    lines = _table("time,speedo", "{at},{v}", title, "")
    if "dial in" in title:
        assert _read(tmp_path, *lines).speed_unit == "km/h"
        return
    with pytest.raises(ReadingsFormatError) as refused:
        _read(tmp_path, *lines)
    assert refused.value.code == "column_without_unit"


def test_rows_of_json_under_a_row_of_names(tmp_path: Path) -> None:
    rows = [[at, int(shown)] for at, shown in zip(_AT, _SHOWN, strict=True)]
    assert _is_drive(_read(tmp_path, json.dumps([["time", "speedo mph"], *rows])))


_PAGE = """<!doctype html>
<html><head><title>30 km/h</title><style>td { color: red }</style></head><body>
<table class="menu"><tr><td>Home</td><td>Drives 12</td></tr></table>
<!-- <table><tr><td>0</td></tr></table> -->
{table}
</body></html>
"""


@pytest.mark.parametrize(
    ("begin", "row", "end"),
    [
        (
            "<TABLE border=1><thead><tr><th>Time</th><th>Dial&nbsp;<b>mph</b></th></tr></thead>",
            "<tr><td>{at}</td><td>{v}</td></tr>",
            "</TABLE>",
        ),
        ("<table>\n<tr><td>Time<td>Dial mph", "<tr><td>{at}<td>{v}", "</table>"),
        (
            "<table><tr><td><table><tr><th>Time</th><th>Dial mph</th></tr>",
            "<tr>\n<td>\n{at}</td><td>&#8206;{v}</td></tr>",
            "</table></td></tr></table>",
        ),
    ],
)
@pytest.mark.parametrize("page", [_PAGE, "{table}"])
def test_a_table_of_a_web_page(tmp_path: Path, begin: str, row: str, end: str, page: str) -> None:
    rows = [row.format(at=at, v=v) for at, v in zip(_AT, _SHOWN, strict=True)]
    assert _is_drive(_read(tmp_path, page.replace("{table}", "\n".join([begin, *rows, end]))))


def test_a_web_page_without_such_a_table_is_still_one(tmp_path: Path) -> None:
    with pytest.raises(ReadingsFormatError) as refused:
        _read(tmp_path, _PAGE.replace("{table}", "<p>45 mph at 10:15</p>"))
    assert (refused.value.code, refused.value.values["found"]) == ("not_a_log", "web_page")


def test_a_title_above_a_list_is_no_time_of_its_first_reading(tmp_path: Path) -> None:
    readings = _read(tmp_path, "began 10:15:00", "30 mph", "40", "50", "60")
    assert (readings.clock, len(readings)) == ("none", 4)


@pytest.mark.parametrize("header", ["1773756192", "1773756192000"])
def test_notes_stamped_by_a_computer(tmp_path: Path, header: str) -> None:
    one_s = 10 ** (len(header) - 10)
    rows = [f"{int(header) + one_s * after} {v}" for after, v in zip(_AFTER_S, _SHOWN, strict=True)]
    readings = _read(tmp_path, "mph", *rows)
    assert _is_drive(readings)
    assert (readings.clock, readings.time_s[0]) == ("utc", 1773756192)


@pytest.mark.parametrize("form", ["{0}.{1}", "{0}{1}"])
def test_hours_and_minutes_in_digits_are_no_seconds(tmp_path: Path, form: str) -> None:
    """As seconds, the drive would last two of them."""
    rows = [f"{form.format(*at.split(':'))};{v}" for at, v in zip(_AT, _SHOWN, strict=True)]
    readings = _read(tmp_path, "Zeit;Tacho mph", *rows)
    assert readings.clock == "time of day"
    assert readings.time_s.tolist() == [3600 * 14 + 60 * minute for minute in (3, 3, 4, 4, 5, 5, 6)]
    assert [finding.code for finding in readings.findings] == ["minutes_in_digits"]


def test_digits_that_make_a_drive_are_seconds(tmp_path: Path) -> None:
    rows = [f"{1403 + after};{v}" for after, v in zip(_AFTER_S, _SHOWN, strict=True)]
    assert _read(tmp_path, "time;speedo mph", *rows).clock == "elapsed"


_LAPS_S = [b - a for a, b in zip((0, *_AFTER_S), _AFTER_S, strict=False)]


def test_the_times_of_a_watch_that_run_on_are_those_of_the_drive(tmp_path: Path) -> None:
    laps = zip(_LAPS_S, _AFTER_S, _SHOWN, strict=True)
    rows = [f"{lap // 60}:{lap % 60:02d}.00,{at // 60}:{at % 60:02d}.00,{v}" for lap, at, v in laps]
    assert _is_drive(_read(tmp_path, "Lap time,Total time,Speedo mph", *rows))


def test_times_of_laps_alone_are_asked_about(tmp_path: Path) -> None:
    rows = [f"{lap // 60}:{lap % 60:02d}.00,{v}" for lap, v in zip(_LAPS_S, _SHOWN, strict=True)]
    with pytest.raises(ReadingsFormatError) as refused:
        _read(tmp_path, "Time,Speedo mph", *rows)
    assert refused.value.code == "times_run_back"


def test_times_of_day_may_stand_in_the_order_of_their_speeds(tmp_path: Path) -> None:
    noted = sorted(zip(_SHOWN, _AFTER_S, strict=True))
    assert [at for _, at in noted] != sorted(_AFTER_S)
    rows = [f"14:{at // 60:02d}:{at % 60:02d},{v}" for v, at in noted]
    readings = _read(tmp_path, "Time,Speedo mph", *rows)
    expected = {14 * 3600 + at: float(v) for v, at in noted}
    shown = (readings.speed_mps / MPH_MPS).round(6)
    assert dict(zip(readings.time_s.tolist(), shown.tolist(), strict=True)) == expected
