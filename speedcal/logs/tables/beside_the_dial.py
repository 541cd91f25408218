"""What people note beside the dial: the odometer, the date, what a receiver showed."""

from __future__ import annotations

import re
from collections.abc import Sequence

from speedcal.logs.tables.handwriting import in_decimals
from speedcal.logs.tables.line_rows import Line
from speedcal.logs.tables.note_numbers import has_speed, in_one_unit, united_speed
from speedcal.logs.tables.noted_times import time_in
from speedcal.logs.writing.headers import INSTRUMENT
from speedcal.logs.writing.patterns import late_pattern

_ODOMETER = late_pattern(
    r"(?<![A-Za-z])(?:odo(?:met(?:er|re))?|trip(?: ?met(?:er|re))?|mileage|total)"
    r"\W{0,3}\d[\d.,' ]*\d*(?:\s*(?:mi(?:les)?|km))?(?![A-Za-z])",
    re.IGNORECASE,
)
_SAID = r"\d{1,3}(?:[.,]\d{1,2})?"
_IN_UNIT = r"(?:mph|km/?h|kph)"
_RECEIVER, _OTHER = (
    late_pattern(
        rf"(?P<dial>(?:{INSTRUMENT.pattern})\W{{0,3}}{_SAID}(?:\s?{_IN_UNIT})?(?=\s))?"
        rf"(?:^\W{{0,4}}|[,;(/|–-]|(?(dial)\s|(?!)))\s*(?:the\s)?{what}[^\d,;]{{0,15}}{_SAID}(?:{_IN_UNIT}\b)?(?![\w:]|[.,]\d)"
        rf"|(?<![\w.,:]){_SAID}\s?{_IN_UNIT}?\s?"
        rf"(?:\(|(?:on|by|from) (?:the )?)?{what}(?!\D{{0,4}}\d|\s(?:lost|off|out|dead))",
        re.IGNORECASE,
    )
    for what in (r"(?:gps|gnss|sat ?nav)\b", r"(?:phone|app|actual|true|real)\b")
)
"""What a receiver showed, which is no reading of the dial; by words that mean it where another number stands beside."""
_DASH = late_pattern(r"^\s*[-–—−](?:\s+|(?!\d+[-–—−]))(?=\d)")
"""Stands between time and reading, no dial shows less than nothing; ``-50-`` is struck out."""
_DATE = late_pattern(r"\b(?:\d{4}-\d\d-\d\d|\d{1,2}[./-]\d{1,2}[./-]\d{4})(?![\w:])")
_LOOKED_AT, _FEWEST_UNITED, _UNITED = 200, 4, 0.8
"""Lines that tell how readings are written in a file, the fewest that do, and the share of them that is written so."""
_LONGEST = 500


def of_the_dial(rest: str, *, timed: bool, dial_named: bool) -> str:
    """Return what stands in a line beside its time, without what the dial did not show.

    Parameters
    ----------
    timed
        Whether the line has a time; a date without one is left out too.
    dial_named
        See :func:`name_the_dial`; else a number that a phone showed counts where no other stands in the line.
    """
    rest = in_one_unit(_ODOMETER.sub(" ", rest if timed else _DATE.sub(" ", rest)))
    rest = _RECEIVER.sub(_dial_in, rest)
    rest = told if has_speed(told := _OTHER.sub(_dial_in, rest)) or dial_named else rest
    return _DASH.sub(" ", in_decimals(rest))


def _dial_in(found: re.Match[str]) -> str:
    return f" {found['dial'] or ''} "


def name_the_dial(lines: Sequence[Line]) -> bool:
    """Tell whether several lines name the dial beside their number."""
    named = [text for _, text in lines[:_LOOKED_AT] if INSTRUMENT.search(text[:_LONGEST].lower())]
    return sum(has_speed(time_in(text[:_LONGEST])[1]) for text in named) >= _FEWEST_UNITED


def are_united(lines: Sequence[Line]) -> bool:
    """Tell whether all but a few of the lines with a time and a number have one number with its unit."""
    rests = [rest for _, text in lines[:_LOOKED_AT] for time, rest in (time_in(text[:_LONGEST]),) if time]
    filled = [rest for rest in rests if any(map(str.isdigit, rest))]
    return len(filled) >= _FEWEST_UNITED and sum(united_speed(r) is not None for r in filled) > _UNITED * len(filled)
