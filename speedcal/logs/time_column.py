"""Which column of a table holds the time, and the times in it."""

from __future__ import annotations

from datetime import tzinfo

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.fixes import BASE_S
from speedcal.logs.stamp_text import parse_stamp
from speedcal.logs.stamps import Stamps, parse_stamps
from speedcal.logs.table import Table, is_missing
from speedcal.logs.words import Heading

_WORTH = {"zoned": 5, "naive": 4, "slashed": 3, "number": 1}
_LOOKED_AT = 50


def read_times(table: Table, headings: list[Heading], zone: tzinfo | None) -> Stamps:
    """Return the times of the rows; clock ``none`` when the table has no time column.

    Of several time columns the one that says most is taken: a stamp with zone before one with a date, a date before a
    clock time, a clock time before a plain number; a date in a column of its own is joined to the clock time.

    Raises
    ------
    UnclearTimesError
        The times can be understood in more than one way.
    """
    ranked = sorted(
        ((_worth(table.column(i), heading, headings), -i) for i, heading in enumerate(headings)), reverse=True
    )
    if not ranked or ranked[0][0] <= 0:
        named = [table.header[i] for i, heading in enumerate(headings) if heading.role == "time"]
        text = f"column {named[0]!r} holds no time: the speeds count as held one after the other" if named else ""
        findings = [Finding("no_times", text)] if named else []
        return Stamps(np.full(len(table.rows), np.nan), "none", np.nan, findings=findings)
    index = -ranked[0][1]
    cells = table.column(index)
    header = table.header[index]
    dates = [i for i, heading in enumerate(headings) if heading.role == "date" and i != index]
    if dates and _worth(cells, headings[index], headings) == 2:
        days = table.column(dates[0])
        joined = [f"{day} {cell}" if not is_missing(cell) else "" for day, cell in zip(days, cells, strict=True)]
        if any(parse_stamp(cell) for cell in joined[:_LOOKED_AT]):
            cells, header = joined, f"{table.header[dates[0]]} {header}"
    return parse_stamps(cells, header=header, zone=zone)


def _worth(cells: list[str], heading: Heading, headings: list[Heading]) -> int:
    """Return how much a column says about the time: 0 nothing, 1 a number, 2 a clock time, 3 to 5 a date as well."""
    if heading.role not in {"time", "date", ""}:
        return 0
    filled = [cell for cell in cells[: _LOOKED_AT * 20] if not is_missing(cell)][:_LOOKED_AT]
    stamps = [stamp for stamp in map(parse_stamp, filled) if stamp is not None]
    if 2 * len(stamps) <= len(filled) or not stamps:
        return 3 if heading.role == "time" and filled and heading.name else 0
    worth = max(_WORTH.get(stamp.kind, 2) for stamp in stamps)
    if worth > 1:
        return worth
    if heading.role != "time":
        return 0
    return 3 if max(stamp.value for stamp in stamps) >= 3e8 else 1


def on_track_clock(stamps: Stamps) -> tuple[FloatArray, bool]:
    """Return times for a track, and whether they carry a date.

    Stamps without zone are taken as UTC; times without a date start on 2000-01-01.
    """
    if stamps.clock in {"utc", "local"}:
        if stamps.clock == "local":
            stamps.findings.append(Finding("time_without_zone", "the stamps carry no zone and were taken as UTC"))
        return stamps.time_s, True
    return stamps.time_s + BASE_S, False
