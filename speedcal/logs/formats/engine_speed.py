"""The engine speed of a table with its times, as it is: neither truth nor instrument."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from speedcal.errors import ReadingsFormatError
from speedcal.finding import Finding
from speedcal.interval import FloatArray, IntArray
from speedcal.logs.drive.bad_rows import sort_out
from speedcal.logs.drive.readings import Clock
from speedcal.logs.drive.readings_built import Stamps, at_line
from speedcal.logs.formats.registry import certain_kind
from speedcal.logs.source import load
from speedcal.logs.tables.delimited import split_rows
from speedcal.logs.tables.long_form import long_table
from speedcal.logs.tables.sessions import one_session
from speedcal.logs.tables.tabular import find_table, named_column, uses_decimal_comma
from speedcal.logs.times.time_column import on_track_clock, read_times
from speedcal.logs.writing.headers import read_heading
from speedcal.logs.writing.numbers import decimal_step, parse_numbers


@dataclass(frozen=True, slots=True, eq=False)
class ColumnValues:
    """Numbers of a column and when they were logged; arrays of one length, rows without either are left out."""

    time_s: FloatArray
    clock: Clock
    time_resolution_s: float
    values: FloatArray
    """In the unit of the file."""
    step: float
    """Power of ten that the values were rounded to; 0 where it is finer than 1e-9."""
    line: IntArray
    name: str
    source: str
    dropped: Mapping[str, int]
    """How many rows cannot be read, by the code of the reason."""
    findings: tuple[Finding, ...]


def read_engine_column(path: str | Path, *, column: str | None = None, session: str | None = None) -> ColumnValues:
    """Read one quantity from a table with times.

    Parameters
    ----------
    path
        A delimited table with a header, or one measurement to a row.
    column
        Its header; None takes the one column whose header says so.
    session
        Which vehicle or session, in a file that holds several.
    """
    import numpy as np

    source = load(path, ReadingsFormatError, certain_kind)
    rows = split_rows(source)
    table = find_table(rows)
    table = long_table(rows, table, for_track=False) or table
    if table is None:
        source.fail("no_table")
    headings = [read_heading(name) for name in table.header]
    table = one_session(source, table, headings, session)
    if column is not None:
        index = named_column(source, table, column)
    else:
        found = [i for i, heading in enumerate(headings) if heading.role == "engine"]
        if len(found) != 1:
            source.fail("no_engine_column", line=table.header_line, columns=table.header[:30])
        index = found[0]
    numbers = parse_numbers(table.column(index), decimal_comma=uses_decimal_comma(table))
    stamps = read_times(source, table, headings, None)
    problems = [at_line(problem, table.line[i]) for i, problem in [*numbers.problems, *stamps.problems]]
    line, dropped = np.asarray(table.line, np.int64), Counter[str]()
    bad, findings = sort_out(source, problems, line, dropped, column=table.header[index])
    if {"latitude", "longitude"} <= {heading.role for heading in headings} and stamps.clock != "none":
        time_s, _ = on_track_clock(stamps)
        stamps = Stamps(time_s, "gps", stamps.resolution_s)
    known = np.isfinite(numbers.values) & np.isfinite(stamps.time_s) & ~bad
    if not known.any():
        source.fail("readings_missing")
    return ColumnValues(
        stamps.time_s[known],
        stamps.clock,
        stamps.resolution_s,
        numbers.values[known],
        decimal_step(numbers.values[known]),
        line[known],
        table.header[index],
        source.name,
        dict(dropped),
        tuple(findings),
    )
