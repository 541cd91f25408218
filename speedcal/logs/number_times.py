"""Times written as plain numbers: since 1970, since the start, or days of a spreadsheet."""

from __future__ import annotations

import re

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.model import Clock

_SINCE_1970 = ((1e9, 1.0), (1e12, 1e-3), (1e15, 1e-6), (1e18, 1e-9))
_UNITS = (
    (re.compile(r"(?<![a-z])(ms|msec|millis|milliseconds?)(?![a-z])"), 1e-3),
    (re.compile(r"(?<![a-z])(us|µs|micros|microseconds?)(?![a-z])"), 1e-6),
    (re.compile(r"(?<![a-z])(min|minutes?)(?![a-z])"), 60.0),
    (re.compile(r"(?<![a-z])(h|hours?)(?![a-z])"), 3600.0),
    (re.compile(r"(?<![a-z])(s|sec|secs|seconds?)(?![a-z])"), 1.0),
)
_DAY_S = 86_400.0
_SPREADSHEET_EPOCH_D = 25_569
"""Number of 1970-01-01 among the days that spreadsheets count from the end of 1899."""


def read_number_times(values: FloatArray, step: float, words: str) -> tuple[FloatArray, Clock, float, list[Finding]]:
    """Return times [s], their clock, their step [s] and what had to be assumed.

    Numbers about 1.6e9 are seconds since 1970 (years 1980 to 2090), 1.6e12 milliseconds and so on; 36,526 to 73,050
    with fractions are days of a spreadsheet (years 2000 to 2099); eight or more up to 235959 whose last four digits
    are always minutes and seconds are clock times without colons; anything else is elapsed time in the unit
    the header names, in seconds if it names none.
    """
    middle = float(np.median(values))
    for size, factor in _SINCE_1970:
        if 0.3 * size <= middle <= 3.8 * size:
            return values * factor, "utc", step * factor, []
    whole = step >= 1
    if not whole and 36_526 <= middle <= 73_050 and np.ptp(values) < 2:
        return np.round((values - _SPREADSHEET_EPOCH_D) * _DAY_S, 3), "local", max(step * _DAY_S, 0.001), []
    if step <= 1e-4 and np.ptp(values) < 1 and values.min() >= 0 and values.max() < 1 and len(values) > 1:
        text = "times between 0 and 1 were taken as fractions of a day, as spreadsheets write clock times"
        finding = Finding("fraction_of_day", text)
        return np.round(values * _DAY_S, 3), "time of day", max(step * _DAY_S, 0.001), [finding]
    for pattern, factor in _UNITS:
        if pattern.search(words):
            return values * factor, "elapsed", step * factor, []
    if _are_clock_digits(values):
        hours, rest = np.divmod(values, 10_000)
        minutes, seconds = np.divmod(rest, 100)
        times = hours * 3600 + minutes * 60 + seconds
        times += _DAY_S * np.cumsum(np.diff(times, prepend=times[0]) < -_DAY_S / 2)
        finding = Finding("clock_digits", "times such as 103215 were taken as clock times without colons, 10:32:15")
        return times, "time of day", step, [finding]
    factor = 1e-3 if whole and np.ptp(values) > _DAY_S and np.median(np.abs(np.diff(values))) >= 50 else 1.0
    name = "milliseconds" if factor < 1 else "seconds"
    finding = Finding("elapsed_unit", f"the times are numbers without a unit and were taken as {name} since the start")
    return values * factor, "elapsed", step * factor, [finding]


def _are_clock_digits(values: FloatArray) -> bool:
    """Tell whether all are hhmmss: of eight elapsed times one in a thousand such columns would look like it."""
    minutes, seconds = values // 100 % 100, values % 100
    in_day = values.min() >= 0 and 10_000 <= values.max() < 240_000
    return bool(len(values) >= 8 and in_day and (minutes < 60).all() and (seconds < 60).all() and np.ptp(values) >= 100)
