"""A column of written times: which clock they are from, and the times on it."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime, tzinfo

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.clock_times import read_clock_times
from speedcal.logs.daylight import undo_change
from speedcal.logs.model import Clock
from speedcal.logs.number_times import read_number_times
from speedcal.logs.resolution import time_step
from speedcal.logs.stamp_text import Stamp, StampKind, days_since_1970, parse_stamp

MISSING = frozenset({"", "-", "--", "---", "–", "—", "na", "n/a", "nan", "null", "none", "?", "#n/a", "n.a."})
"""What people and loggers write for a value that is not there, in lower case."""

_CLOCKS: tuple[StampKind, ...] = ("clock", "three", "pair")
_UTC_HEADER = re.compile(r"(?<![a-z])(utc|gmt|zulu)(?![a-z])")


@dataclass(slots=True)
class Stamps:
    """Times of a column; NaN where a cell is empty or no time (then it is among the problems)."""

    time_s: FloatArray
    clock: Clock
    resolution_s: float
    problems: list[tuple[int, str]] = field(default_factory=list)
    """Index of a bad cell and what is wrong with it."""
    findings: list[Finding] = field(default_factory=list)


class UnclearTimesError(Exception):
    """The times can be understood in more than one way; the message says which."""


def parse_stamps(cells: Sequence[str], *, header: str = "", zone: tzinfo | None = None) -> Stamps:
    """Return the times in a column of cells.

    Parameters
    ----------
    cells
        The cells, stripped.
    header
        Words above the column; they tell elapsed times from clock times and seconds from milliseconds.
    zone
        Zone of stamps that carry none.

    Raises
    ------
    UnclearTimesError
        Such as ``10:32``, which may be hours and minutes or minutes and seconds.
    """
    words = header.lower()
    cache: dict[str, Stamp | None] = {}
    stamps: list[Stamp | None] = []
    problems: list[tuple[int, str]] = []
    for i, cell in enumerate(cells):
        if cell not in cache:
            cache[cell] = parse_stamp(cell)
        stamp = cache[cell]
        stamps.append(stamp)
        if stamp is None and cell.lower() not in MISSING:
            problems.append((i, f"{cell!r} is no time"))
    counts = Counter(stamp.kind for stamp in stamps if stamp is not None)
    if not counts:
        return Stamps(np.full(len(cells), np.nan), "none", np.nan, problems)
    family = _family(counts)
    example = next(
        cell for cell, stamp in zip(cells, stamps, strict=True) if stamp is not None and stamp.kind in family
    )
    for i, stamp in enumerate(stamps):
        if stamp is not None and stamp.kind not in family:
            problems.append((i, f"the time {cells[i]!r} is not written like the others, such as {example!r}"))
            stamps[i] = None
    at = np.array([i for i, stamp in enumerate(stamps) if stamp is not None])
    read = _read_family([stamp for stamp in stamps if stamp is not None], family, words, zone)
    time_s = np.full(len(cells), np.nan)
    time_s[at] = read.time_s
    problems += [(int(at[i]), text) for i, text in read.problems]
    return Stamps(time_s, read.clock, time_step(read.time_s, read.resolution_s), sorted(problems), read.findings)


def _family(counts: Counter[StampKind]) -> tuple[StampKind, ...]:
    """Return the kinds that most cells have and that go together."""
    families: list[tuple[StampKind, ...]] = [("zoned",), ("naive",), ("slashed",), _CLOCKS, ("number",)]
    return max(families, key=lambda kinds: sum(counts[kind] for kind in kinds))


def _read_family(stamps: list[Stamp], family: tuple[StampKind, ...], words: str, zone: tzinfo | None) -> Stamps:
    if family == ("number",):
        values, clock, step, findings = read_number_times(
            np.array([stamp.value for stamp in stamps]), min(stamp.step for stamp in stamps), words
        )
        if clock == "local":
            return _naive(values, step, words, zone, findings)
        return Stamps(values, clock, step, [], findings)
    if family == _CLOCKS:
        read = read_clock_times(stamps, words, zone)
        if isinstance(read, str):
            raise UnclearTimesError(read)
        return Stamps(read.time_s, read.clock, read.step_s, [], read.findings)
    step = min(stamp.step for stamp in stamps)
    if family == ("slashed",):
        return _slashed(stamps, step, words, zone)
    values = np.array([stamp.value for stamp in stamps])
    if family == ("zoned",):
        return Stamps(values, "utc", step)
    return _naive(values, step, words, zone, [])


def _slashed(stamps: list[Stamp], step: float, words: str, zone: tzinfo | None) -> Stamps:
    """Read dates such as 03/04/2021, which may be day or month first."""
    day_first = any(stamp.date[0] > 12 for stamp in stamps)
    month_first = any(stamp.date[1] > 12 for stamp in stamps)
    alike = all(stamp.date[0] == stamp.date[1] for stamp in stamps)
    if not (day_first or month_first or alike):
        read = read_clock_times([stamp._replace(kind="clock") for stamp in stamps], words, zone)
        if isinstance(read, str):
            raise UnclearTimesError(read)
        first = "/".join(str(part) for part in stamps[0].date)
        text = f"the date {first} can mean two days; only the time of day is used"
        return Stamps(read.time_s, read.clock, step, [], [*read.findings, Finding("date_unclear", text)])
    values = np.full(len(stamps), np.nan)
    problems = []
    for i, stamp in enumerate(stamps):
        one, two, year = stamp.date
        day = days_since_1970(year, two if day_first else one, one if day_first else two)
        if day is None:
            problems.append((i, f"{one}/{two}/{year} is no date in the order that the other lines have"))
        else:
            values[i] = day * 86400.0 + stamp.value
    read_on = _naive(values, step, words, zone, [])
    read_on.problems = problems
    return read_on


def _naive(values: FloatArray, step: float, words: str, zone: tzinfo | None, findings: list[Finding]) -> Stamps:
    """Place local stamps with a date: in the zone if one is known, else as they are."""
    if zone is None and not _UTC_HEADER.search(words):
        values, changed = undo_change(values)
        return Stamps(values, "local", step, [], findings + changed)
    if zone is None or zone is UTC:
        return Stamps(values, "utc", step, [], findings)
    utc = np.full(len(values), np.nan)
    last = -np.inf
    for i, value in enumerate(values.tolist()):
        if np.isfinite(value):
            utc[i] = last = _to_utc(value, zone, last)
    return Stamps(utc, "utc", step, [], findings)


def _to_utc(value: float, zone: tzinfo, last: float) -> float:
    """Return the instant of a local time; in the hour that comes twice, the one that does not run back."""
    whole = np.floor(value)
    local = datetime.fromtimestamp(whole, UTC).replace(tzinfo=zone)
    early, late = (local.replace(fold=fold).timestamp() for fold in (0, 1))
    return float((late if early < last <= late else early) + (value - whole))
