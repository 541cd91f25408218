"""A file of checks: the dial beside a truth that is known without a track, understood by header and units."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from speedcal.errors import Problem, ReadingsFormatError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray, IntArray, Interval
from speedcal.logs import limits
from speedcal.logs.checks.checks import Checks
from speedcal.logs.checks.columns import Column, check_columns, names_few
from speedcal.logs.checks.notes import is_check, noted_checks
from speedcal.logs.checks.odometer import Counted, counted
from speedcal.logs.checks.sheet import PLAUSIBLE, CheckSheet
from speedcal.logs.checks.truth import DISTANCE_U, Truth, by_posts, by_receiver, by_rpm, by_run
from speedcal.logs.formats.registry import certain_kind
from speedcal.logs.formats.sheets import sheet_table
from speedcal.logs.source import Source, is_spreadsheet, load
from speedcal.logs.tables.delimited import split_rows
from speedcal.logs.tables.sessions import one_session
from speedcal.logs.tables.tabular import Table, check_header, find_table
from speedcal.logs.tables.titled_vehicles import of_titled_vehicle
from speedcal.logs.writing.headers import read_heading, unit_in_title
from speedcal.logs.writing.numbers import speed_step
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit, parse_speed_unit

_GUESSED: tuple[SpeedUnit, ...] = ("mph", "km/h")


def read_checks(
    path: str | Path,
    *,
    unit: str | None = None,
    column: str | None = None,
    session: str | None = None,
    shaft_turn_m: Interval | None = None,
) -> Checks:
    r"""Read checks: rows with what the dial showed and what tells the true speed, each understood by its header.

    The truth is a speed off a phone or another receiver; a distance and the time it took; mile posts with the times at
    which they were passed, the dial steady; or engine speed and the ratio of the gear. An odometer or trip meter is
    held against a distance. Several may stand in one file.

    Parameters
    ----------
    path
        A table with a header, delimited or a spreadsheet, or notes that say what each number is.
    unit
        Unit of the dial where the file names none: mph, km/h, m/s or kn.
    column
        Header of the dial's column, where several may be meant.
    session
        Which sheet or vehicle, in a file that holds several.
    shaft_turn_m
        Road covered in one turn of the driveshaft, with its 95 % interval, for checks by engine speed. [m]

    Raises
    ------
    ReadingsFormatError
        The file cannot be read as checks; every bad line is listed.

    Examples
    --------
    A measured mile each way at two readings; 3600/57 is 63.2 mph.

    >>> import pathlib
    >>> import tempfile
    >>> import speedcal
    >>> path = pathlib.Path(tempfile.mkdtemp()) / "mile.csv"
    >>> text = "dial mph,distance mi,time mm:ss\n35,1,1:52.5\n35,1,1:53.1\n67,1,0:57.0\n67,1,0:56.6\n"
    >>> _ = path.write_text(text)
    >>> checks = speedcal.read_checks(path)
    >>> [round(float(v) / 0.44704, 1) for v in checks.true_mps]
    [32.0, 31.8, 63.2, 63.6]
    >>> speedcal.calibrate_checks(checks).trust.codes  # a dial may bend between two marks 32 mph apart
    ['wide_interval']
    """
    wanted = parse_speed_unit(unit) if unit is not None else None
    if unit is not None and wanted is None:
        raise ReadingsFormatError("unknown_speed_unit", found=unit)
    source = load(path, ReadingsFormatError, certain_kind)
    table, remarks = _table(source, session)
    check_header(source, table)
    table = one_session(source, table, [read_heading(name) for name in table.header], session)
    columns = check_columns(source, table, column)

    def understood(dial_unit: SpeedUnit | None) -> Checks:
        sheet = CheckSheet(source, table, columns)
        sheet.left_out["remark"] = remarks
        sheet.left_out["summary_row"] = table.summed
        return _understood(sheet, dial_unit, shaft_turn_m)

    try:
        return understood(wanted)
    except ReadingsFormatError as open_unit:
        if open_unit.code != "column_without_unit" or "named" in open_unit.values:
            raise
        return _in_the_only_unit(understood, columns, open_unit)


def _understood(sheet: CheckSheet, wanted: SpeedUnit | None, shaft_turn_m: Interval | None) -> Checks:
    table = sheet.table
    sheet.problems += [
        Problem("row_too_long", line=line, count=count, width=len(table.header)) for line, count in table.overlong
    ]
    shown, dial_unit, step = _dial(sheet, wanted)
    dial = _held(sheet, shown)
    truths = _truths(sheet, dial, dial_unit, shaft_turn_m)
    stands = _stands(dial, truths)
    sheet.left_out["vehicle_stands"] = int(stands.sum())
    dial = np.where(stands, np.nan, dial)
    sheet.refuse_impossible(np.where(stands, np.nan, shown), dial_unit)
    odometer = counted(sheet, dial_unit)
    checks = _checks(sheet, dial, dial_unit, step, truths, stands, odometer)
    count = int(checks.has_speed.sum())
    if count > limits.MOST_CHECKS:
        sheet.source.fail("too_many_checks", count=count, most=limits.MOST_CHECKS)
    sheet.refuse_problems()
    if not checks.has_speed.any() and not np.isfinite(checks.odometer_m).any():
        sheet.source.fail("no_checks", line=table.header_line, columns=table.header[:30])
    return checks


def _in_the_only_unit(
    understood: Callable[[SpeedUnit | None], Checks], columns: Sequence[Column], open_unit: ReadingsFormatError
) -> Checks:
    """Return the checks in the one unit by which the dial would be plausible; else its unit is asked."""
    found = []
    for unit in _GUESSED:
        try:
            checks = understood(unit)
        except ReadingsFormatError as error:
            if error.code == "check_implausible":
                continue
            raise
        both = checks.has_speed
        ratio = float(np.median(checks.dial_mps[both] / checks.true_mps[both])) if both.any() else 0.0
        if PLAUSIBLE[0] <= ratio <= PLAUSIBLE[1]:
            name = next(column.name for column in columns if column.part == "dial")
            taken = Finding("check_unit_taken", column=name, taken=unit)
            found.append(replace(checks, findings=(*checks.findings, taken)))
    if len(found) != 1:
        raise open_unit
    return found[0]


def _table(source: Source, session: str | None) -> tuple[Table, int]:
    """Return the table of a file, and how many remarks stand between notes without a header row."""
    if is_spreadsheet(source):
        return sheet_table(source, "speed", session), 0
    for found in ("<", "$", "{"):
        if source.data.lstrip()[:1] == found.encode():
            source.fail("no_table_of_checks")
    rows = of_titled_vehicle(source, split_rows(source), session)
    table = find_table(rows)
    if table is None or not table.delimiter or names_few(table) or is_check(dict(rows.text).get(table.header_line, "")):
        noted = noted_checks(source, rows.text)
        if noted is not None:
            return noted
    if table is None:
        source.fail("no_table_of_checks")
    return _without_words_below(table)


def _without_words_below(table: Table) -> tuple[Table, int]:
    """Return the table without the rows of words below its data, such as a name, and how many they were."""
    count = len(table.rows)
    while count and _is_remark(table.rows[count - 1]):
        count -= 1
    return replace(table, rows=table.rows[:count], line=table.line[:count]), len(table.rows) - count


def _is_remark(row: Sequence[str]) -> bool:
    filled = [cell for cell in row if cell]
    return len(filled) == 1 and not any(map(str.isdigit, filled[0]))


def _dial(sheet: CheckSheet, wanted: SpeedUnit | None) -> tuple[FloatArray, SpeedUnit, float]:
    """Return what the dial showed [m/s], its unit and the step it was read to [m/s]."""
    column = sheet.only("dial")
    if column is None:
        unit = wanted or "mph"
        return sheet.nothing, unit, SPEED_UNIT_MPS[unit]
    numbers = sheet.numbers(column)
    unit = _dial_unit(sheet, column, wanted)
    known = numbers.values[np.isfinite(numbers.values)]
    return numbers.values * SPEED_UNIT_MPS[unit], unit, speed_step(known, unit, held=True)


def _held(sheet: CheckSheet, shown: FloatArray) -> FloatArray:
    """Return what the dial showed; between mile posts an empty cell stands for the dial above it, which was held."""
    if sheet.only("post") is None:
        return shown
    last = np.maximum.accumulate(np.where(np.isfinite(shown), np.arange(len(shown)), 0))
    return np.asarray(shown[last])


def _dial_unit(sheet: CheckSheet, column: Column, wanted: SpeedUnit | None) -> SpeedUnit:
    written = sheet.one_unit(column, parse_speed_unit, column.speed_unit or wanted)
    by_cells = parse_speed_unit(written) if written else None
    found = {"header": column.speed_unit, "cells": by_cells, "option": wanted}
    stated = {where: unit for where, unit in found.items() if unit is not None}
    if len(set(stated.values())) > 1:
        sheet.source.fail("units_contradict", line=sheet.table.header_line, found=stated)
    if stated:
        return next(iter(stated.values()))
    told, true = unit_in_title(sheet.table.title), sheet.only("true")
    if true is None or true.speed_unit is None:
        if told is not None:
            return told
        sheet.source.fail("column_without_unit", line=sheet.table.header_line, column=column.name, proposed=None)
    truth = sheet.numbers(true).values * SPEED_UNIT_MPS[true.speed_unit]
    shown = sheet.numbers(column).values
    units: tuple[SpeedUnit, ...] = ("mph", "km/h")
    return sheet.settle(column, [(unit, truth / SPEED_UNIT_MPS[unit], unit) for unit in units], shown, told)


def _truths(sheet: CheckSheet, dial: FloatArray, dial_unit: SpeedUnit, shaft_turn_m: Interval | None) -> list[Truth]:
    """Return what tells the true speed, the best first."""
    has_dial = bool(np.isfinite(dial).any())
    if not has_dial:
        return []
    posts = by_posts(sheet, dial)
    found = (by_receiver(sheet, dial, dial_unit), posts or by_run(sheet, dial))
    truths = [truth for truth in found if truth is not None]
    if not truths or (shaft_turn_m is not None and sheet.only("gear") is not None):
        truths += filter(None, [by_rpm(sheet, shaft_turn_m)])
    if not truths and not any(column.part.startswith("odometer") for column in sheet.columns):
        sheet.source.fail("no_truth_columns", line=sheet.table.header_line, columns=sheet.table.header[:30])
    return truths


def _stands(dial: FloatArray, truths: Sequence[Truth]) -> BoolArray:
    """Return in which rows the vehicle stands beside a receiver, as it does in what an app writes on its way."""
    stands = np.zeros(len(dial), bool)
    for truth in truths:
        if truth.way == "truth_by_receiver":
            slow = np.fmax(dial, truth.true_mps) < limits.STANDS_MPS
            stands |= slow & (np.fmin(dial, truth.true_mps) == 0)
    return stands


def _checks(
    sheet: CheckSheet,
    dial: FloatArray,
    unit: SpeedUnit,
    step: float,
    truths: Sequence[Truth],
    stands: BoolArray,
    odometer: Counted,
) -> Checks:
    true, u, follows, cut = sheet.nothing, sheet.nothing, np.full(len(dial), -1), np.zeros(len(dial))
    used: dict[str, int] = {}
    u_common = 0.0
    for truth in truths:
        sheet.refuse_impossible(np.where(stands, np.nan, truth.true_mps), unit)
        rows = np.isnan(true) & np.isfinite(truth.true_mps) & np.isfinite(dial)
        true[rows], u[rows], follows[rows] = truth.true_mps[rows], truth.u_mps[rows], truth.follows[rows]
        cut[rows] = truth.cut_mps[rows]
        if rows.any():
            used[truth.way] = int(rows.sum())
            u_common = max(u_common, truth.u_common)
    if np.isfinite(odometer.counted_m).any():
        u_common = max(u_common, DISTANCE_U)
    if "truth_by_posts" not in used:
        sheet.left_out["check_incomplete"] += int((np.isfinite(dial) & np.isnan(true)).sum()) if truths else 0
    left_out = {reason: count for reason, count in sheet.left_out.items() if count}
    findings = [*sheet.findings, *([Finding("checks_left_out", counts=left_out)] if left_out else [])]
    findings += [Finding(way, count=count) for way, count in used.items()]
    return Checks(
        dial_mps=dial,
        true_mps=true,
        u_true_mps=u,
        odometer_m=odometer.counted_m,
        distance_m=odometer.true_m,
        line=sheet.line,
        dial_step_mps=step,
        odometer_step_m=odometer.step_m,
        u_common=u_common,
        speed_unit=unit,
        correlation=_correlation(follows) if (follows >= 0).any() else None,
        cut_mps=cut,
        stretch=_stretches(follows),
        source=sheet.source.name,
        digest=sheet.source.digest,
        findings=tuple(findings),
    )


def _correlation(follows: IntArray) -> FloatArray:
    """Return the correlation of miles that share a post: what one ends late, the next begins late."""
    correlation = np.eye(len(follows))
    for row in np.flatnonzero(follows >= 0):
        correlation[row, follows[row]] = correlation[follows[row], row] = -0.5
    return correlation


def _stretches(follows: IntArray) -> IntArray:
    """Return the number of the stretch of each row, each mile in that of the one before it."""
    stretch = np.arange(len(follows))
    for row in np.flatnonzero(follows >= 0):
        stretch[row] = stretch[follows[row]]
    return stretch
