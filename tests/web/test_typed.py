"""Readings typed or pasted into the form become a table, and come back into the form as they were."""

from __future__ import annotations

import pytest

from speedcal.web.answers import RefusedError
from speedcal.web.typed import held_speeds, readings_table, rows_of, split_line, unit_of


def table(rows=(), pasted="", unit="mph", most=100) -> str:
    """Return the table of some rows."""
    return readings_table(rows, pasted, unit=unit, most=most)


def test_rows_get_a_heading_with_the_unit() -> None:
    """Empty rows in between are left out."""
    assert (
        table([("14:03", "30"), ("", ""), (" 14:05 ", "40")], unit="km/h")
        == "time\tspeed (km/h)\n14:03\t30\n14:05\t40\n"
    )


def test_nothing_typed_is_no_table() -> None:
    """Blanks are nothing."""
    assert table([("", " ")], " \n\n") == ""


@pytest.mark.parametrize(
    ("line", "cells"),
    [
        ("14:03:20\t45", ["14:03:20", "45"]),
        ("14:03:20;45,5", ["14:03:20", "45,5"]),
        ("14:03:20, 45", ["14:03:20", "45"]),
        ("14:03:20,45", ["14:03:20", "45"]),
        ("14:03:20 45", ["14:03:20", "45"]),
        ("2:03:20 PM 45.5", ["2:03:20 PM", "45.5"]),
        ("2024-05-01 14:03:20 45,5", ["2024-05-01 14:03:20", "45,5"]),
        ("45", ["45"]),
        ("14:03 45 1234.5", ["14:03 45", "1234.5"]),
    ],
)
def test_a_pasted_line_is_split_where_a_person_would(line: str, cells: list[str]) -> None:
    """Tabs, semicolons, commas with or without a blank, decimal commas, AM and PM."""
    assert split_line(line) == cells


def test_a_pasted_table_with_a_heading_is_kept_as_it_is() -> None:
    """Only the ends of its lines are made alike."""
    assert table(pasted="Time,Speed mph\r\n14:03,30\r\n") == "Time,Speed mph\n14:03,30\n"


def test_pasted_speeds_without_times_are_held_speeds() -> None:
    """One column: a list of held speeds in order, which the readings reader takes as such."""
    assert table(pasted="30\n40\n50") == "speed (mph)\n30\n40\n50\n"


def test_rows_next_to_a_pasted_table_with_a_heading_are_refused() -> None:
    """They cannot be put together without guessing."""
    with pytest.raises(RefusedError, match="pasted_and_typed"):
        table([("14:03", "30")], "Time,Speed mph\n14:03,30")


def test_rows_and_pasted_lines_go_together() -> None:
    """Rows first."""
    assert table([("14:03", "30")], "14:05 40").splitlines()[1:] == ["14:03\t30", "14:05\t40"]


def test_the_row_limit_holds_at_its_edge() -> None:
    """As many as the limit are taken, one more is not."""
    rows = [("14:03", "30")] * 6
    assert table(rows, "14:05 40\n" * 4, most=10).count("\n") == 11
    with pytest.raises(RefusedError, match="too_many_typed"):
        table(rows, "14:05 40\n" * 5, most=10)


def test_typed_rows_come_back_into_the_form() -> None:
    """Also half-typed ones: nothing is lost."""
    rows = [("14:03", "30"), ("garbage", ""), ("", "45")]
    assert rows_of(table(rows)) == rows


def test_a_pasted_table_comes_back_as_text() -> None:
    """It has its own heading and is not for rows."""
    assert rows_of("Time,Speed mph\n14:03,30\n") is None


def test_a_hostile_cell_cannot_break_out_of_its_row() -> None:
    """Line breaks and tabs in a cell become blanks or nothing."""
    assert table([("14:03\n99:99\t1", "30")]).count("\n") == 2


@pytest.mark.parametrize(
    ("text", "speeds"),
    [
        ("30 40 50", "30 40 50"),
        ("30, 40, 50", "30 40 50"),
        ("30,40,50", "30 40 50"),
        ("30;40\n50", "30 40 50"),
        ("", ""),
    ],
)
def test_held_speeds_are_read_in_every_usual_form(text: str, speeds: str) -> None:
    """Blanks, commas, semicolons, lines."""
    assert held_speeds(text, most=10) == speeds


def test_a_decimal_comma_in_held_speeds_is_a_decimal() -> None:
    """One digit after the comma is no speed."""
    assert held_speeds("30,5 40", most=10) == "30.5 40"


@pytest.mark.parametrize("text", ["thirty", "30 -40", "0", "900", "30 4o"])
def test_what_is_no_speed_is_named(text: str) -> None:
    """The message quotes the word."""
    with pytest.raises(RefusedError, match="held_not_a_speed"):
        held_speeds(text, most=10)


@pytest.mark.parametrize(
    ("text", "unit"),
    [
        ("time\tspeed (km/h)\n", "km/h"),
        ("Time,Speed mph\n", "mph"),
        ("time,dial\n10:00,45 kph\n", "km/h"),
        ("time,dial\n10:00,45\n", ""),
    ],
)
def test_a_unit_is_noticed_where_a_person_writes_it(text: str, unit: str) -> None:
    """In the heading or behind the first speed; otherwise the unit of the job is taken, as the form says."""
    assert unit_of(text) == unit
