"""Tracks from a table with columns for time, latitude and longitude."""

from __future__ import annotations

import re
from datetime import tzinfo

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.fixes import Fixes, build_track
from speedcal.logs.model import Track
from speedcal.logs.numbers import parse_numbers
from speedcal.logs.source import Source
from speedcal.logs.stamps import UnclearTimesError
from speedcal.logs.table import Table, check_header, uses_decimal_comma
from speedcal.logs.time_column import on_track_clock, read_times
from speedcal.logs.words import Heading, Role, read_heading
from speedcal.units import SPEED_UNIT_MPS

_INVALID = frozenset(
    {"v", "n", "no", "none", "invalid", "no fix", "nofix", "false", "0", "lost", "not valid", "void", "-1"}
)
_LONGEST_ANGLE = 60
"""Characters of an angle at most."""
_SEXAGESIMAL = re.compile(
    r"\s*(?P<before>[NSEWnsew])?\s*(?P<minus>-)?(?P<d>\d{1,3})\s*[°\s]\s*(?P<m>\d{1,2}(?:[.,]\d{1,10})?)\s*['′]?"
    r"(?:\s*(?P<s>\d{1,2}(?:[.,]\d{1,10})?)\s*(?:\"|″|'')?)?\s*(?P<after>[NSEWnsew])?\s*"
)
_HEMISPHERE = re.compile(r"\s*([\d.,]+)\s*°?\s*([NSEWnsew])?\s*|\s*([NSEWnsew])\s*([\d.,]+)\s*°?\s*")


def has_fixes(table: Table) -> bool:
    """Tell whether the table has columns for latitude and longitude."""
    return {"latitude", "longitude"} <= {read_heading(name).role for name in table.header}


def read_table_track(source: Source, table: Table, zone: tzinfo | None, *, kind: str) -> Track:
    """Return the track of a table.

    Raises
    ------
    TrackFormatError
        No column for latitude, longitude or time, or nothing usable in them.
    """
    check_header(source, table)
    headings = [read_heading(name) for name in table.header]
    names = ", ".join(repr(name) for name in table.header[:30])
    if not has_fixes(table):
        source.fail(
            f"the table has no columns for latitude and longitude; its columns are {names}",
            line=table.header_line,
            remedy="Give the recording of the receiver as the track; track and readings may be swapped",
        )
    comma = uses_decimal_comma(table)
    try:
        stamps = read_times(table, headings, zone)
    except UnclearTimesError as unclear:
        source.fail(str(unclear), line=table.header_line, remedy="Call the column 'time hh:mm:ss' or 'elapsed mm:ss'")
    if stamps.clock == "none":
        source.fail(
            f"no column holds a time; the columns are {names}", line=table.header_line, remedy="Export it with times"
        )
    time_s, has_date = on_track_clock(stamps)
    findings = list(stamps.findings)
    fixes = Fixes(
        time_s=time_s,
        latitude_deg=_degrees(table, headings, "latitude", "north_south", comma=comma),
        longitude_deg=_degrees(table, headings, "longitude", "east_west", comma=comma),
        elevation_m=_elevation(table, headings, comma=comma),
        speed_mps=_speed(table, headings, findings, comma=comma),
        invalid=_marked_invalid(table, headings),
        has_date=has_date,
        findings=findings,
    )
    return build_track(source, kind, fixes)


def _first(headings: list[Heading], role: Role) -> int | None:
    return next((i for i, heading in enumerate(headings) if heading.role == role), None)


def _degrees(table: Table, headings: list[Heading], role: Role, side: Role, *, comma: bool) -> FloatArray:
    """Return angles in degrees; N, S, E, W may stand before or behind the number or in a column of their own."""
    index = _first(headings, role)
    cells = table.column(index) if index is not None else []
    plain, signs = [], np.ones(len(cells))
    for i, cell in enumerate(cells):
        cell = cell if len(cell) <= _LONGEST_ANGLE else ""
        found = _HEMISPHERE.fullmatch(cell)
        parts = _SEXAGESIMAL.fullmatch(cell) if found is None else None
        if parts:
            cell = _decimal(parts)
        if found:
            number, letter = found.group(1) or found.group(4), found.group(2) or found.group(3) or ""
            signs[i] = -1 if letter.upper() in {"S", "W"} else 1
            cell = number
        plain.append(cell)
    column = _first(headings, side)
    if column is not None:
        signs *= [-1 if cell.upper() in {"S", "W"} else 1 for cell in table.column(column)]
    return parse_numbers(plain, decimal_comma=comma).values * signs


def _decimal(parts: re.Match[str]) -> str:
    """Return degrees and minutes, perhaps with seconds, as a number of degrees."""
    minutes, seconds = (float((parts[name] or "0").replace(",", ".")) for name in ("m", "s"))
    if minutes >= 60 or seconds >= 60:
        return ""
    sign = -1 if parts["minus"] or (parts["before"] or parts["after"] or "").upper() in {"S", "W"} else 1
    return repr(sign * (int(parts["d"]) + minutes / 60 + seconds / 3600))


def _elevation(table: Table, headings: list[Heading], *, comma: bool) -> FloatArray | None:
    index = _first(headings, "elevation")
    if index is None:
        return None
    return parse_numbers(table.column(index), decimal_comma=comma).values * (headings[index].length_m or 1.0)


def _speed(table: Table, headings: list[Heading], findings: list[Finding], *, comma: bool) -> FloatArray | None:
    """Return the speed of the receiver: of a column that names it, else of one that names no origin."""
    speeds = [i for i, heading in enumerate(headings) if heading.role == "speed"]
    ground = [i for i in speeds if headings[i].origin == "satellite"]
    if not ground and all(headings[i].origin != "instrument" for i in speeds):
        ground = [i for i in speeds if headings[i].origin == ""]
    if not ground:
        return None
    index = next((i for i in ground if headings[i].speed_unit is not None), ground[0])
    unit = headings[index].speed_unit
    name = repr(table.header[index])
    if unit is None:
        findings.append(Finding("speed_unit_assumed", f"column {name} names no unit and was taken as m/s"))
    if len(speeds) > 1:
        findings.append(Finding("speed_column", f"the recorded speed was taken from column {name}"))
    return parse_numbers(table.column(index), decimal_comma=comma).values * SPEED_UNIT_MPS[unit or "m/s"]


def _marked_invalid(table: Table, headings: list[Heading]) -> BoolArray | None:
    """Return where a column about the fix says that there is none.

    A 1 is no fix where 2 (in the plane) and 3 (in space) occur as well and the column is no quality.
    """
    marked = np.zeros(len(table.rows), bool)
    for i, heading in enumerate(headings):
        if heading.role != "validity":
            continue
        cells = [cell.lower() for cell in table.column(i)]
        words = _INVALID | {"1"} if {"2", "3"} & set(cells) and "quality" not in heading.name.lower() else _INVALID
        marked |= [cell in words for cell in cells]
    return marked
