"""A column of written times: which clock they are from, and the times on it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, tzinfo

import numpy as np

from speedcal.errors import Problem
from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs import limits
from speedcal.logs.drive.readings_built import Stamps
from speedcal.logs.times.clock_times import SHORTEST_S, UnclearTimesError, read_clock_times, undo_change
from speedcal.logs.writing.headers import normal
from speedcal.logs.writing.instants import usual_instants
from speedcal.logs.writing.numbers import MISSING, time_step
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import Stamp, StampKind, days_since_1970, parse_stamp

_CLOCKS: tuple[StampKind, ...] = ("clock", "three", "pair")
_SIX, _CLOCK_FIGURES = late_pattern(r"(?:[01]\d|2[0-3])[0-5]\d[0-5]\d|"), " hhmmss"
"""Six figures of which the first may be 0 are a clock's; no number is written so."""
_UTC_HEADER = late_pattern(r"(?<![a-z])(utc|gmt|zulu)(?![a-z])")


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
    words = normal(header)
    usual = usual_instants(cells)
    if usual is not None:
        values, step, zoned = usual
        read = Stamps(values, "utc", step) if zoned else _naive(values, step, words, zone)
        return replace(read, resolution_s=time_step(read.time_s, read.resolution_s))
    cache: dict[str, Stamp | None] = {}
    stamps: list[Stamp | None] = []
    problems: list[tuple[int, Problem]] = []
    for i, cell in enumerate(cells):
        if cell not in cache:
            cache[cell] = parse_stamp(cell)
        stamp = cache[cell]
        stamps.append(stamp)
        if stamp is None and cell.lower() not in MISSING:
            problems.append((i, Problem("not_a_time" if cell.strip("#") else "cell_too_narrow", found=cell)))
    counts = Counter(stamp.kind for stamp in stamps if stamp is not None)
    if not counts:
        return Stamps(np.full(len(cells), np.nan), "none", np.nan, problems)
    family = _family(counts)
    example = next(
        cell for cell, stamp in zip(cells, stamps, strict=True) if stamp is not None and stamp.kind in family
    )
    for i, stamp in enumerate(stamps):
        if stamp is not None and stamp.kind not in family:
            problems.append((i, Problem("time_unlike_others", found=cells[i], example=example)))
            stamps[i] = None
    if family == ("number",) and any(cell[:1] == "0" for cell in cells) and all(map(_SIX.fullmatch, cells)):
        words += _CLOCK_FIGURES
    at = np.array([i for i, stamp in enumerate(stamps) if stamp is not None])
    read = _read_family([stamp for stamp in stamps if stamp is not None], family, words, zone)
    time_s = np.full(len(cells), np.nan)
    time_s[at] = _way_of_time(read, words) * read.time_s
    problems += [(int(at[i]), problem) for i, problem in read.problems]
    return Stamps(
        time_s,
        read.clock,
        time_step(read.time_s, read.resolution_s),
        sorted(problems, key=lambda item: item[0]),
        read.findings,
    )


def _way_of_time(read: Stamps, words: str) -> int:
    """Return -1 for a timer that shows what is left."""
    return -1 if read.clock == "elapsed" and _COUNTS_DOWN.search(words) else 1


def _family(counts: Counter[StampKind]) -> tuple[StampKind, ...]:
    """Return the kinds that most cells have and that go together."""
    families: list[tuple[StampKind, ...]] = [("zoned",), ("naive",), ("slashed",), _CLOCKS, ("number",)]
    return max(families, key=lambda kinds: sum(counts[kind] for kind in kinds))


def _read_family(stamps: list[Stamp], family: tuple[StampKind, ...], words: str, zone: tzinfo | None) -> Stamps:
    if family == ("number",):
        read = _number_times(np.array([stamp.value for stamp in stamps]), min(stamp.step for stamp in stamps), words)
        if read.clock == "local":
            return _naive(read.time_s, read.resolution_s, words, zone)
        return _running(read)
    if family == _CLOCKS:
        return _running(read_clock_times(stamps, words, zone))
    step = min(stamp.step for stamp in stamps)
    if family == ("slashed",):
        return _slashed(stamps, step, words, zone)
    values = np.array([stamp.value for stamp in stamps])
    if family == ("zoned",):
        return Stamps(values, "utc", step)
    return _naive(values, step, words, zone)


def _running(read: Stamps) -> Stamps:
    """Refuse times that run back as often as those of laps do, each counted from the last; no lap takes an hour."""
    back = float((np.diff(read.time_s) < 0).mean()) if len(read.time_s) >= _FEWEST_LAPS else 0.0
    is_short = read.clock in {"elapsed", "time of day"} and bool((read.time_s < _LONGEST_LAP_S).any())
    if is_short and _OFTEN_BACK < back < 1 - _OFTEN_BACK:
        raise UnclearTimesError("times_run_back")
    return read


def _slashed(stamps: list[Stamp], step: float, words: str, zone: tzinfo | None) -> Stamps:
    """Read dates such as 03/04/2021, which may be day or month first."""
    day_first = any(stamp.date[0] > 12 for stamp in stamps)
    month_first = any(stamp.date[1] > 12 for stamp in stamps)
    alike = all(stamp.date[0] == stamp.date[1] for stamp in stamps)
    if not (day_first or month_first or alike):
        read = read_clock_times([stamp._replace(kind="clock") for stamp in stamps], words, zone)
        read.resolution_s = step
        read.findings.append(Finding("date_unclear", found="/".join(map(str, stamps[0].date))))
        return read
    values = np.full(len(stamps), np.nan)
    problems = []
    for i, stamp in enumerate(stamps):
        one, two, year = stamp.date
        day = days_since_1970(year, two if day_first else one, one if day_first else two)
        if day is None:
            problems.append((i, Problem("date_unlike_others", found=f"{one}/{two}/{year}")))
        else:
            values[i] = day * 86400.0 + stamp.value
    read_on = _naive(values, step, words, zone)
    read_on.problems = problems
    return read_on


def _naive(values: FloatArray, step: float, words: str, zone: tzinfo | None) -> Stamps:
    """Place local stamps with a date: in the zone if one is known, else as they are."""
    values = _past_midnight(values)
    if zone is None and not _UTC_HEADER.search(words):
        values, changed = undo_change(values)
        return Stamps(values, "local", step, findings=changed)
    if zone is None or zone is UTC:
        return Stamps(values, "utc", step)
    utc = np.full(len(values), np.nan)
    last = -np.inf
    for i, value in enumerate(values.tolist()):
        if np.isfinite(value):
            utc[i] = last = _to_utc(value, zone, last)
    return Stamps(utc, "utc", step)


def _past_midnight(values: FloatArray) -> FloatArray:
    """Return stamps that all bear the date on which they began with the day after from midnight on."""
    known = np.flatnonzero(np.isfinite(values))
    back = np.flatnonzero(np.diff(values[known]) < -_NEARLY_A_DAY_S)
    if len(back) != 1 or np.ptp(values[known] // _DAY_S) > 0:
        return values
    result = values.copy()
    result[known[back[0] + 1] :] += _DAY_S
    return result


def _to_utc(value: float, zone: tzinfo, last: float) -> float:
    """Return the instant of a local time; in the hour that comes twice, the one that does not run back."""
    whole = np.floor(value)
    local = datetime.fromtimestamp(whole, UTC).replace(tzinfo=zone)
    early, late = (local.replace(fold=fold).timestamp() for fold in (0, 1))
    return float((late if early < last <= late else early) + (value - whole))


_SINCE_1970 = (1.0, 1e-3, 1e-6, 1e-9)
"""Seconds in one unit of a time since 1970, whichever makes a date."""
_MINUTES_AND_SECONDS = late_pattern(r"(?<![a-z])m(?:m|ins?|inutes?)?\.ss?(?:ecs?|econds?)?(?![a-z])")
_COUNTS_DOWN = late_pattern(r"(?<![a-z])(?:remaining|left|count(?:s|ing)?[ -]?down|restzeit|restant)(?![a-z])")
_UNITS = (
    (late_pattern(r"(?<![a-z])(ms|msecs?|millis|milliseconds?)(?![a-z])"), 1e-3),
    (late_pattern(r"(?<![a-z])(us|[uµ]secs?|µs|micros|microseconds?)(?![a-z])"), 1e-6),
    (late_pattern(r"(?<![a-z])(ns|nsecs?|nanos|nanoseconds?)(?![a-z])"), 1e-9),
    (late_pattern(r"(?<![a-z])(mins?|minut(?:es?|en|os?|i|er|y))(?![a-z])"), 60.0),
    (late_pattern(r"(?<![a-z])(h|hours?)(?![a-z])"), 3600.0),
    (late_pattern(r"(?<![a-z])(s|sec|secs|seconds?)(?![a-z])"), 1.0),
)
_FEWEST_LAPS, _OFTEN_BACK, _LONGEST_LAP_S = 6, 0.2, 3600.0
_FEWEST_NOTED, _MOST_NOTED = 4, 40
"""Of times that are hours and minutes in digits."""
_DAY_S, _NEARLY_A_DAY_S = 86_400.0, 64_800.0
_DAY_IN_FIGURES, _EARLIEST_DAY, _MOST_DAYS = 1e6, 10_000, 2
"""Beyond it stand the figures of the date before those of the clock, of a drive over midnight two."""
_SPREADSHEET_EPOCH_D = 25_569
"""Number of 1970-01-01 among the days that spreadsheets count from the end of 1899."""


def _number_times(values: FloatArray, step: float, words: str) -> Stamps:
    """Return times written as numbers, with what had to be assumed.

    Numbers about 1.6e9 are seconds since 1970 (years 1990 to 2090; the milliseconds of a week, which receivers count,
    end at 6e8), 1.6e12 milliseconds and so on; 36,526 to 73,050
    with fractions are days of a spreadsheet (years 2000 to 2099); eight or more up to 235959 whose last four digits
    are always minutes and seconds are clock times without colons; anything else is elapsed time in the unit
    the header names, in seconds if it names none.
    """
    middle = float(np.median(values))
    factor = _since_1970(middle)
    if factor is not None:
        return Stamps(values * factor, "utc", step * factor)
    whole = step >= 1
    if not whole and 36_526 <= middle <= 73_050 and np.ptp(values) < 2:
        return Stamps(np.round((values - _SPREADSHEET_EPOCH_D) * _DAY_S, 3), "local", max(step * _DAY_S, 0.001))
    named = any(pattern.search(words) for pattern, _ in _UNITS)
    if not named and step <= 1e-4 and np.ptp(values) < 1 and 0 <= values.min() <= values.max() < 1 < len(values):
        times, step_s = np.round(values * _DAY_S, 3), max(step * _DAY_S, 0.001)
        return Stamps(times, "time of day", step_s, findings=[Finding("fraction_of_day")])
    minutes, seconds = np.divmod(np.round(values * 100), 100)
    if _MINUTES_AND_SECONDS.search(words) and (seconds < 60).all():
        return Stamps(60 * minutes + seconds, "elapsed", 1.0)
    for pattern, factor in _UNITS:
        if pattern.search(words):
            return Stamps(values * factor, "elapsed", step * factor)
    days = set((values // _DAY_IN_FIGURES).tolist()) if whole else set()
    if 0 < len(days) <= _MOST_DAYS and min(days) > _EARLIEST_DAY and _are_clock_digits(values % _DAY_IN_FIGURES):
        values = values % _DAY_IN_FIGURES  # 250614140320: which of the first six is the day is open
    if _CLOCK_FIGURES in words or _are_clock_digits(values):
        hours, rest = np.divmod(values, 10_000)
        minutes, seconds = np.divmod(rest, 100)
        times = hours * 3600 + minutes * 60 + seconds
        times += _DAY_S * np.cumsum(np.diff(times, prepend=times[0]) < -_DAY_S / 2)
        return Stamps(times, "time of day", step, findings=[Finding("clock_digits")])
    of_day = _of_clock_digits(values, step)
    if of_day is not None:
        return Stamps(of_day * 60.0, "time of day", 60.0, findings=[Finding("minutes_in_digits")])
    factor = 1e-3 if whole and np.ptp(values) > _DAY_S and np.median(np.abs(np.diff(values))) >= 50 else 1.0
    return Stamps(values * factor, "elapsed", step * factor, findings=[Finding("elapsed_unit", unit_s=factor)])


def _since_1970(value: float) -> float | None:
    """Return the seconds in the unit in which a number counts the time since 1970; None where it can be no such."""
    return next((unit for unit in _SINCE_1970 if limits.EARLIEST_S <= value * unit <= limits.LATEST_S), None)


def are_since_1970(values: Sequence[float]) -> bool:
    """Tell whether numbers under any name must be times since 1970: all within the hours of a drive or two."""
    unit = _since_1970(float(np.median(values)))
    return unit is not None and float(np.ptp(values)) * unit <= _DAY_S


def _are_clock_digits(values: FloatArray) -> bool:
    """Tell whether all are hhmmss: of eight elapsed times one in a thousand such columns would look like it."""
    minutes, seconds = values // 100 % 100, values % 100
    in_day = values.min() >= 0 and 10_000 <= values.max() < 240_000
    enough = len(values) >= (_FEWEST_NOTED if values.min() > _DAY_S else 8)  # no drive has been on for a day
    return bool(enough and in_day and (minutes < 60).all() and (seconds < 60).all() and np.ptp(values) >= 100)


def _of_clock_digits(values: FloatArray, step: float) -> FloatArray | None:
    """Return the minutes of the day that 14.03 or 1403 tell, where as seconds they would be no drive; else None."""
    parted = abs(step - 0.01) < 1e-9
    if not parted and (step < 1 or len(values) > _MOST_NOTED):
        return None
    hours, minutes = np.divmod(np.round(values * 100) if parted else values, 100)
    of_a_day = hours.min() >= 1 and hours.max() < 24 and bool((minutes < 60).all())
    no_drive = len(values) >= _FEWEST_NOTED and 0 < np.ptp(values) < SHORTEST_S
    return hours * 60 + minutes if of_a_day and no_drive else None
