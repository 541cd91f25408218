"""Readings from a table with a header: narrow notes and wide vehicle-data logs alike."""

from __future__ import annotations

import difflib
import re

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.formats import Request
from speedcal.logs.model import Readings
from speedcal.logs.numbers import parse_numbers
from speedcal.logs.readings import Shown, build_readings
from speedcal.logs.source import Source
from speedcal.logs.stamps import Stamps, UnclearTimesError
from speedcal.logs.table import Table, check_header, decimal_mark, is_missing, uses_decimal_comma
from speedcal.logs.time_column import on_track_clock, read_times
from speedcal.logs.words import Heading, read_heading
from speedcal.units import LENGTH_UNIT_M, SpeedUnit, parse_speed_unit

_NAME_UNIT = "Write the unit into the header, such as 'speed mph', or give --unit"


def read_table(source: Source, table: Table, request: Request, *, kind: str) -> Readings:
    """Return the readings of a table.

    Raises
    ------
    ReadingsFormatError
        No speed column, several that may be meant, no unit, or lines that cannot be read: all of them are listed.
    """
    check_header(source, table)
    headings = [read_heading(name) for name in table.header]
    roles = {heading.role for heading in headings}
    with_fixes = {"latitude", "longitude"} <= roles
    index = _speed_column(source, table, headings, request, with_fixes=with_fixes)
    comma = uses_decimal_comma(table)
    speeds = parse_numbers(table.column(index), decimal_comma=comma)
    unit = _unit(source, table, headings[index], speeds.units, request)
    try:
        stamps = read_times(table, headings, request.zone)
    except UnclearTimesError as unclear:
        source.fail(str(unclear), line=table.header_line, remedy="Call the column 'time hh:mm' or 'elapsed mm:ss'")
    problems: list[tuple[int | None, str]] = [(table.line[i], text) for i, text in speeds.problems]
    width = len(table.header)
    problems += [(line, f"the row has {count} cells, the header {width}") for line, count in table.overlong]
    shown = Shown(stamps, speeds.values, unit, table.line, problems=problems)
    _add_odometer(source, table, headings, unit, comma, shown)
    others = [heading.name for i, heading in enumerate(headings) if heading.role == "speed" and i != index]
    if others:
        text = f"speeds were taken from column {table.header[index]!r}; not used: {', '.join(map(repr, others))}"
        shown.findings.append(Finding("speed_column", text))
    if with_fixes and stamps.clock != "none":
        time_s, _ = on_track_clock(stamps)
        shown.stamps = Stamps(time_s, "gps", stamps.resolution_s, stamps.problems, stamps.findings)
    return build_readings(source, kind, shown)


def _speed_column(source: Source, table: Table, headings: list[Heading], request: Request, *, with_fixes: bool) -> int:
    """Return the index of the column that holds what the instrument showed; ask when it is not certain."""
    if request.column is not None:
        return _named_column(source, table, request.column)
    speeds = [i for i, heading in enumerate(headings) if heading.role == "speed"]
    with_unit = [i for i in speeds if headings[i].speed_unit is not None] or speeds
    instrument = [i for i in with_unit if headings[i].origin == "instrument"]
    vehicle = [i for i in with_unit if headings[i].origin == "vehicle"]
    plain = [i for i in with_unit if headings[i].origin == ""]
    candidates = instrument or (vehicle if with_fixes else vehicle + plain)
    names = ", ".join(repr(table.header[i]) for i in (candidates or speeds or range(min(len(table.header), 30))))
    if len(candidates) == 1:
        return candidates[0]
    if candidates:
        source.fail(
            f"{len(candidates)} columns may hold the indicated speed: {names}",
            line=table.header_line,
            remedy="Name the one to use with --column",
        )
    if speeds:
        source.fail(
            f"no column is certain to hold what the instrument showed: {names}",
            line=table.header_line,
            remedy="Call it 'indicated' with its unit, or name it with --column",
        )
    source.fail(
        f"no column holds a speed; the columns are {names}",
        line=table.header_line,
        remedy="Write a header such as 'time,indicated mph', or name the column with --column",
    )


def _named_column(source: Source, table: Table, name: str) -> int:
    plain = [header.strip().casefold() for header in table.header]
    wanted = name.strip().casefold()
    if plain.count(wanted) == 1:
        return plain.index(wanted)
    if plain.count(wanted) > 1:
        source.fail(f"{plain.count(wanted)} columns are called {name!r}", line=table.header_line, remedy="Rename one")
    near = difflib.get_close_matches(wanted, plain, 1, 0.4)
    hint = f"Did you mean {table.header[plain.index(near[0])]!r}" if near else "Look at the header of the file"
    source.fail(f"there is no column {name!r}", line=table.header_line, remedy=hint)


def _unit(source: Source, table: Table, heading: Heading, in_cells: tuple[str, ...], request: Request) -> SpeedUnit:
    """Return the unit of the speeds: from the header, the cells or the user; they must not contradict each other."""
    found: dict[SpeedUnit, str] = {}
    if heading.speed_unit is not None:
        found[heading.speed_unit] = "the header"
    for word in in_cells:
        unit = parse_speed_unit(word)
        if unit is None:
            source.fail(f"{word!r} behind a speed is no unit of speed", line=table.header_line, remedy=_NAME_UNIT)
        found.setdefault(unit, "the cells")
    if request.unit is not None:
        found.setdefault(request.unit, "the unit given")
    if not found:
        source.fail(f"column {heading.name!r} has no unit of speed", line=table.header_line, remedy=_NAME_UNIT)
    if len(found) > 1:
        claims = ", ".join(f"{where} says {unit}" for unit, where in found.items())
        source.fail(f"the units contradict each other: {claims}", line=table.header_line, remedy="Correct one of them")
    return next(iter(found))


def _add_odometer(
    source: Source, table: Table, headings: list[Heading], unit: SpeedUnit, comma: bool, shown: Shown
) -> None:
    columns = [i for i, heading in enumerate(headings) if heading.role == "odometer"]
    if not columns:
        return
    if len(columns) > 1:
        names = ", ".join(repr(table.header[i]) for i in columns)
        shown.findings.append(Finding("odometer_unused", f"several odometer columns ({names}): none was used"))
        return
    index = columns[0]
    unclear = [cell for cell in table.column(index) if not is_missing(cell)]
    if decimal_mark(table) == "" and unclear and all(re.fullmatch(r"\d{1,3}[.,]\d{3}", cell) for cell in unclear):
        plain = re.sub(r"[.,]", "", unclear[0])
        source.fail(
            f"the odometer {unclear[0]!r} may be {plain} or {unclear[0].replace(',', '.')}0",
            line=table.header_line,
            remedy="Write thousands without a mark, or one more decimal",
        )
    numbers = parse_numbers(table.column(index), decimal_comma=comma, grouped=True)
    length = headings[index].length_m
    if length is None and len(numbers.units) == 1:
        length = LENGTH_UNIT_M.get(numbers.units[0].lower())
    if length is None:
        word = "mi" if unit == "mph" else "km"
        length = LENGTH_UNIT_M[word]
        text = f"the odometer column has no unit; taken as {word} because the speeds are in {unit}"
        shown.findings.append(Finding("odometer_unit", text))
    shown.problems += [(table.line[i], text) for i, text in numbers.problems]
    shown.odometer_m = numbers.values * length
    shown.odometer_resolution_m = _odometer_step(numbers.values, numbers.decimals) * length


def _odometer_step(values: FloatArray, decimals: int) -> float:
    """Return the step of an odometer: as written, or coarser when the last digits are always zero."""
    known = values[np.isfinite(values)]
    if not len(known):
        return float("nan")
    while decimals and np.abs(known * 10 ** (decimals - 1) - np.round(known * 10 ** (decimals - 1))).max() < 1e-6:
        decimals -= 1
    return 10.0**-decimals
