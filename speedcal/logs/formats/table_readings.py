"""Readings from a table with a header: narrow notes and wide vehicle-data logs alike."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from speedcal.errors import Problem
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs import limits
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.readings_built import Shown, Stamps, at_line, build_readings
from speedcal.logs.drive.speed_physics import fastest_in
from speedcal.logs.formats.registry import Request
from speedcal.logs.formats.unit_of_speeds import unit_beside, unit_of_speeds
from speedcal.logs.source import Source
from speedcal.logs.tables.handwriting import with_dittos
from speedcal.logs.tables.markers import cleaned_speeds
from speedcal.logs.tables.note_numbers import are_one_speed, in_one_unit, noted_speed
from speedcal.logs.tables.sessions import one_session
from speedcal.logs.tables.sources_of_rows import of_the_dial
from speedcal.logs.tables.tabular import Table, check_header, decimal_mark, is_missing, named_column, uses_decimal_comma
from speedcal.logs.times.time_column import on_track_clock, read_times
from speedcal.logs.writing.headers import Heading, normal, read_heading, speed_unit_in, unit_in_title
from speedcal.logs.writing.number_words import in_figures
from speedcal.logs.writing.numbers import Numbers, parse_numbers
from speedcal.logs.writing.patterns import late_pattern
from speedcal.units import LENGTH_UNIT_M, SPEED_UNIT_MPS, SpeedUnit, parse_speed_unit

_LOOKED_AT = 100
_FIGURES, _FIGURES_OF_NAMED = 8, 10
"""Different first figures of ten from which on one or two in each cell are decimals, our own choice; all ten under a
name of their own, as of gears, of which boxes have eight and more."""
_OVER = late_pattern(r"(?<![a-z])(?:miles?|mi|km|kilomet(?:er|re)s?)(?![a-z/])")
"""In the header of times: they are those of a stopwatch over a distance."""
_NUMBER_BEFORE = late_pattern(r"\d{1,3}(?:[.,]\d{1,2})?\s*")


def read_table(source: Source, table: Table, request: Request, *, kind: str) -> Readings:
    """Return the readings of a table.

    Raises
    ------
    ReadingsFormatError
        No speed column, several that may be meant, no unit, or lines that cannot be read: all of them are listed.
    """
    check_header(source, table)
    headings = [read_heading(name) for name in table.header]
    table, others = of_the_dial(one_session(source, table, headings, request.session))
    roles = {heading.role for heading in headings}
    with_fixes = {"latitude", "longitude"} <= roles
    index = _speed_column(source, table, headings, request, with_fixes=with_fixes)
    if _are_decimals_apart(table, index):
        source.fail("decimals_apart", line=table.line[0], column=table.header[index])
    comma = uses_decimal_comma(table)
    cells = with_dittos(table.column(index))
    speeds = parse_numbers(cells, decimal_comma=comma)
    if speeds.problems:
        cells = list(map(in_one_unit, cells))
        speeds = parse_numbers(cells, decimal_comma=comma)
    speeds, u = _as_noted(speeds, cells)
    speeds.values *= headings[index].part
    runs = [heading.name for heading in headings if heading.role == "time" and _OVER.search(heading.name.lower())]
    if runs and len(runs) == sum(1 for heading in headings if heading.role == "time"):
        source.fail("checks_as_readings", line=table.header_line, column=runs[0])
    stamps = read_times(source, table, headings, request.zone, of_dial=True)
    unit = unit_of_speeds(source, table, headings, index, cells, speeds, stamps, request)
    findings = [Finding("blocks_side_by_side", count=table.blocks)] if table.blocks > 1 else []
    time_s = stamps.time_s if stamps.clock != "none" else None
    values = cleaned_speeds(speeds, cells, table.header[index], fastest_in(unit), findings, time_s)
    problems = [at_line(problem, table.line[i]) for i, problem in speeds.problems]
    width = len(table.header)
    problems += [Problem("row_too_long", line=line, count=count, width=width) for line, count in table.overlong]
    shown = Shown(stamps, values, unit, table.line, problems=problems, column=table.header[index], findings=findings)
    shown.dropped["summary_row"] = table.summed
    shown.dropped["other_source"] = others
    _add_odometer(source, table, headings, unit, comma, shown)
    stated_mps = _uncertainties(table, headings, "u", shown, comma=comma)
    shown.u_mps = u * SPEED_UNIT_MPS[unit] if stated_mps is None else stated_mps
    shown.u_common_mps = _uncertainties(table, headings, "u_common", shown, comma=comma)
    beside = [heading.name for i, heading in enumerate(headings) if heading.role == "speed" and i != index]
    if beside:
        shown.findings.append(Finding("speed_column", column=table.header[index], others=beside))
    if with_fixes and stamps.clock != "none":
        time_s, _ = on_track_clock(stamps)
        shown.stamps = Stamps(time_s, "gps", stamps.resolution_s, stamps.problems, stamps.findings)
    return build_readings(source, kind, shown)


def _are_decimals_apart(table: Table, index: int) -> bool:
    """Tell whether a comma between cells has parted whole speeds from their decimals: ``10:32:05,45,5,``.

    These have a cell without a name, or the one of a column that is empty otherwise, and make the rows too long.
    """
    behind = table.column(index + 1)
    named = any(table.header[index + 1 : index + 2])
    if table.delimiter != "," or (named and any(len(row) <= len(table.header) for row in table.rows)):
        return False
    as_decimals = all(map(str.isdecimal, [*table.column(index), *behind]))
    alike = {len(cell) for cell in behind} in ({1}, {2})
    return as_decimals and alike and len({cell[0] for cell in behind}) >= (_FIGURES_OF_NAMED if named else _FIGURES)


def _as_noted(numbers: Numbers, cells: list[str]) -> tuple[Numbers, FloatArray]:
    """Return the numbers with those that people noted as a range or as about, and the uncertainties of these."""
    u = np.full(len(cells), np.nan)
    left = []
    units = dict.fromkeys(numbers.units)
    said = in_figures([(i, cells[i]) for i, _ in numbers.problems])
    for (i, problem), (_, cell) in zip(numbers.problems, said, strict=True):
        numbers.values[i], u[i] = noted_speed(cell)
        if np.isnan(numbers.values[i]):
            left.append((i, problem))
        elif (unit := speed_unit_in(normal(cell))) is not None:
            units.setdefault(unit)
    return replace(numbers, problems=left, units=tuple(units)), u


def _uncertainties(table: Table, headings: list[Heading], role: str, shown: Shown, *, comma: bool) -> FloatArray | None:
    """Return the standard uncertainties of a column [m/s]; what cannot be one is among the problems."""
    index = next((i for i, heading in enumerate(headings) if heading.role == role), None)
    if index is None:
        return None
    unit = headings[index].speed_unit or "m/s"
    numbers = parse_numbers(table.column(index), decimal_comma=comma)
    shown.problems += [at_line(problem, table.line[i]) for i, problem in numbers.problems]
    u_mps = numbers.values * SPEED_UNIT_MPS[unit]
    for i in np.flatnonzero((u_mps <= 0) | (u_mps > limits.FASTEST_MPS)):
        shown.problems.append(Problem("impossible_uncertainty", line=table.line[i], u_mps=float(u_mps[i]), unit=unit))
    return u_mps


def _speed_column(source: Source, table: Table, headings: list[Heading], request: Request, *, with_fixes: bool) -> int:
    """Return the index of the column that holds what the instrument showed; ask when it is not certain."""
    if request.column is not None:
        index = named_column(source, table, request.column)
        if headings[index].role == "speed" and headings[index].origin in {"satellite", "calculated"}:
            source.fail("truth_as_instrument", line=table.header_line, column=table.header[index])
        return index
    speeds = [i for i, heading in enumerate(headings) if heading.role == "speed"]
    instrument, vehicle, plain = (_of(headings, speeds, origin) for origin in ("instrument", "vehicle", ""))
    candidates = instrument or (vehicle if with_fixes else vehicle + plain)
    if not speeds:
        unnamed = {i: table.column(i) for i, item in enumerate(headings) if item.role == "" and _may_show(item.name)}
        candidates = [i for i, cells in unnamed.items() if _says_speeds(cells)]
        if not candidates and (request.unit or unit_beside(source, table, headings) or unit_in_title(table.title)):
            candidates = [i for i, cells in unnamed.items() if _are_numbers(cells)]
    if len(candidates) == 2:
        candidates = _in_one_unit(table, headings, candidates)
    if len(candidates) == 1:
        return candidates[0]
    names = [table.header[i] for i in (candidates or speeds or range(min(len(table.header), 30)))]
    code = "several_speed_columns" if candidates else "no_certain_column" if speeds else "no_speed_column"
    source.fail(code, line=table.header_line, columns=names)


def _may_show(name: str) -> bool:
    """Tell whether numbers under a name may be those of the dial, if they are speeds: not ``Satnav``, nor ``Limit``."""
    as_speed = read_heading(f"{name} speed")
    return as_speed.role == "speed" and as_speed.origin not in {"satellite", "calculated"}


def _in_one_unit(table: Table, headings: list[Heading], pair: list[int]) -> list[int]:
    """Return the rounder of two columns that hold the same speeds, each in a unit of its own; else both."""
    units = [headings[i].speed_unit for i in pair]
    if None in units or units[0] == units[1]:
        return pair
    comma = uses_decimal_comma(table)
    told = [parse_numbers(table.column(i), decimal_comma=comma) for i in pair]
    scales = [SPEED_UNIT_MPS[unit] * headings[i].part for unit, i in zip(units, pair, strict=True) if unit]
    one, two = (numbers.values * scale for numbers, scale in zip(told, scales, strict=True))
    steps_mps = [10.0**-numbers.decimals * scale for numbers, scale in zip(told, scales, strict=True)]
    both = np.isfinite(one) & np.isfinite(two)
    if not both.any() or (np.isfinite(one) != np.isfinite(two)).any():
        return pair
    if not are_one_speed(float(np.abs(one - two)[both].max()), steps_mps):
        return pair
    return [pair[told[1].decimals < told[0].decimals]]


def _says_speeds(cells: list[str]) -> bool:
    """Tell whether half of what stands in a column are numbers with a unit of speed, as in the messages of a chat."""
    filled = [cell for cell in cells if cell][:_LOOKED_AT]
    behind = [cell[found.end() :] for cell in filled if (found := _NUMBER_BEFORE.match(cell))]
    return 2 * sum(1 for word in behind if parse_speed_unit(word) is not None) > len(filled)


def _are_numbers(cells: list[str]) -> bool:
    """Tell whether most of what stands in a column are numbers."""
    filled = [cell for cell in cells if not is_missing(cell)][:_LOOKED_AT]
    return 2 * int(np.isfinite(parse_numbers(filled, decimal_comma=True).values).sum()) > len(filled)


def _of(headings: list[Heading], speeds: list[int], origin: str) -> list[int]:
    """Return the speeds of one origin, those with a unit where any has one."""
    found = [i for i in speeds if headings[i].origin == origin]
    return [i for i in found if headings[i].speed_unit is not None] or found


_LONGEST_ODOMETER = 1e8
"""In any unit; no vehicle has gone as far."""


def _add_odometer(
    source: Source, table: Table, headings: list[Heading], unit: SpeedUnit, comma: bool, shown: Shown
) -> None:
    columns = [i for i, heading in enumerate(headings) if heading.role == "odometer"]
    if not columns:
        return
    if len(columns) > 1:
        shown.findings.append(Finding("odometers_unused", columns=[table.header[i] for i in columns]))
        return
    index = columns[0]
    unclear = [cell for cell in table.column(index) if not is_missing(cell)]
    if decimal_mark(table) == "" and unclear and all(re.fullmatch(r"\d{1,3}[.,]\d{3}", cell) for cell in unclear):
        source.fail("thousands_or_decimals", line=table.header_line, found=unclear[0])
    numbers = parse_numbers(table.column(index), decimal_comma=comma, grouped=True)
    length = headings[index].length_m
    if length is None and len(numbers.units) == 1:
        length = LENGTH_UNIT_M.get(numbers.units[0].lower())
    if length is None:
        word = "mi" if unit == "mph" else "km"
        length = LENGTH_UNIT_M[word]
        shown.findings.append(Finding("odometer_unit_assumed", length_unit=word, speed_unit=unit))
    unread = [table.column(index)[i] for i, _ in numbers.problems]
    if 2 * len(unread) > sum(1 for cell in table.column(index) if not is_missing(cell)):
        shown.findings.append(Finding("odometer_unread", column=table.header[index], found=unread[0]))
        return
    shown.problems += [at_line(problem, table.line[i]) for i, problem in numbers.problems]
    beyond = np.abs(numbers.values) > _LONGEST_ODOMETER
    for i in np.flatnonzero(beyond):
        shown.problems.append(Problem("impossible_odometer", line=table.line[i], found=table.column(index)[i]))
    numbers.values[beyond] = np.nan
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
