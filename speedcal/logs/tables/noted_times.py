"""The time in a line of notes, and in the line above it."""

from __future__ import annotations

import re
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

from speedcal.logs.tables.line_rows import Line
from speedcal.logs.tables.note_numbers import has_speed
from speedcal.logs.writing.local_times import with_colons
from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.spoken_times import spoken_time
from speedcal.logs.writing.written_times import DAY_AND_MONTH, MONTH_AND_DAY, month_named, parse_stamp

_TIME = late_pattern(
    r"(?:(?:\d{4}[-/.:]\d{1,2}[-/.:]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{2,4})(?:\s*[T,]\s*|\s+))?"
    r"(?<![\d:.,])\d{1,3}[:hH]\d{2}(?::\d{2})?(?:\.\d{1,6}(?![\d,.]))?"
    r"(?:\s?[AaPp]\.?\s?[Mm]\b\.?)?(?:\s?(?:Z|UTC|GMT|[+-]\d{2}:?\d{2})(?![\w:]))?"
)
_DOTTED = late_pattern(r"(?<![\d.,:])([01]?\d|2[0-3])\.([0-5]\d)\.([0-5]\d)(?![\d.]|[,:]\d)")
"""10.03.17: three parts are a time of day; a date would have to come before a time."""
_DOTTED_PM = late_pattern(r"(?<![\d.,:])(1[0-2]|0?[1-9])\.([0-5]\d)\s?([AaPp])\.?[Mm]\b\.?")
_SINCE_1970 = late_pattern(r"(?<![\d.,:])(1\d{9}(?:\.\d{1,6}|\d{3})?)(?![\d:])")
_COMPACT = late_pattern(
    r"(?<!\d)(\d{8}[T_-]\d{6}|20\d{6} \d{6})"
    r"(?:(Z|[+-]\d{2}:?\d{2})(?![\w:])|(?:\d{3})?(?!\d)(?:[\w()-]*\.(?:jpe?g|heic|png))?)",
    re.IGNORECASE,
)
"""20260317T140312Z, and 20260317_140312 as phones name what they take."""
_UNTIL = late_pattern(
    r"(?<![\d:.,])(\d{1,2}):([0-5]\d)(?::([0-5]\d))?\s?(?:[-–—]|to|till?|until)\s?"
    r"(\d{1,2}):([0-5]\d)(?::([0-5]\d))?(?![\d:])(?!\s?[ap]\.?m)",
    re.IGNORECASE,
)
"""Two times within an hour: from when to when a speed was held."""
_BETWEEN = late_pattern(r"\bbetween\s+(\d[\d:]*)\s+and\s+(?=\d{1,2}:)", re.IGNORECASE)
_LONGEST_HOLD_S = 3600
_HOURS = late_pattern(
    r"(?<![\w.,:])([01]?\d|2[0-3])\s?(?:h|uhr|uur|heures?|horas?)\s?(?:(?:und|en|et|y|e)\s)?([0-5]?\d)"
    r"(?![\w:']|[.,]\d|\s?m(?:in)?(?![a-z]))",
    re.IGNORECASE,
)
"""10 h 04, 10 Uhr 4."""
_MILITARY = late_pattern(
    r"(?<![\w.,:])([01]\d|2[0-3])([0-5]\d)(?::([0-5]\d)(?![\d:])|\s?(?:hrs?|hours|h|uhr|uur)\b)", re.IGNORECASE
)
_AND_SECONDS = late_pattern(
    r"(?<=\d:)(?<!:\d\d:)([0-5]\d),?\s(?:(?:and|und|en|et|y|e)\s)?([0-5]?\d)\s?s(?:e[ckg][a-z]*)?\b"
    r"|(?<=\d:)(?<!:\d\d:)([0-5]\d)\sand\s([0-5]?\d)(?![\w:.,]|\s?(?:mph|k|mi))",
    re.IGNORECASE,
)
"""10:04 and 30, 10:04 and 30 seconds."""
_DAY_AND_MONTH = late_pattern(r"^\s*\d{1,2}[/.]\d{1,2}\.?,?\s+(?=\d{1,2}:\d{2})")
_WORDED = tuple(
    late_pattern(rf"(?<![\w.,:/-]){date}(?:,?\s|-)(?P<year>\d{{4}})(?!\w)(?:,?\s(?:at\s)?)?")
    for date in (DAY_AND_MONTH, MONTH_AND_DAY)
)
"""17 March 2026, Mar 17, 2026."""
_MONTHS = (
    "jan(?:uary)?|feb(?:ruary)?|mar(?:ch)?|apr(?:il)?|may|june?|july?|aug(?:ust)?|sept?(?:ember)?|oct(?:ober)?"
    "|nov(?:ember)?|dec(?:ember)?"
)
_WORDED_WITHOUT_YEAR = late_pattern(
    rf"(?<![\w.,:/-])(?:\d{{1,2}}(?:st|nd|rd|th)?\s(?:of\s)?(?:{_MONTHS})|(?:{_MONTHS})\s\d{{1,2}}(?:st|nd|rd|th)?)"
    r"\.?,?\s(?:at\s)?(?=\d{1,2}:\d{2})",
    re.IGNORECASE,
)
_COMMA_BEFORE_TIME = late_pattern(r",(?=\d{1,2}:\d{2}(?!\d))")
_GLUED = late_pattern(r"[A-Za-z]{1,8}\d")
_WEEKDAY = late_pattern(r"^(?:mon|tue|wed|thu|fri|sat|sun)[a-z]*[.,]?\s+", re.IGNORECASE)
_LONGEST, _LONGEST_DAY, _FEWEST_DAYS = 500, 40, 2
_FEWEST_PAIRS = 3
_COLUMNS, _FEWEST_APART = ((True, False), (False, True)), 4
"""What tells a time only, and what a speed only."""


def with_times_above(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines with each time that stands in a line above its reading, or below it.

    So it is where most readings have it there, or all that have none in their own line; and where all times stand
    above as many speeds, as a column of a printed table is copied below the other.
    """
    made: list[Line] = []
    alone = joined = bare = 0
    before = (False, False)
    told = [_tells(text) for _, text in lines]
    if _stand_below(lines, told):
        return with_times_above(lines[::-1])[::-1]
    times, speeds = ([line for line, has in zip(lines, told, strict=True) if has == what] for what in _COLUMNS)
    if len(times) == len(speeds) >= _FEWEST_APART and times[-1][0] < speeds[0][0] and (True, True) not in told:
        pairs = [(number, f"{text} {speed}") for (number, text), (_, speed) in zip(times, speeds, strict=True)]
        columns = {number for number, _ in (*times, *speeds)}
        others = [line for line in lines if line[0] not in columns]
        return [
            *(line for line in others if line[0] < speeds[0][0]),
            *pairs,
            *(line for line in others if line[0] > speeds[0][0]),
        ]
    for (number, text), has in zip(lines, told, strict=True):
        if before == (True, False) and has == (False, True):
            made[-1] = (number, f"{made[-1][1]} {text}")
            joined += 1
        else:
            made.append((number, text))
            alone += has == (True, True)
            bare += has == (False, True)
        before = has
    return made if joined >= _FEWEST_PAIRS and (joined > alone or not bare) else lines


def _stand_below(lines: Sequence[Line], told: Sequence[tuple[bool, bool]]) -> bool:
    """Tell whether more times stand next below a speed than next above one."""
    turns = [
        (abs(two[0] - one[0]), has)
        for (one, two), (has, then) in zip(pairwise(lines), pairwise(told), strict=True)
        if {has, then} == set(_COLUMNS)
    ]
    nearest = min((apart for apart, _ in turns), default=0)
    below = sum(1 if has == _COLUMNS[1] else -1 for apart, has in turns if apart == nearest)
    return below > 0


def with_days_above(lines: Sequence[Line]) -> Sequence[Line]:
    """Return the lines with the date of the line above before each time, where several dates stand in lines alone."""
    days = {number: day for number, text in lines if (day := _day_in(text))}
    if len(set(days.values())) < _FEWEST_DAYS:
        return lines
    made: list[Line] = []
    day = ""
    for number, text in lines:
        day = days.get(number, day)
        if number not in days:
            time = time_in(text)[0] if day and len(text) <= _LONGEST else ""
            dated = time and (stamp := parse_stamp(time)) is not None and stamp.kind in {"zoned", "naive", "slashed"}
            made.append((number, f"{day} {text}" if time and not dated else text))
    return made


def _day_in(text: str) -> str:
    """Return the date that is all of a line, empty where there is more, or none."""
    if len(text) > _LONGEST_DAY or ":" in text or not any(map(str.isdigit, text)):
        return ""
    day = _dates_in_figures(_WEEKDAY.sub("", text.strip(" \t:-=*#"))).strip()
    stamp = parse_stamp(f"{day} 12:00")
    return day if stamp is not None and stamp.kind in {"naive", "slashed"} else ""


def _tells(text: str) -> tuple[bool, bool]:
    """Tell whether a time stands in a line, and whether a number does beside it."""
    parts = time_in(" ".join(text.split())) if len(text) <= _LONGEST and any(map(str.isdigit, text)) else ("", "")
    return bool(parts[0]), has_speed(parts[1])


@lru_cache(maxsize=10_000)  # each line is asked for its time twice
def time_in(text: str) -> tuple[str, str]:
    """Return the time in a line, with colons, and the rest of the line."""
    text = _dates_in_figures(_DAY_AND_MONTH.sub("", with_colons(_COMMA_BEFORE_TIME.sub(", ", text))))
    text = _UNTIL.sub(_held_at, _BETWEEN.sub(r"\1 - ", text))
    for form, in_colons in ((_MILITARY, _as_military), (_HOURS, _as_hours), (_AND_SECONDS, _as_seconds)):
        told = form.sub(in_colons, text, count=1)
        if told != text and has_speed(_TIME.sub(" ", told)):
            text = told
    found, spoken = _TIME.search(text), spoken_time(text)
    if spoken is not None and (found is None or spoken[0] <= found.start()):
        return spoken[1:]
    if found is not None:
        return found.group().strip(), f"{text[: found.start()]} {text[found.end() :]}"
    forms = ((_DOTTED, r"\1:\2:\3"), (_DOTTED_PM, r"\1:\2 \3m"), (_COMPACT, r"\1\2"), (_SINCE_1970, r"\1"))
    for form, written in forms:
        dotted = form.search(text)
        if dotted is not None:
            return dotted.expand(written), f"{text[: dotted.start()]} {text[dotted.end() :]}"
    return "", text


def _dates_in_figures(text: str) -> str:
    """Return a line with dates in words as ``2026-03-17``; without a year they say nothing and are left out."""
    for form in _WORDED:
        text = form.sub(_in_figures, text)
    return _WORDED_WITHOUT_YEAR.sub("", text)


def _in_figures(found: re.Match[str]) -> str:
    month = month_named(found["month"])
    return f"{found['year']}-{month:02d}-{int(found['day']):02d} " if month else found[0]


def _as_military(found: re.Match[str]) -> str:
    return f"{found[1]}:{found[2]}" + (f":{found[3]}" if found[3] else "")


def _as_hours(found: re.Match[str]) -> str:
    return f"{found[1]}:{found[2]:0>2}"


def _as_seconds(found: re.Match[str]) -> str:
    return f"{found[1] or found[3]}:{found[2] or found[4]:0>2}"


def _held_at(found: re.Match[str]) -> str:
    """Return the middle of a hold by its seconds; by minutes its begin, since the middle would be no better known."""
    begin, end = (_seconds(found.groups("0")[k : k + 3]) for k in (0, 3))
    if not 0 < end - begin <= _LONGEST_HOLD_S:
        return found.group()
    if found[3] is None or found[6] is None:
        return ":".join(part for part in found.groups()[:3] if part)
    middle = (begin + end) // 2
    return f"{middle // 3600}:{middle // 60 % 60:02d}:{middle % 60:02d}"


def _seconds(parts: Sequence[str]) -> int:
    return 3600 * int(parts[0]) + 60 * int(parts[1]) + int(parts[2])


def goes_on(text: str) -> bool:
    """Tell whether letters and figures hang on to a time, which is then not the whole of it."""
    found = _TIME.search(text)
    return found is not None and spoken_time(text) is None and _GLUED.match(text, found.end()) is not None
