"""Several tables in the rows of one file: a log and notes, one below the other or side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Literal

from speedcal.logs.tables.delimited import Rows
from speedcal.logs.tables.tabular import Table, find_table
from speedcal.logs.writing.headers import read_heading

Wanted = Literal["speed", "latitude"]
_TIMES = frozenset({"time", "date"})
_RUNS_OUT_ROWS, _RUNS_OUT = 5, 0.02
"""Rows by which a log ends before the one beside it, and their share of all rows."""


def table_for(rows: Rows, wanted: Wanted) -> Table | None:
    """Return the table of a file, of several the one that alone tells what is wanted."""
    table = find_table(rows)
    if table is None:
        return None
    parts = [found for part in _parts(rows, table) if (found := find_table(part)) is not None]
    told = [part for part in parts if tells(part, wanted)]
    return told[0] if len(told) == 1 else table


def tells(table: Table, wanted: Wanted) -> bool:
    """Tell whether a table holds fixes, or speeds that are not of the receiver."""
    headings = [read_heading(name) for name in table.header]
    with_fixes = {"latitude", "longitude"} <= {heading.role for heading in headings}
    if wanted == "latitude":
        return with_fixes
    origins = {heading.origin for heading in headings if heading.role == "speed"}
    return bool(origins & {"instrument", "vehicle"}) or ("" in origins and not with_fixes)


def _parts(rows: Rows, table: Table) -> list[Rows]:
    """Return the rows of each table, none where there is one only."""
    headers = {table.header_line, *table.others}
    begins = [i for i, line in enumerate(rows.line) if line in headers]
    if len(begins) > 1:
        ends = [*begins[1:], len(rows.cells)]
        return [
            replace(rows, cells=rows.cells[begin:end], line=rows.line[begin:end])
            for begin, end in zip([0, *begins[1:]], ends, strict=True)
        ]
    return [
        replace(rows, cells=[row[begin:end] for row in rows.cells], line=rows.line)
        for begin, end in _beside(table.header, table.rows)
    ]


def _beside(header: Sequence[str], rows: Sequence[list[str]]) -> list[tuple[int, int]]:
    """Return the columns of each of several logs side by side; none where there is one.

    Each begins with its time. An empty column parts them, or one runs out of rows before the other.
    """
    roles = [read_heading(name).role for name in header]
    starts = [i for i, role in enumerate(roles) if role in _TIMES and (not i or roles[i - 1] not in _TIMES)]
    blocks = list(pairwise([0, *starts[1:], len(header)]))
    if len(blocks) < 2 or not all({"speed", "latitude"} & set(roles[begin:end]) for begin, end in blocks):
        return []
    parted = all(not header[begin - 1] for begin, _ in blocks[1:])
    lengths = [max((i for i, row in enumerate(rows) if any(row[begin:end])), default=-1) for begin, end in blocks]
    runs_out = max(lengths) - min(lengths) >= max(_RUNS_OUT_ROWS, _RUNS_OUT * len(rows))
    return blocks if parted or runs_out else []
