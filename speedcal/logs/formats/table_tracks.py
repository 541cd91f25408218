"""Tracks from a table with columns for time, latitude and longitude."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import NoReturn

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.readings_built import FASTEST_HAND_S
from speedcal.logs.drive.speed_physics import are_swapped, fastest_in, is_receivers, positions_mps, unit_by_positions
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.formats.registry import Request
from speedcal.logs.source import Source
from speedcal.logs.tables.angles import are_on_the_globe, read_positions
from speedcal.logs.tables.markers import cleaned_speeds
from speedcal.logs.tables.sessions import one_session
from speedcal.logs.tables.tabular import Table, check_header, is_missing, named_column, uses_decimal_comma
from speedcal.logs.times.time_column import on_track_clock, read_times
from speedcal.logs.writing.headers import Heading, read_heading
from speedcal.logs.writing.numbers import Numbers, parse_numbers
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit, parse_speed_unit

_INVALID = frozenset(
    {"v", "n", "no", "none", "invalid", "no fix", "nofix", "false", "0", "lost", "not valid", "void", "-1", "network"}
)
_STATUS = _INVALID | frozenset(
    {"", "a", "d", "r", "f", "e", "m", "s", "p", "1", "2", "3", "4", "5", "6", "7", "8", "9", "2d", "3d", "fix", "yes"}
    | {"true", "valid", "ok", "gps", "dgps", "rtk", "float", "2d fix", "3d fix", "fixed", "auto", "autonomous", "fused"}
)
"""What a column about the fix may hold."""
_MOST_MARKED = 0.5
_DIGIT = re.compile(r"[1-9]")
_FEWEST_FAST, _FEWEST_SLOW, _SLOWEST_ALONE_S = 20, 60, 15.0
"""Steps of a log of both speeds, of rows that no hand notes so fast and of slower ones, and how long those are at most;
what is less is checks."""


def read_table_track(source: Source, table: Table, request: Request, *, kind: str) -> Track:
    """Return the track of a table; a log without positions tells as much by a speed that it calls its receiver's.

    Raises
    ------
    TrackFormatError
        No column for latitude, longitude or time, or nothing usable in them.
    """
    check_header(source, table)
    headings = [read_heading(name) for name in table.header]
    has_speed = any(item.role == "speed" and item.origin == "satellite" for item in headings)
    if not has_speed and not {"latitude", "longitude"} <= {item.role for item in headings}:
        _refuse_without_positions(source, table)
    table = one_session(source, table, headings, request.session)
    comma = uses_decimal_comma(table)
    stamps = read_times(source, table, headings, request.zone)
    if stamps.clock == "none":
        source.fail("no_time_column", line=table.header_line, columns=table.header[:30])
    time_s, has_date = on_track_clock(stamps)
    findings = list(stamps.findings)
    if has_speed and not _has_positions(table, headings):
        return build_track(
            source, kind, _speeds_alone(source, table, headings, time_s, findings, request.unit, has_date=has_date)
        )
    latitude, longitude = read_positions(table, headings, findings, time_s, comma=comma)
    if are_swapped(time_s, latitude, longitude, _fullest_speed(table, headings, comma=comma)):
        latitude, longitude = longitude, latitude
        findings.append(Finding("positions_swapped"))
    if not are_on_the_globe(latitude, longitude).any():
        _refuse_positions(source, table, headings)
    ground = positions_mps(time_s, latitude, longitude)
    if request.column is not None:
        shown = named_column(source, table, request.column)
        headings[shown] = replace(headings[shown], origin="instrument")
    fixes = Fixes(
        time_s=time_s,
        latitude_deg=latitude,
        longitude_deg=longitude,
        elevation_m=_elevation(table, headings, comma=comma),
        speed_mps=_speed(table, headings, ground, findings, comma=comma),
        invalid=_marked_invalid(table, headings, findings),
        has_date=has_date,
        findings=findings,
    )
    return build_track(source, kind, fixes)


def _has_positions(table: Table, headings: list[Heading]) -> bool:
    """Tell whether any latitude and longitude stand in the table, of a receiver that had them."""
    filled = {
        item.role
        for i, item in enumerate(headings)
        if item.role in {"latitude", "longitude"} and any(map(_DIGIT.search, table.column(i)))
    }
    return len(filled) > 1


def is_log_of_drive(time_s: FloatArray) -> bool:
    """Tell whether rows at some times are those of a log, and not speeds noted side by side now and then."""
    step_s = np.diff(time_s[np.isfinite(time_s)])
    usual_s = float(np.median(step_s)) if len(step_s) else np.inf
    fewest = _FEWEST_FAST if usual_s <= FASTEST_HAND_S else _FEWEST_SLOW
    return len(step_s) >= fewest and usual_s <= _SLOWEST_ALONE_S


def _speeds_alone(
    source: Source,
    table: Table,
    headings: list[Heading],
    time_s: FloatArray,
    findings: list[Finding],
    unit: SpeedUnit | None,
    *,
    has_date: bool,
) -> Fixes:
    """Return what a receiver's speed alone tells of a drive; it must be a log, and ``unit`` said where it names none.

    Speeds that a hand wrote down beside those of a dial are checks, each by itself.
    """
    if not is_log_of_drive(time_s):
        _refuse_without_positions(source, table)
    comma = uses_decimal_comma(table)
    speed = _speed(table, headings, np.full(len(time_s), np.nan), findings, comma=comma, told=unit)
    assumed = next((item for item in findings if item.code == "speed_unit_assumed"), None)
    if assumed is not None:
        source.fail("column_without_unit", line=table.header_line, column=assumed.values["column"], proposed=None)
    findings.append(Finding("speed_alone"))
    return Fixes(
        time_s=time_s,
        latitude_deg=None,
        longitude_deg=None,
        elevation_m=_elevation(table, headings, comma=comma),
        speed_mps=speed,
        invalid=_marked_invalid(table, headings, findings),
        has_date=has_date,
        findings=findings,
    )


def _refuse_without_positions(source: Source, table: Table) -> NoReturn:
    source.fail("no_positions", line=table.header_line, columns=table.header[:30])


def _refuse_positions(source: Source, table: Table, headings: list[Heading]) -> None:
    """Show the first position that is not understood, unless none is written anywhere."""
    places = [table.column(i) for i, item in enumerate(headings) if item.role in {"latitude", "longitude"}]
    for line, cells in zip(table.line, zip(*places, strict=True), strict=True):
        if not any(map(is_missing, cells)):
            source.fail("positions_unread", line=line, found=list(cells))


def _fullest_speed(table: Table, headings: list[Heading], *, comma: bool) -> FloatArray | None:
    index = table.fullest(i for i, heading in enumerate(headings) if heading.role == "speed")
    return None if index is None else parse_numbers(table.column(index), decimal_comma=comma).values


def _elevation(table: Table, headings: list[Heading], *, comma: bool) -> FloatArray | None:
    index = table.fullest(i for i, heading in enumerate(headings) if heading.role == "elevation")
    if index is None:
        return None
    return parse_numbers(table.column(index), decimal_comma=comma).values * (headings[index].length_m or 1.0)


def _speed(
    table: Table,
    headings: list[Heading],
    ground: FloatArray,
    findings: list[Finding],
    *,
    comma: bool,
    told: SpeedUnit | None = None,
) -> FloatArray | None:
    """Return the speed of the receiver: of a column that names it, else of one that agrees with the positions.

    A unit in the header holds unless the positions contradict it; without one the positions decide. A column that
    names no origin and does not follow the positions may be the vehicle's own, and is never taken for the receiver's.
    """
    speeds = [i for i, heading in enumerate(headings) if heading.role == "speed"]
    satellite = [i for i in speeds if headings[i].origin == "satellite"]
    plain = [i for i in speeds if headings[i].origin == ""]
    if any(headings[i].origin == "instrument" for i in speeds):
        plain = []
    choices = satellite or plain or _of_receiver(table, headings, comma=comma)
    if not choices:
        return None
    index = next((i for i in choices if headings[i].speed_unit is not None), choices[0])
    name, cells = table.header[index], table.column(index)
    numbers = parse_numbers(cells, decimal_comma=comma)
    named = headings[index].speed_unit or _unit_in(numbers) or told
    numbers.values *= headings[index].part
    values = cleaned_speeds(numbers, cells, name, fastest_in(named or "km/h"), findings)
    unit, left = unit_by_positions(values, ground)
    if index in plain and np.isfinite(left) and not (unit is not None and is_receivers(left)):
        findings.append(Finding("speed_not_of_receiver", column=name))
        return None
    if unit is None:
        unit = named or "m/s"
        if named is None:
            findings.append(Finding("speed_unit_assumed", column=name, speed_unit=unit))
    elif named is None:
        findings.append(Finding("speed_unit_by_positions", column=name, speed_unit=unit))
    elif unit != named:
        findings.append(Finding("speed_unit_contradicted", column=name, named=named, speed_unit=unit))
    if len(speeds) > 1:
        findings.append(
            Finding("track_speed_column", column=name, others=[table.header[i] for i in speeds if i != index])
        )
    return values * SPEED_UNIT_MPS[unit]


def _of_receiver(table: Table, headings: list[Heading], *, comma: bool) -> list[int]:
    """Return the columns under the name of a receiver whose cells say that they are speeds: ``GPS``, ``45 mph``."""
    named = (i for i, item in enumerate(headings) if not item.role and _is_of_satellite(item.name))
    return [i for i in named if _unit_in(parse_numbers(table.column(i), decimal_comma=comma)) is not None]


def _is_of_satellite(name: str) -> bool:
    return read_heading(f"{name} speed").origin == "satellite"


def _unit_in(numbers: Numbers) -> SpeedUnit | None:
    """Return the one unit of speed that stands behind the numbers of a column."""
    return parse_speed_unit(numbers.units[0]) if len(numbers.units) == 1 else None


def _marked_invalid(table: Table, headings: list[Heading], findings: list[Finding]) -> BoolArray | None:
    """Return where a column about the fix says that there is none.

    It must look like one by its values, and what would drop most of a file is not applied. A 1 is no fix where
    2 (in the plane) and 3 (in space) occur as well and the column is no quality.
    """
    marked = np.zeros(len(table.rows), bool)
    for i, heading in enumerate(headings):
        if heading.role != "validity":
            continue
        cells = [_status(cell) for cell in table.column(i)]
        if not set(cells) <= _STATUS:
            continue
        quality = "quality" in heading.name.lower()
        words = _INVALID | {"1"} if {"2", "3"} & set(cells) and not quality else _INVALID
        bad = np.array([cell in words for cell in cells], bool)
        if bad.sum() > _MOST_MARKED * len(bad):
            findings.append(Finding("status_not_applied", column=table.header[i], count=int(bad.sum())))
            continue
        marked |= bad
    return marked


def _status(cell: str) -> str:
    word = cell.lower()
    return word[:-2] if word.endswith(".0") else word
