"""Which column of a table holds the time, and the times in it."""

from __future__ import annotations

from dataclasses import replace
from datetime import tzinfo

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings_built import Stamps
from speedcal.logs.drive.track import BASE_S
from speedcal.logs.source import Source
from speedcal.logs.tables.handwriting import with_dittos
from speedcal.logs.tables.tabular import Table, is_missing
from speedcal.logs.times.clock_times import UnclearTimesError
from speedcal.logs.times.gps_weeks import in_weeks
from speedcal.logs.times.timestamps import are_since_1970, parse_stamps
from speedcal.logs.writing.headers import INSTRUMENT, Heading, normal
from speedcal.logs.writing.numbers import time_step
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import parse_stamp

_MINUTE_S = 60.0
_NO_TIME = " 00:00:00"
"""Behind a date that a spreadsheet keeps."""
_WORTH = {"zoned": 5, "naive": 4, "slashed": 3, "number": 1}
_LOOKED_AT, _FEW, _FEWEST_STEPS = 50, 0.1, 4
_PARTS = {
    word: part
    for part, words in {
        "year": "year/yyyy/jahr/année/año/ano/anno/jaar/rok/år",
        "month": "month/mon/monat/mois/mes/mês/mese/maand/miesiąc/månad",
        "day": "day/dd/tag/jour/día/dia/giorno/dag/dzień/den",
        "hour": "hour/hours/hh/hr/h/stunde/stunden/heure/heures/hora/ora/ore/uur/godzina/timme",
        "minute": "minute/minutes/min/mins/mm/m/minuten/minuto/minuti/minuut/minuta/minut",
        "second": "second/seconds/sec/secs/ss/s/sek/sekunde/sekunden/seconde/secondes/segundo/secondo/sekunda/sekund",
    }.items()
    for word in words.split("/")
}
"""Headers of the parts of a time that stand in columns of their own."""
_OF_MINUTE = late_pattern(r"[0-5]?\d(?:\.\d+)?")
_UNREAD = late_pattern(r"(?=[^°]{5,40}$)\D*\d+(?:\D+\d+){2,6}\D*")
"""Three numbers in a cell of a column that is not named: most likely a time, which must not be passed over."""
_DOTTED = late_pattern(r"\d{1,2}\.\d\d\.\d\d")
"""A date or a time; under the name of a date it is one."""
_HALVES = frozenset({"am", "pm", "a.m.", "p.m."})
_RECEIVER = late_pattern(r"gps|gnss|utc")
_KEPT = late_pattern(r"server|receiv|upload|insert|created|processed|arriv|stored|saved")
"""When a row came in, which is after what it tells."""


def read_times(
    source: Source, table: Table, headings: list[Heading], zone: tzinfo | None, *, of_dial: bool = False
) -> Stamps:
    """Return the times of the rows as :func:`times_in` does; the error of the source where they are unclear."""
    try:
        return times_in(table, headings, zone, of_dial=of_dial)
    except UnclearTimesError as unclear:
        source.fail(unclear.code, line=table.header_line)


def times_in(table: Table, headings: list[Heading], zone: tzinfo | None, *, of_dial: bool = False) -> Stamps:
    """Return the times of the rows; clock ``none`` when the table has no time column.

    Of several time columns that move with the rows the one that says most is taken: a stamp with zone before one with
    a date, a date before a clock time, a clock time before a plain number; a date in a column of its own is joined to
    the clock time. Hour, minute and second may stand in columns of their own. Where the dial has a time of its own, its
    readings go by that (``of_dial``).
    """
    parts = _in_parts(table)
    if parts:
        return parse_stamps(parts, zone=zone)
    ranked = sorted(
        ((_rank(table.column(i), heading, of_dial=of_dial), -i) for i, heading in enumerate(headings)), reverse=True
    )
    if not ranked or ranked[0][0] <= (0, 0.0):
        named = [
            table.header[i]
            for i, heading in enumerate(headings)
            if heading.role == "time" or (heading.role == "" and _run_on(table.column(i)))
        ]
        unread = next((cells for i, item in enumerate(headings) if _is_unread(cells := table.column(i), item)), None)
        if unread is not None:  # every cell is a problem
            return parse_stamps(unread)
        findings = [Finding("no_times", column=named[0])] if named else []
        return Stamps(np.full(len(table.rows), np.nan), "none", np.nan, findings=findings)
    index = -ranked[0][1]
    cells = table.column(index)
    header = table.header[index]
    cells = _with_halves(table, cells)
    dates = [i for i, heading in enumerate(headings) if heading.role == "date" and i != index]
    if dates and _worth(cells, headings[index]) <= 2:
        joined = _dated(_days(table.column(dates[0])), cells)
        dated = sum(1 for cell in joined if parse_stamp(cell))
        if 2 * dated > sum(1 for cell in joined if cell):
            cells, header = joined, f"{table.header[dates[0]]} {header}"
    stamps = in_weeks(table, parse_stamps(cells, header=header, zone=zone))
    if stamps.resolution_s < _MINUTE_S:
        return stamps
    beside = [i for i, heading in enumerate(headings) if heading.role == "time" and i != index]
    return next(filter(None, (_to_seconds(stamps, table.header[i], table.column(i)) for i in beside)), stamps)


def _to_seconds(stamps: Stamps, header: str, cells: list[str]) -> Stamps | None:
    """Return times to the minute by a column beside them that tells the seconds; None where it does not.

    It holds the seconds of each minute, or runs on with them from another start, as a stopwatch does.
    """
    if _PARTS.get(normal(header)) == "second" and all(map(_OF_MINUTE.fullmatch, filter(None, cells))):
        seconds = np.array([float(cell or "nan") for cell in cells])
        return replace(stamps, time_s=stamps.time_s + seconds, resolution_s=time_step(seconds, 1.0))
    try:
        finer = parse_stamps(cells, header=header)
    except UnclearTimesError:
        return None
    behind = stamps.time_s - finer.time_s
    if not finer.resolution_s < _MINUTE_S or not np.isfinite(behind).any():
        return None
    near = np.abs(behind - np.nanmedian(behind)) <= _MINUTE_S
    if near.sum() < (1 - _FEW) * np.isfinite(stamps.time_s).sum():
        return None
    begins_s = (behind[near].min() + behind[near].max() + _MINUTE_S) / 2
    return replace(finer, time_s=finer.time_s + begins_s, clock=stamps.clock, findings=stamps.findings)


def _with_halves(table: Table, cells: list[str]) -> list[str]:
    """Return times with the half of the day behind them that a column of its own tells."""
    for index in range(len(table.header)):
        halves = table.column(index)
        if any(halves) and all(half.lower() in _HALVES for half in halves if half):
            return [f"{cell} {half}".strip() for cell, half in zip(cells, halves, strict=True)]
    return cells


def _days(cells: list[str]) -> list[str]:
    """Return the dates of the rows: one that stands where it changes holds until the next.

    A date in the first row alone, as it is noted by hand, dates no other.
    """
    days = ["" if is_missing(cell) else cell.removesuffix(_NO_TIME) for cell in with_dittos(cells)]
    if len({day for day in days if day}) < 2:
        return days
    above = ""
    for i, day in enumerate(days):
        days[i] = above = day or above
    return days


def _dated(days: list[str], cells: list[str]) -> list[str]:
    """Return clock times behind their dates."""
    return [f"{day} {cell}" if not is_missing(cell) else "" for day, cell in zip(days, cells, strict=True)]


def _run_on(cells: list[str]) -> bool:
    """Tell whether a column holds numbers that grow, not each by one: they may be times, and it is to be said."""
    stamps = [stamp for stamp in map(parse_stamp, cells[: _LOOKED_AT * 20]) if stamp is not None]
    steps = np.diff([stamp.value for stamp in stamps if stamp.kind == "number"])
    return (
        len(steps) >= _FEWEST_STEPS and len(steps) + 1 == len(cells) and bool((steps > 0).all() and np.ptp(steps) > 0)
    )


def _is_unread(cells: list[str], heading: Heading) -> bool:
    """Tell whether a column that is not named holds what must be times, each another, though none that is known."""
    filled = [cell for cell in cells[: _LOOKED_AT * 20] if not is_missing(cell)]
    unnamed = heading.role in {"", "date"} and len(set(filled)) > 1
    return unnamed and all(map(_UNREAD.fullmatch, filled))


def _in_parts(table: Table) -> list[str]:
    """Return the times of a table that has a column each for hour, minute and second, or for minute and second.

    None of another.
    """
    at = {_PARTS[word]: i for i, name in enumerate(table.header) if (word := normal(name)) in _PARTS}
    if not {"minute", "second"} <= set(at):
        return []
    if "hour" not in at:
        return (
            []
            if normal(table.header[at["minute"]]) == "m"
            else _elapsed(table.column(at["minute"]), table.column(at["second"]))
        )
    dated = {"year", "month", "day"} <= set(at)
    names = ("year", "month", "day", "hour", "minute", "second") if dated else ("hour", "minute", "second")
    return [_joined(parts) for parts in zip(*(table.column(at[name]) for name in names), strict=True)]


def _elapsed(minutes: list[str], seconds: list[str]) -> list[str]:
    """Return the times of a stopwatch; none where seconds go on beyond a minute, which are no part of one."""
    if not all(_OF_MINUTE.fullmatch(cell) for cell in seconds if cell) or not all(
        map(str.isdigit, filter(None, minutes))
    ):
        return []
    return [
        _joined((f"{int(minute) // 60}", f"{int(minute) % 60}", second)) if minute and second else ""
        for minute, second in zip(minutes, seconds, strict=True)
    ]


def _joined(parts: tuple[str, ...]) -> str:
    if any(map(is_missing, parts)):
        return ""
    *day, hour, minute, second = parts
    whole, mark, rest = second.partition(".")
    return f"{'-'.join(day)} {hour.zfill(2)}:{minute.zfill(2)}:{whole.zfill(2)}{mark}{rest}".strip()


def _rank(cells: list[str], heading: Heading, *, of_dial: bool) -> tuple[int, float]:
    """Return what a column is worth as the time: one that stands still while the rows go on is none.

    At equal worth the clock of the receiver goes before that of the device, both before when
    a server had the row, and what runs on before what runs back.
    """
    worth = _worth(cells, heading)
    sample = cells[:: max(len(cells) // _LOOKED_AT, 1)]
    if not worth or (len(sample) > 3 and len(set(sample)) == 1):
        return 0, 0.0
    name = heading.name.lower()
    said = bool(_RECEIVER.search(name)) - 2 * bool(_KEPT.search(name)) + 2 * (of_dial and bool(INSTRUMENT.search(name)))
    return worth, 0.5 * said - _share_back(cells[:_LOOKED_AT])


def _share_back(cells: list[str]) -> float:
    """Return in which share of their steps times run back, 0 for one in ten or fewer."""
    stamps = [stamp for stamp in map(parse_stamp, cells) if stamp is not None]
    kept = [stamp.value for stamp in stamps if stamp.kind == stamps[0].kind]
    share = float((np.diff(kept) < 0).mean()) if len(kept) > 1 else 0.0
    return share if share > _FEW else 0.0


def _worth(cells: list[str], heading: Heading) -> int:
    """Return how much a column says about the time: 0 nothing, 1 a number, 2 a clock time, 3 to 5 a date as well."""
    if heading.role not in {"time", "date", ""}:
        return 0
    filled = [cell for cell in cells[: _LOOKED_AT * 20] if not is_missing(cell)][:_LOOKED_AT]
    stamps = [stamp for stamp in map(parse_stamp, filled) if stamp is not None]
    if 2 * len(stamps) <= len(filled) or not stamps:
        if heading.role == "time" and filled and heading.name:
            return 3
        return 0
    if heading.role == "date" and all(cell.endswith(_NO_TIME) or _DOTTED.fullmatch(cell) for cell in filled):
        return 0
    worth = max(_WORTH.get(stamp.kind, 2) for stamp in stamps)
    if worth > 1:
        return worth
    values = [stamp.value for stamp in stamps]
    if heading.role != "time":
        return 3 if values[0] < values[-1] and values == sorted(values) and are_since_1970(values) else 0
    return 3 if max(values) >= 3e8 else 1


def on_track_clock(stamps: Stamps) -> tuple[FloatArray, bool]:
    """Return times for a track, and whether they carry a date.

    Stamps without zone are taken as UTC; times without a date start on 2000-01-01.
    """
    if stamps.clock in {"utc", "local"}:
        if stamps.clock == "local":
            stamps.findings.append(Finding("time_without_zone", count=int(np.isfinite(stamps.time_s).sum())))
        return stamps.time_s, True
    return stamps.time_s + BASE_S, False
