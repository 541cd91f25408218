"""One written time: what kind of time it is and which one; and zones as users write them."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta, timezone, tzinfo
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from speedcal.errors import ReadingsFormatError
from speedcal.logs.writing.local_times import in_usual_form
from speedcal.logs.writing.patterns import late_pattern

StampKind = Literal["zoned", "naive", "slashed", "clock", "three", "pair", "number"]


class Stamp(NamedTuple):
    """A time as written.

    ``value`` is, by kind: ``zoned`` seconds since 1970 UTC; ``naive`` the same taken as if UTC; ``slashed`` seconds
    since midnight (the date may be day or month first, see ``date``); ``clock`` seconds since midnight (am, pm or a
    zone given); ``three`` seconds of an h:mm:ss; ``pair`` a * 60 + b of an ``a:b``; ``number`` the number.
    """

    kind: StampKind
    value: float
    step: float
    """Step in which it is written, in the same unit; for a pair in units of b."""
    date: tuple[int, int, int] = (0, 0, 0)
    """First and second number and year of a date with slashes."""


_ISO = late_pattern(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(:\d\d([.,]\d{1,9})?)?(Z|[+-]\d\d:\d\d)?", re.IGNORECASE)
_CLOCK = (
    r"(?P<h>\d{1,3})[:hH](?P<m>\d{2})(?::(?P<s>\d{2})(?:[.,:](?P<f>\d{1,9}))?|[.,](?P<g>\d{1,9}))?"
    r"(?:\s?(?P<half>[AaPp])\.?(?:\s?[Mm]\.?)?)?"
)
_ZONE = r"(?:\s?(?P<zone>Z|UTC|GMT|(?:UTC|GMT)?[+-]\d{1,2}(?::?\d{2})?)|\s[A-Z]{3,4})?"
"""Letters such as CET stand for several zones and count as none."""
_BETWEEN = r"(?:\s*[T,]\s*|\s+)(?:(?:at|à|às|um|om|kl\.?|klo|o|godz\.?|a las|alle|ore)\s+)?"
_WORD = r"(?P<month>[^\W\d_]{3,12})"
DAY_AND_MONTH = rf"(?P<day>\d{{1,2}})(?:st|nd|rd|th)?(?:\.\s?|[-\s](?:de\s|of\s)?){_WORD}(?:\sde)?\.?"
MONTH_AND_DAY = rf"{_WORD}\.?\s(?P<day>\d{{1,2}})(?:st|nd|rd|th)?"
_DATES = (
    r"(?P<year>\d{4})[-/.](?P<month>\d{1,2})[-/.](?P<day>\d{1,2})",
    r"(?P<year>\d{4}):(?P<month>\d\d):(?P<day>\d\d)",  # as cameras write it into photographs
    r"(?P<year>\d{4})\.\s(?P<month>\d{1,2}|[^\W\d_]{3,12})\.?\s(?P<day>\d{1,2})\.",  # Hungarian
    r"(?P<day>\d{1,2})\.\s?(?P<month>\d{1,2})\.\s?(?P<year>\d{4}|\d{2})",
    r"(?P<one>\d{1,2})(?P<mark>[-/])(?P<two>\d{1,2})(?P=mark)(?P<year>\d{4}|\d{2})",
    rf"(?:[A-Za-z]{{3}},?\s)?{DAY_AND_MONTH}[-,\s]\s?(?P<year>\d{{4}}|\d{{2}})",
    rf"(?:[A-Za-z]{{3}},?\s)?{MONTH_AND_DAY},?\s(?P<year>\d{{4}})",
)
_MAIL_DATE = r"(?:[A-Za-z]{3}\s)(?P<month>[A-Za-z]{3})\s+(?P<day>\d{1,2})\s"
_COMPACT = (
    r"(?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})[T _-]"
    r"(?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2})(?:[.,](?P<f>\d{1,9}))?"
)
_PHOTOGRAPH = (
    r"[A-Za-z]{2,6}[_-](?P<year>\d{4})(?P<month>\d{2})(?P<day>\d{2})[_-]"
    r"(?P<h>\d{2})(?P<m>\d{2})(?P<s>\d{2})(?P<f>\d{3})?[^.\s]{0,20}\.(?i:jpe?g|heic|png)"
)
"""Name of a file, as cameras of phones give it."""
_DATED = tuple(
    late_pattern(pattern)
    for pattern in (
        *(date + _BETWEEN + _CLOCK + _ZONE for date in _DATES),
        _MAIL_DATE + _CLOCK + _ZONE + r"\s(?P<year>\d{4})",
        _COMPACT + _ZONE,
        _PHOTOGRAPH,
    )
)
_CLOCK_ONLY = late_pattern(_CLOCK + _ZONE)
_NUMBER = late_pattern(r"[-+]?\d{1,20}(?:[.,](?P<f>\d{1,18}))?(?:[eE](?P<e>[-+]?\d{1,2}))?")
_FIGURES = late_pattern(
    r"(?P<year>(?:19|20)\d\d)(?P<month>\d\d)(?P<day>\d\d)(?P<h>\d\d)(?P<m>\d\d)(?P<s>\d\d)(?:\.(?P<f>\d{1,9}))?(?P<zone>Z)?"
)
"""Date and time without a mark between them; as a number of anything since 1970 they would lie in no year of cars."""
_MONTHS = (
    "jan/gen/ene/sty/led/янв/oca/tam",
    "feb/fev/fév/lut/úno/фев/şub/hel",
    "mar/mär/mrz/maa/bře/már/мар",
    "apr/avr/abr/kwi/dub/ápr/апр/nis/huh",
    "may/mai/mei/mag/maj/kvě/máj/мая/май/tou",
    "jun/juin/giu/cze/červ/jún/июн/haz/kes",
    "jul/juil/lug/lip/červenc/červene/júl/июл/tem/hei",
    "aug/aoû/ago/sie/srp/авг/ağu/elo",
    "sep/set/wrz/zář/sze/сен/eyl/syy",
    "oct/okt/ott/out/paź/říj/окт/eki/lok",
    "nov/lis/ноя/kas/marr",
    "dec/dez/déc/dic/gru/pro/дек/ara/jou",
)
"""How the names of each begin in the languages of Western Europe, and in Polish, Czech, Hungarian, Russian, Turkish and
Finnish."""
_FIGURES_OF_SECONDS = 2
_LONGEST = 80
"""Letters of a time in words."""
_Parts = Mapping[str, str | None]
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def parse_stamp(text: str) -> Stamp | None:
    """Return the time a piece of text is, None when it is none."""
    if not text:  # as most cells of a wide table
        return None
    iso = _ISO.fullmatch(text)
    if iso:
        return _from_iso(text, iso)
    found = _CLOCK_ONLY.fullmatch(text)
    if found:
        return _from_clock(found.groupdict())
    found = _FIGURES.fullmatch(text)
    if found and (stamp := _from_date(found.groupdict())) is not None:
        return stamp
    found = _NUMBER.fullmatch(text)
    if found:
        step = _step(found.group("f"), 10.0 ** int(found.group("e") or 0))
        if found.group("e") and step > 1:  # a program wrote 1.93681E+12 and left the seconds out
            return None
        return Stamp("number", float(text.replace(",", ".")), step)
    for pattern in _DATED:
        found = pattern.fullmatch(text)
        if found:
            return _from_date(found.groupdict())
    usual = in_usual_form(text) if len(text) <= _LONGEST else text
    return parse_stamp(usual) if usual != text else None


def parse_instant(text: str) -> float:
    """Return seconds since 1970-01-01 UTC of a full date and time, taken as UTC without zone; NaN if it is none."""
    stamp = parse_stamp(text)
    return stamp.value if stamp is not None and stamp.kind in {"zoned", "naive"} else math.nan


def _from_iso(text: str, found: re.Match[str]) -> Stamp | None:
    try:
        time = datetime.fromisoformat(text.upper())
    except ValueError:
        return None
    step = 60.0 if found.group(1) is None else _step((found.group(2) or "")[1:], 1.0)
    if time.tzinfo is None:
        return Stamp("naive", time.replace(tzinfo=UTC).timestamp(), step)
    return Stamp("zoned", time.timestamp(), step)


def _from_clock(parts: _Parts) -> Stamp | None:
    if parts["zone"] is not None or parts["half"]:
        return _time_of_day(parts)
    hours, minutes = int(parts["h"] or 0), int(parts["m"] or 0)
    if minutes > 59:
        return None
    if parts["s"] is None:
        return Stamp("pair", hours * 60 + minutes + _fraction(parts["g"]), _step(parts["g"], 1.0))
    seconds = int(parts["s"])
    if seconds > 59:
        return None
    return Stamp("three", hours * 3600 + minutes * 60 + seconds + _fraction(parts["f"]), _step(parts["f"], 1.0))


def _time_of_day(parts: _Parts) -> Stamp | None:
    """Read a clock time as seconds since midnight, with am, pm and an offset from UTC where they stand."""
    hours, minutes, seconds = int(parts["h"] or 0), int(parts["m"] or 0), int(parts["s"] or 0)
    half = (parts.get("half") or "").lower()
    if half:
        if (hours == 0 and half == "p") or (hours > 12 and half == "a"):  # 0:15 am and 13:32 pm are understood
            return None
        hours = hours if hours > 12 else hours % 12 + (12 if half == "p" else 0)
    behind = parts.get("g") or ""  # 2:03.12 pm
    if behind:
        seconds = int(behind) if len(behind) == _FIGURES_OF_SECONDS else 60
    if hours > 23 or minutes > 59 or seconds > 59:
        return None
    value = hours * 3600 + minutes * 60 + seconds + _fraction(parts["f"])
    zone = parts["zone"]
    if zone is not None:
        offset = fixed_offset(zone)
        if offset is None:
            return None
        value = (value - offset.total_seconds()) % 86400
    return Stamp("clock", value, 60.0 if parts["s"] is None and not behind else _step(parts["f"], 1.0))


def _from_date(parts: _Parts) -> Stamp | None:
    clock = _time_of_day({**parts, "zone": None})
    if clock is None:
        return None
    year = int(parts["year"] or 0)
    year += 2000 if year < 80 else 1900 if year < 100 else 0
    zone = parts.get("zone")
    if parts.get("one"):
        if zone is not None:
            return None
        return Stamp("slashed", clock.value, clock.step, (int(parts["one"] or 0), int(parts["two"] or 0), year))
    month = parts["month"] or ""
    day = days_since_1970(year, int(month) if month.isdigit() else month_named(month), int(parts["day"] or 0))
    if day is None:
        return None
    value = day * 86400.0 + clock.value
    if zone is None:
        return Stamp("naive", value, clock.step)
    offset = fixed_offset(zone)
    return None if offset is None else Stamp("zoned", value - offset.total_seconds(), clock.step)


def days_since_1970(year: int, month: int, day: int) -> int | None:
    """Return the number of a day, None when the calendar has no such day."""
    try:
        return (datetime(year, month, day, tzinfo=UTC) - _EPOCH) // timedelta(days=1)
    except ValueError:
        return None


def month_named(name: str) -> int:
    """Return the number of a month, 0 where the word names none."""
    begins = (name[:7].lower(), name[:4].lower(), name[:3].lower())
    return next((i for begin in begins for i, known in enumerate(_MONTHS, 1) if begin in known.split("/")), 0)


def _fraction(digits: str | None) -> float:
    return float(f"0.{digits}") if digits else 0.0


def _step(digits: str | None, whole: float) -> float:
    return whole * 10.0 ** -len(digits) if digits else whole


_OFFSET = late_pattern(r"(?:UTC|GMT)?\s*([+-])(\d{1,2})(?::?(\d{2}))?", re.IGNORECASE)


def parse_zone(text: str) -> tzinfo:
    """Return the zone meant by ``UTC``, ``+02:00``, ``UTC-7`` or a name of the IANA data base; refuse another."""
    word = text.strip()
    if word.upper() in {"UTC", "GMT", "Z"}:
        return UTC
    offset = fixed_offset(word)
    if offset is not None:
        return timezone(offset)
    try:
        return ZoneInfo(word)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ReadingsFormatError("unknown_zone", found=text) from None


def fixed_offset(text: str) -> timedelta | None:
    """Return the offset from UTC that a suffix such as ``Z``, ``+0200`` or ``-07:30`` means, None if it means none."""
    if text.upper() in {"Z", "UTC", "GMT"}:
        return timedelta(0)
    found = _OFFSET.fullmatch(text)
    if not found:
        return None
    hours, minutes = int(found.group(2)), int(found.group(3) or 0)
    if hours > 14 or minutes > 59:
        return None
    size = timedelta(hours=hours, minutes=minutes)
    return -size if found.group(1) == "-" else size
