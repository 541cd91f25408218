"""Which field of the drive form mends what is wrong: with what was just sent, or with the files that were read."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from speedcal.errors import SpeedcalError

_BY_CODE = {
    code: field
    for field, codes in {
        "unit": (
            "no_speed_unit",
            "several_units",
            "column_without_unit",
            "impossible_factor",
            "readings_do_not_follow",
        ),
        "column": (
            "several_speed_columns",
            "no_certain_column",
            "no_speed_column",
            "no_engine_column",
            "several_named_columns",
            "no_such_column",
            "no_wheel_sensor",
        ),
        "session": ("several_sessions", "no_such_session"),
        "zone": ("unknown_zone",),
        "offset": ("two_clocks", "two_clocks_for_log", "clock_said_wrong"),
        "track": ("few_fixes", "hardly_moved", "speed_unit_unexplained", "few_logged_moments"),
    }.items()
    for code in codes
}
_OF_THE_TIME = ("not_a_time", "time_unlike_others", "no_time_in_line", "date_unlike_others")
_SAID_AT_A_FIELD = 3
"""Problems of one file that are told at its field; all of them stand at the top of the page."""


def field_of(error: SpeedcalError, part: str, task: Mapping[str, Any]) -> str:
    """Return the field that mends an error of a look, or nothing for one that no field mends.

    Parameters
    ----------
    part
        ``track``, ``readings``, ``match`` or ``twice``.
    task
        That of :func:`speedcal.web.work.look.look`.
    """
    if part == "twice":
        return ""
    if error.code == "units_contradict" and "option" in error.values["found"]:
        return "unit"
    if error.code == "no_common_time" and error.values["clock"] in ("utc", "local", "gps"):
        return "offset"
    if error.code == "most_rows_unreadable" and error.values["column"]:
        return "column"
    if part == "track":
        return found if (found := _BY_CODE.get(error.code, "")) in {"session", "unit"} else "track"
    return _BY_CODE.get(error.code) or _where_given(task)


def _where_given(task: Mapping[str, Any]) -> str:
    """Return the field in which the readings were given."""
    if task["held"]:
        return "held"
    return {0: "readings", 1: "pasted"}.get(task["typed_from"], "rows")


def marks(told: Iterable[Mapping[str, Any]], *, rows: int) -> dict[str, list[str]]:
    """Return what is said at each field; a row that was typed is marked by itself.

    Parameters
    ----------
    told
        Errors as they are kept, each with its ``field``.
    rows
        Number of typed rows that the form shows; what is beyond was pasted.
    """
    said: dict[str, list[str]] = {}
    for one in told:
        field, problems = one.get("field", ""), one.get("problems") or [one]
        if field in ("", "rows"):
            for problem in problems if field else ():
                said.setdefault(_row_field(problem, rows), []).append(problem["text"])
            continue
        counted = "" if problems == [one] else f"{one.get('counted', 'line')} "
        texts = [f"{counted}{p['line']}: {p['text']}" if counted and p["line"] else p["text"] for p in problems]
        remedy = [] if one.get("part") == "match" else [one["remedy"]]  # of both files: told once, on top
        said.setdefault(field, []).extend([*texts[:_SAID_AT_A_FIELD], *remedy])
    return said


def _row_field(problem: Mapping[str, Any], rows: int) -> str:
    line = problem["line"]
    if not line or line > rows:
        return "pasted"
    return f"{'time' if problem['error'] in _OF_THE_TIME else 'speed'}-{line}"


def choices(told: Iterable[Mapping[str, Any]]) -> dict[str, list[str]]:
    """Return what a field may be filled with, where a file that was read names all there is.

    Where the name that was given is of the other file, both together are the answer.
    """
    named = {"column": "columns", "session": "names"}
    found = {one["field"]: one["values"] for one in told if one.get("field") in named}
    listed = {field: list(values.get(named[field], ())) for field, values in found.items()}
    whole = {field: names for field, names in listed.items() if len(names) >= found[field].get("count", 1)}
    given = found.get("session", {}).get("found")
    if given and ";" not in given and "session" in whole:
        whole["session"] += [f"{given}; {name}" for name in whole["session"]]
    return whole
