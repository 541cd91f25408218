"""What people note beside the dial: the odometer, the date, what a receiver showed."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from speedcal.logs.tables.handwriting import in_decimals
from speedcal.logs.tables.line_rows import Line
from speedcal.logs.tables.note_numbers import (
    OF_OTHERS,
    has_speed,
    in_one_unit,
    speeds_in,
    united_speed,
    words_before_number,
)
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
_LOOKED_AT, _FEWEST_UNITED, _USUAL, _MOSTLY_ALONE = 200, 4, 0.8, 0.5
"""Lines that tell how readings are written in a file, the fewest that do, and the share of them that is written so."""
_WORD = late_pattern(r"[^\W\d_]+")
_LEADS_UP = late_pattern(
    r"(?:[,;]|(?<![^\W\d_])(?:now|then|still|again|back|same|and|at|to|was|it\W?s|is|on|down|up|steady|h[oe]ld(?:ing)?|going"
    r"|slow(?:ing|ed)?|brak(?:ing|ed)|accelerat(?:ing|ed)|coasting|cruis(?:ing|e)|hit|reached|topped|speed|mph|km/h|kph"
    r"|read(?:s|ing)|says|show(?:s|ed|ing)|ok(?:ay)?|u[mh]|jetzt|wieder|noch|auf|bei|maintenant|encore|ahora|adesso|nu"
    r"|weer|teraz))[^\w,;]*$"
    r"|^\W*(?:(?:we\W(?:a?re)\s)?doing\W*$|(?:on|past|passing|in|by|near|over|under|off|through|leaving|entering|after"
    r"|before|between|uphill|downhill)(?![^\W\d_]))"
)
"""What people say before a reading: how the speed goes, what shows it, or where they are."""
_LONGEST = 500


def of_the_dial(rest: str, *, timed: bool, dial_named: bool) -> str:
    """Return what stands in a line beside its time, without what the dial did not show.

    Parameters
    ----------
    timed
        Whether the line has a time; a date without one is left out too.
    dial_named
        See :class:`Habits`; else a number that a phone showed counts where no other stands in the line.
    """
    rest = in_one_unit(_ODOMETER.sub(" ", rest if timed else _DATE.sub(" ", rest)))
    rest = _RECEIVER.sub(_dial_in, rest)
    rest = told if has_speed(told := _OTHER.sub(_dial_in, rest)) or dial_named else rest
    return _DASH.sub(" ", in_decimals(rest))


def _dial_in(found: re.Match[str]) -> str:
    return f" {found['dial'] or ''} "


@dataclass(frozen=True, slots=True)
class Habits:
    """How readings are written in a file."""

    united: bool
    """All but a few of the lines with a time and a number have one number with its unit: others are something else."""
    dial_named: bool
    """Several lines name the dial: what a phone showed is no reading, alone in its line either."""
    alone: tuple[float, float] | None
    """Least and most of the numbers that stand before any word and without another, as they do in most lines."""
    lead: str | None
    """Words before the number of all but a few, which are often none; None where they change from line to line."""


def habits_of(lines: Sequence[Line]) -> Habits:
    """Return how the first lines are written."""
    told = [(text[:_LONGEST], *time_in(text[:_LONGEST])) for _, text in lines[:_LOOKED_AT]]
    dial_named = sum(has_speed(rest) for text, _, rest in told if INSTRUMENT.search(text.lower())) >= _FEWEST_UNITED
    filled = [rest for _, time, rest in told if time and any(map(str.isdigit, rest))]
    rests = [of_the_dial(rest, timed=True, dial_named=dial_named) for rest in filled]
    alone = [v[0] for rest in rests if len(v := speeds_in(rest)[0]) == 1 and not _words(words_before_number(rest))]
    leads = Counter(_words(words_before_number(rest)) for rest in rests if has_speed(rest))
    lead, count = leads.most_common(1)[0] if leads else ("", 0)
    return Habits(
        united=sum(united_speed(rest) is not None for rest in filled) >= max(_FEWEST_UNITED, _USUAL * len(filled)),
        dial_named=dial_named,
        alone=(min(alone), max(alone)) if len(alone) >= max(_FEWEST_UNITED, _MOSTLY_ALONE * len(rests)) else None,
        lead=lead if count >= max(_FEWEST_UNITED, _USUAL * sum(leads.values())) else None,
    )


def is_behind_words(rest: str, habits: Habits) -> bool:
    """Tell whether the number of a line stands behind words that neither the others have nor lead up to a speed."""
    before = words_before_number(rest).lower()
    words = _words(before)
    if habits.lead is None or words in {"", habits.lead} or INSTRUMENT.search(before):
        return False
    leads_up = _LEADS_UP.search(before) is not None and OF_OTHERS.search(before) is None
    return not (leads_up and not habits.united) and united_speed(rest) is None  # who writes units leaves none out


def _words(text: str) -> str:
    return " ".join(_WORD.findall(text.lower()))
