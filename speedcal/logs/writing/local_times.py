"""Times as people of many countries write them, in the form that :mod:`speedcal.logs.writing.written_times` knows."""

from __future__ import annotations

import re
from datetime import date, timedelta

from speedcal.logs.writing.patterns import late_pattern
from speedcal.logs.writing.spoken_times import spoken_time

_WEEKDAY = late_pattern(
    r"^(?:mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so|lun|mar|mer|mié|mie|jeu|jue|gio|ven|vie|vr|sam|sáb|sab|dim|dom"
    r"|seg|ter|qua|qui|sex|ma|wo|za|zo|pon|wt|śr|czw|pt|sob|ndz|niedz)[^\W\d_]*[.,]?\s+|^(?:kl\.?|um|at)\s+",
    re.IGNORECASE,
)
_SAYS_CLOCK = late_pattern(r"\s?(?:uhr|hrs?|hours|час)\.?$", re.IGNORECASE)
_NAME_OF_ZONE = late_pattern(r"\s\([A-Za-z .]{2,40}\)$")
_HALF_BEFORE = late_pattern(r"(?:(오전|上午|午前)|오후|下午|午後)\s?([\d:.]+)")
_YEAR_FIRST = late_pattern(
    r"^(\d{4})\s?[年년.]\s?(\d{1,2})\s?[月월.]\s?(\d{1,2})\s?[日일.]?,?\s*(?=\D|\d{1,2}[:.時시点])"
)
_IDEOGRAPHS = late_pattern(r"(\d{1,2})\s?[時时시点]\s?(\d{1,2})\s?[分분](?:\s?(\d{1,2}(?:\.\d{1,3})?)\s?[秒초])?")
_DOTTED = late_pattern(r"(?<!\S)(\d{1,2})\.(\d\d)\.(\d\d)(?=$|[.,]\d|\s?[AaPp])")
_WITHOUT_YEAR = late_pattern(r"^\d{1,2}\.\d{1,2}\.\s+(?=\d{1,2}[:.]\d\d)")
_WEEK = late_pattern(r"^(\d{4})-?W(\d\d)-?([1-7])(?=[T ])")
_DAY_OF_YEAR = late_pattern(r"^(\d{4})-?(\d{3})(?=[T ])")
_DURATION = late_pattern(r"PT(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:[.,]\d+)?)S)?")
"""ISO 8601; OpenDocument keeps times of day so, too."""
_SECONDS = late_pattern(r"([-+]?\d{1,6}(?:[.,]\d{1,3})?)\s?(?:s|secs?|seconds?)\.?", re.IGNORECASE)


def in_usual_form(text: str) -> str:
    """Return a time with colons, its date in figures, and without weekday; other text as it is or half changed.

    ``Di. 17. März 2026 14:03`` loses its weekday, ``17.3. 14:03`` a date that has no year, ``2026年3月17日`` and
    ``2026-W12-2`` are 2026-3-17, ``5m 20s`` is 0:05:20, ``14.03.12`` and ``14時03分12秒`` are 14:03:12, ``오후 2:03``
    is 2:03 pm, ``24 s`` is 24, ``PT3M21S`` is 00:03:21.
    """
    lasted = _DURATION.fullmatch(text)
    if lasted:
        return ":".join((part or "0").zfill(2) for part in lasted.groups())
    text = _SAYS_CLOCK.sub("", _WEEKDAY.sub("", _NAME_OF_ZONE.sub("", text)))
    text = _WITHOUT_YEAR.sub("", text)
    text = _YEAR_FIRST.sub(r"\1-\2-\3 ", _DAY_OF_YEAR.sub(_day_of_year, _WEEK.sub(_day_of_week, text)))
    text = _DOTTED.sub(r"\1:\2:\3", with_colons(text))
    seconds = _SECONDS.fullmatch(text)
    if seconds:
        return seconds[1]
    spoken = spoken_time(text)
    return spoken[1] if spoken is not None and not spoken[2].strip() else text


def with_colons(text: str) -> str:
    """Return text in which times with the signs for hour and minute, or for half of the day, have colons, am and pm."""
    if text.isascii():
        return text
    text = _IDEOGRAPHS.sub(lambda found: f"{found[1]}:{found[2]:0>2}:{found[3] or '00':0>2}", text)
    return _HALF_BEFORE.sub(lambda found: f"{found[2]} {'am' if found[1] else 'pm'}", text)


def _day_of_week(found: re.Match[str]) -> str:
    try:
        return date.fromisocalendar(int(found[1]), int(found[2]), int(found[3])).isoformat()
    except ValueError:
        return found[0]


def _day_of_year(found: re.Match[str]) -> str:
    try:
        day = date(int(found[1]), 1, 1) + timedelta(days=int(found[2]) - 1)
    except ValueError:
        return found[0]
    return day.isoformat() if day.year == int(found[1]) else found[0]
