"""Times written with colons and without a date: the time of day, or the time since a start."""

from __future__ import annotations

from datetime import UTC, tzinfo
from typing import Literal

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings_built import Stamps
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.written_times import Stamp

_HOUR_S, _HALF_DAY_S, _DAY_S, _QUARTER_DAY_S = 3600.0, 43_200.0, 86_400.0, 21_600.0
_ELAPSED = late_pattern(
    r"elapsed|since|stopwatch|duration|run ?time|(?<![a-z])laps?(?![a-z])"
    r"|(?:from|after|of|ab|seit|nach|vom|depuis|desde) (?:the |der |dem )?start"
    r"|t\+|min:sec|(?:lauf|fahr)zeit|écoulé|transcurrid|decorrid|trascors|verstreken|förfluten"
)
_CLOCK = late_pattern(r"hh:mm|h:mm|clock|time of day|local|utc|gmt|am/pm|uhrzeit|heure|hora")
_HOURS = late_pattern(r"h{1,2}:mm")
_MINUTES = late_pattern(r"(?<![h:])m{1,2}:ss")
_LONGEST_PAIR_H, _LONGEST_PAIR_MIN = 180, 360
"""Pairs that span at most this many units are hours and minutes, beyond the second minutes and seconds.

Read as hours and minutes, 180 units are a three hours' drive; read as minutes and seconds, 360 are six minutes. Between
the two they are hours and minutes where a stopwatch would have run for a while before the first reading: three to six
minutes are short for a drive, and its stopwatch starts with it.
"""
SHORTEST_S = 60.0
"""A drive of fewer seconds tells nothing: its times are meant otherwise."""
_LATEST_FIRST_MIN = 300
"""The first reading by a stopwatch comes within five minutes of its start; nobody sets out for a day before five."""

Reading = Literal["clock", "elapsed"]


class UnclearTimesError(Exception):
    """The times can be understood in more than one way."""

    def __init__(self, code: str) -> None:
        super().__init__(code)
        self.code = code


def read_clock_times(stamps: list[Stamp], words: str, zone: tzinfo | None) -> Stamps:
    """Return the times of stamps of the kinds clock, three and pair, or raise that they are unclear.

    Parameters
    ----------
    stamps
        In the order of the file.
    words
        Header of the column, in lower case.
    zone
        Zone of the clock if the user named one; only a fixed offset can be applied without a date.

    Raises
    ------
    UnclearTimesError
        The times can be understood in more than one way.
    """
    kinds = {stamp.kind for stamp in stamps}
    hint = hint_in(words)
    if zone is not None:
        hint = "clock"
    if "clock" in kinds:
        return _time_of_day(stamps, zone)
    if kinds == {"three"}:
        return _three(stamps, hint, zone)
    if kinds == {"pair"}:
        if zone is None and stamps[0].value == 0 and not _HOURS.search(words):
            hint = "elapsed" if hint == "elapsed" else None  # a stopwatch begins so, and hardly a drive
        return _pairs(stamps, hint, zone)
    return _mixed(stamps, hint, zone)


def hint_in(words: str) -> Reading | None:
    """Return what the header of a column says its times are, None where it does not."""
    if _ELAPSED.search(words):
        return "elapsed"
    if _CLOCK.search(words):
        return "clock"
    return "elapsed" if _MINUTES.search(words) else None


def _three(stamps: list[Stamp], hint: Reading | None, zone: tzinfo | None) -> Stamps:
    """Read h:mm:ss: a drive rarely begins in the hour after midnight, so times from 0:00 are taken as elapsed."""
    first, highest = stamps[0].value, max(stamp.value for stamp in stamps)
    if highest >= _DAY_S or hint == "elapsed" or (hint is None and first < 3600):
        return _elapsed(stamps, [])
    return _time_of_day(stamps, zone)


def _pairs(stamps: list[Stamp], hint: Reading | None, zone: tzinfo | None) -> Stamps:
    """Read a:b, which is hours and minutes or minutes and seconds; see the limits above.

    ``14:03.12`` may have seconds behind the point: so it is where the header says clock, and where the drive would
    else have lasted for less than a minute.
    """
    units = np.array([stamp.value for stamp in stamps])
    dotted = len(stamps) > 1 and all(map(_has_seconds, stamps)) and units.max() < _DAY_S / 60
    if dotted and hint != "elapsed" and (hint == "clock" or (0 < np.ptp(units) < SHORTEST_S and units[0] >= 60)):
        return _time_of_day(stamps, zone)
    if units.max() >= 1440 or any(stamp.step < 1 for stamp in stamps) or hint == "elapsed":
        return _elapsed(stamps, [])
    if hint == "clock":
        return _time_of_day(stamps, zone)
    unrolled = _unrolled(units * 60, twelve_hours=_shows_twelve_hours(units * 60)) / 60
    span = float(unrolled[-1] - unrolled[0])
    begins_late = units[0] > _LATEST_FIRST_MIN
    if len(stamps) > 1 and span <= (_LONGEST_PAIR_MIN if begins_late else _LONGEST_PAIR_H):
        times = _time_of_day(stamps, zone)
        times.findings.append(Finding("hours_and_minutes", otherwise_s=span))
        return times
    if len(stamps) > 1 and span > _LONGEST_PAIR_MIN and not begins_late:
        return _elapsed(stamps, [Finding("minutes_and_seconds", otherwise_s=60 * span)])
    raise UnclearTimesError("hours_or_minutes")


def _mixed(stamps: list[Stamp], hint: Reading | None, zone: tzinfo | None) -> Stamps:
    """Read pairs among h:mm:ss: seconds left out in places, or a drive that passes its first hour.

    What runs back least is meant, then what makes the drive less than half as long. Where neither makes a drive, the
    hour was left out where it stayed: ``14:03:12``, ``04:05``.
    """
    as_clock = np.array(list(map(_clock_s, stamps)))
    as_elapsed = np.array([stamp.value for stamp in stamps])
    back_clock = (
        int((np.diff(_unrolled(as_clock, twelve_hours=False)) < -60).sum()) if as_clock.max() < _DAY_S else 10**9
    )
    back_elapsed = int((np.diff(as_elapsed) < 0).sum())
    if back_elapsed and np.ptp(_unrolled(as_clock, twelve_hours=False)) > _QUARTER_DAY_S:
        within = _within_hours(stamps)
        if within is not None:
            return _time_of_day(within, zone)
    if hint is None and back_clock == back_elapsed:
        span_clock, span_elapsed = np.ptp(_unrolled(as_clock, twelve_hours=False)), np.ptp(as_elapsed)
        if max(span_clock, span_elapsed) < 2 * min(span_clock, span_elapsed):
            raise UnclearTimesError("some_with_seconds")
        hint = "clock" if span_clock < span_elapsed else "elapsed"
    if hint == "elapsed" or (hint is None and back_elapsed < back_clock):
        return _elapsed(stamps, [])
    return _time_of_day(stamps, zone)


def _within_hours(stamps: list[Stamp]) -> list[Stamp] | None:
    """Return pairs as minutes and seconds of the hour that the time before them names; None where one does not."""
    told: list[Stamp] = []
    for stamp in stamps:
        if stamp.kind == "pair":
            if not told or stamp.value >= _HOUR_S:
                return None
            value = told[-1].value // _HOUR_S * _HOUR_S + stamp.value
            stamp = stamp._replace(kind="three", value=value + _HOUR_S * (value < told[-1].value))
        told.append(stamp)
    return told


def _elapsed(stamps: list[Stamp], findings: list[Finding]) -> Stamps:
    values, step = np.array([stamp.value for stamp in stamps]), min(stamp.step for stamp in stamps)
    return Stamps(values, "elapsed", step, findings=findings)


def _time_of_day(stamps: list[Stamp], zone: tzinfo | None) -> Stamps:
    values = np.array(list(map(_clock_s, stamps)))
    step = min(1.0 if _has_seconds(stamp) else stamp.step * (60 if stamp.kind == "pair" else 1) for stamp in stamps)
    halved = np.array([stamp.kind == "clock" for stamp in stamps])
    if halved.any() and not halved.all():
        values = _nearest_half(values, halved)
    twelve_hours = not halved.any() and _shows_twelve_hours(values)
    values, findings = undo_change(values)
    values = _unrolled(values, twelve_hours=twelve_hours)
    if zone is not None:
        offset = zone.utcoffset(None)
        if offset is None:
            findings = [*findings, Finding("zone_unused")]
        elif zone is not UTC:
            values = values - offset.total_seconds()
            values += _DAY_S * (values[0] < 0) - _DAY_S * (values[0] >= _DAY_S)
    return Stamps(values, "time of day", step, findings=findings)


def _has_seconds(stamp: Stamp) -> bool:
    """Tell whether two figures that may be seconds stand behind the point of hours and minutes."""
    return stamp.kind == "pair" and stamp.step == 0.01 and round(stamp.value % 1 * 100) < 60


def _clock_s(stamp: Stamp) -> float:
    """Return the seconds since midnight that a stamp means if it is a time of day."""
    if _has_seconds(stamp):
        return stamp.value // 1 * 60 + round(stamp.value % 1 * 100)
    return stamp.value * (60 if stamp.kind == "pair" else 1)


def _shows_twelve_hours(values: FloatArray) -> bool:
    """Tell whether every time of day could be from a clock that goes from 12:59 to 1:00."""
    return bool((values >= 3600).all() and (values < 13 * 3600).all())


def _unrolled(values: FloatArray, *, twelve_hours: bool) -> FloatArray:
    """Let times of day count on past midnight (and past 12:59 on a clock that shows twelve hours)."""
    result = values.astype(float)
    shift = 0.0
    for i in range(1, len(result)):
        step = result[i] + shift - result[i - 1]
        if step < -_QUARTER_DAY_S:
            shift += _HALF_DAY_S if twelve_hours and 0 <= step + _HALF_DAY_S <= _QUARTER_DAY_S else _DAY_S
        elif shift and step > 0.75 * _DAY_S:  # a line out of order, from before midnight
            result[i] -= _DAY_S
        result[i] += shift
    return result


def _nearest_half(values: FloatArray, known: np.ndarray) -> FloatArray:
    """Give times without am or pm the half of the day that follows best on the time before them."""
    result = values.copy()
    first = int(np.flatnonzero(known)[0])
    for i in [*range(first, -1, -1), *range(first + 1, len(result))]:
        if not known[i]:
            near = result[i + 1] if i < first else result[i - 1]
            choices = (values[i] % _HALF_DAY_S, values[i] % _HALF_DAY_S + _HALF_DAY_S)
            result[i] = min(choices, key=lambda choice: abs((choice - near + _HALF_DAY_S) % _DAY_S - _HALF_DAY_S))
    return result


_LONGEST_PAUSE_S = 600.0


def undo_change(values_s: FloatArray) -> tuple[FloatArray, list[Finding]]:
    """Return local times with a change of daylight saving taken out, so that they run on from the first part.

    Clocks change at a full hour. A step back from just before a full hour to just after the one before is taken as
    the end of daylight saving (at least six stamps, usually within ten minutes of each other); a step from just
    before a full hour to just after the next as its begin, only in dense logs (at least 20 stamps, one every 10 s
    or oftener), where a pause of exactly an hour is no chance.
    """
    times = values_s[np.isfinite(values_s)]
    steps = np.diff(times)
    usual = float(np.median(np.abs(steps))) if len(steps) else np.inf
    if len(times) < 6 or usual > _LONGEST_PAUSE_S:
        return values_s, []
    slack = max(120.0, 3 * usual) if usual > 10 else max(5.0, 3 * usual)
    before, after = times[:-1] % _HOUR_S, times[1:] % _HOUR_S
    at_hour = (before >= _HOUR_S - slack) & (after <= slack)
    back = at_hour & (np.abs(steps + _HOUR_S - usual) <= 2 * slack) & (steps < -_HOUR_S / 2) & (steps >= -_HOUR_S)
    ahead = at_hour & (np.abs(steps - _HOUR_S - usual) <= 2 * slack) & (len(times) >= 20) & (usual <= 10)
    changes = np.flatnonzero(back | ahead)
    if len(changes) != 1:
        return values_s, []
    ends = bool(back[changes[0]])
    position = np.flatnonzero(np.isfinite(values_s))[changes[0]]
    result = values_s.copy()
    result[position + 1 :] += _HOUR_S if ends else -_HOUR_S
    return result, [Finding("daylight_saving", change="end" if ends else "start")]
