"""The unit of the speeds of a table: from its header, its cells, its title, a column beside them, or the user."""

from __future__ import annotations

from typing import cast

from speedcal.interval import FloatArray
from speedcal.logs.drive.readings_built import Stamps
from speedcal.logs.drive.speed_physics import positions_mps, unit_by_positions
from speedcal.logs.formats.registry import Request
from speedcal.logs.source import Source
from speedcal.logs.tables.tabular import Table
from speedcal.logs.writing.headers import Heading, normal, speed_unit_in, unit_in_title
from speedcal.logs.writing.numbers import Numbers, parse_numbers
from speedcal.units import SpeedUnit, parse_speed_unit


def unit_of_speeds(
    source: Source,
    table: Table,
    headings: list[Heading],
    index: int,
    cells: list[str],
    speeds: Numbers,
    stamps: Stamps,
    request: Request,
) -> SpeedUnit:
    """Return the unit of the speeds: from the header, the cells or the user; they must not contradict each other.

    Positions in the same table propose a unit in the question; a wrong unit is one of the faults that are looked for.
    """
    heading, line = headings[index], table.header_line
    found: dict[SpeedUnit, str] = {}
    if heading.speed_unit is not None:
        found[heading.speed_unit] = "header"
    for word in speeds.units:
        unit = parse_speed_unit(word)
        if unit is None:
            source.fail("unknown_speed_unit", line=line, found=word)
        found.setdefault(unit, "cells")
    _refuse_several(source, table, cells, [unit for unit, where in found.items() if where == "cells"])
    if speeds.late is not None and heading.speed_unit is None and request.unit is None:
        named = next(iter(found))
        source.fail(
            "column_without_unit", line=table.line[speeds.late], column=heading.name, proposed=None, named=named
        )
    if request.unit is not None:
        found.setdefault(request.unit, "option")
    if not found and (seen := source.said("dial_unit")):
        return cast(SpeedUnit, seen)
    if not found and (told := unit_beside(source, table, headings) or unit_in_title(table.title)):
        return told
    if not found:
        proposed = _proposed(table, headings, speeds.values, stamps)
        source.fail("column_without_unit", line=line, column=heading.name, proposed=proposed)
    if len(found) > 1:
        source.fail("units_contradict", line=line, found={where: unit for unit, where in found.items()})
    return next(iter(found))


def _refuse_several(source: Source, table: Table, cells: list[str], units: list[SpeedUnit]) -> None:
    """Refuse cells that name several units, with the line where the second sets in."""
    if len(units) > 1:
        named = [speed_unit_in(normal(cell)) for cell in cells]
        line = table.line[named.index(units[1])] if units[1] in named else table.header_line
        source.fail("several_units", line=line, units=units)


def unit_beside(source: Source, table: Table, headings: list[Heading]) -> SpeedUnit | None:
    """Return the unit that stands in a column of its own, the same in all rows."""
    for column in (table.column(i) for i, item in enumerate(headings) if item.role == "unit"):
        units = list(dict.fromkeys(unit for cell in column if (unit := parse_speed_unit(cell)) is not None))
        _refuse_several(source, table, column, units)
        if units:
            return units[0]
    return None


def _proposed(table: Table, headings: list[Heading], speeds: FloatArray, stamps: Stamps) -> SpeedUnit | None:
    places = [
        next((i for i, item in enumerate(headings) if item.role == role), None) for role in ("latitude", "longitude")
    ]
    latitude, longitude = (
        None if i is None else parse_numbers(table.column(i), decimal_comma=False).values for i in places
    )
    if latitude is None or longitude is None:
        return None
    return unit_by_positions(speeds, positions_mps(stamps.time_s, latitude, longitude))[0]
