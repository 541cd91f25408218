"""Numbers and times that were dictated: ``fifty five at ten oh four`` is ``55 at 10:04``."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import NamedTuple

from speedcal.logs.writing.patterns import late_pattern

_UNITS = ["one", "two", "three", "four", "five", "six", "seven", "eight", "nine"]
_TEENS = ["ten", "eleven", "twelve", "thirteen", "fourteen", "fifteen", "sixteen", "seventeen", "eighteen", "nineteen"]
_TENS = ["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"]
_VALUE = {
    **{word: i for i, word in enumerate([*_UNITS, *_TEENS], 1)},
    **{word: 10 * i for i, word in enumerate(_TENS, 2)},
    "fourty": 40,
}
_UNIT, _TEEN, _TEN = "|".join(_UNITS), "|".join(_TEENS), "|".join([*_TENS, "fourty"])
_BELOW_100 = rf"(?:(?:{_TEN})(?:[ -](?:{_UNIT})\b)?|{_TEEN}|{_UNIT})"
_NUMBER = rf"(?:(?:a|one|two)[ -]hundred(?:[ -](?:and[ -])?{_BELOW_100})?|(?:oh|o|zero)[ -](?:{_UNIT})|{_BELOW_100})\b"
_SPOKEN = rf"{_NUMBER}(?: point (?:{_UNIT}|zero)\b)?"
_RUN = late_pattern(
    rf"\b{_SPOKEN}(?: o'?clock\b)?(?: {_SPOKEN})*(?:,? (?:and )?(?P<s>{_NUMBER}|[0-5]?\d) sec(?:ond)?s?\b)?",
    re.IGNORECASE,
)
_ONE = late_pattern(rf"{_SPOKEN}(?: o'?clock\b)?", re.IGNORECASE)
_AND_SECONDS = late_pattern(
    rf"\b((?:{_SPOKEN} ){{2}}(?<!hundred )and {_NUMBER})(?![ -](?:{_UNIT})\b| sec)", re.IGNORECASE
)
"""Ten oh four and thirty."""
_PAST = late_pattern(
    rf"\b(?P<m>half|(?:a )?quarter|{_BELOW_100}|[0-5]?\d(?=(?: minutes?)? past\b))(?: minutes?)?"
    rf" (?P<way>past|after|to|before) (?P<h>{_BELOW_100}|(?<=past )\d{{1,2}}(?![:.\d]))(?: o'?clock)?\b",
    re.IGNORECASE,
)
_CLOCK = late_pattern(r"\d[:hH]\d\d|\d\.\d\d\.\d\d")
_UNIT_BEHIND = late_pattern(r"\s*(?:mph|kph|km|kilomet|miles? (?:per|an)|m/s|knots?)", re.IGNORECASE)
_WORD = late_pattern(r"[A-Za-z]{2}")
_NO_WORD = late_pattern(r"\b(?:mph|kph|kmh|km|at|and|miles?|kilomet(?:er|re)s?|per|an|hour|[ap]m)\b", re.IGNORECASE)
_PARTS = late_pattern(r"[.,;]\s+")
LARGE = late_pattern(
    rf"\b(?:{_TEN}|hundred|(?:oh|o) (?:{_UNIT}))\b|\bhalf past\b|\bquarter (?:past|to)\b", re.IGNORECASE
)
"""Words that a remark seldom holds and a reading mostly."""
_FEWEST_LINES, _MOST_HOURS = 4, 2


class _Said(NamedTuple):
    value: float
    minute: bool
    """``oh four`` can only be minutes or seconds."""
    hour: bool
    """``ten o'clock`` is a time by itself."""

    @property
    def is_plain(self) -> bool:
        """May be a speed."""
        return not self.minute and not self.hour

    @property
    def counts(self) -> bool:
        """Two trucks and one lane are words of a remark."""
        return self.hour or self.value >= 10


def in_figures(lines: Sequence[tuple[int, str]]) -> Sequence[tuple[int, str]]:
    """Return the lines with what was said in figures, those that can be understood in two ways as they are.

    Whether a time or a speed comes first in lines that say both without a word between them is told by all of them
    together: ``ten twelve forty five`` and ``fifty five ten thirteen`` leave one order, the first alone two. What is
    the same in all of several lines is the hour.
    """
    if not any(LARGE.search(text) or _PAST.search(text) for _, text in lines):
        return lines
    readings = [_readings(text) for _, text in lines]
    open_lines = [found for found in readings if found and "" not in found]
    orders = {"first", "last"}.intersection(*open_lines)
    hours = {found["first"].partition(":")[0] for found in open_lines if "first" in found}
    if len(orders) > 1 and len(open_lines) >= _FEWEST_LINES and len(hours) <= _MOST_HOURS:
        orders = {"first"}
    order = orders.pop() if len(orders) == 1 else ""
    return [
        (number, found.get("" if "" in found else order, text))
        for (number, text), found in zip(lines, readings, strict=True)
    ]


def _readings(text: str) -> dict[str, str]:
    """Return a line in figures, under an empty key where it is certain, else by where its time stands."""
    text = _AND_SECONDS.sub(r"\1 seconds", _PAST.sub(_clock_of_past, " ".join(text.split())))
    bare = not _WORD.search(_NO_WORD.sub(" ", _RUN.sub(" ", text)))
    runs = [run for run in _RUN.finditer(text) if bare or run["s"] or len(_said(run)) > 1 or _said(run)[0].counts]
    said = [_said(run) for run in runs]
    united = any(_UNIT_BEHIND.match(text, run.end()) for run in runs)
    if not runs or not (bare or united or LARGE.search(text) or _CLOCK.search(text) or sum(map(len, said)) > 2):
        return {"": text} if _CLOCK.search(text) else {}
    times = [i for i, groups in enumerate(said) if len(groups) > 1 or groups[0].hour or runs[i]["s"]]
    if _CLOCK.search(text) or not times:
        return {"": _written(text, runs, [[_plain(one) for one in groups] for groups in said])}
    if len(times) > 1:
        return _many(text, runs, said)
    at, alone = times[0], len(runs) == 1 and not any(map(str.isdigit, text))
    found = _ordered(said[at], _value(runs[at]["s"]).value if runs[at]["s"] else None, alone=alone)
    if alone and "first" in found and _UNIT_BEHIND.match(text, runs[at].end()):
        found = {"": found["first"]}
    plain = [[_plain(one) for one in groups] for groups in said]
    return {order: _written(text, runs, [*plain[:at], words, *plain[at + 1 :]]) for order, words in found.items()}


def _many(text: str, runs: Sequence[re.Match[str]], said: Sequence[Sequence[_Said]]) -> dict[str, str]:
    """Return a line of several readings in figures, or one whose speed was said as ``one ten``."""
    parts = _PARTS.split(text.rstrip(".,; "))
    if len(parts) > 1:
        found = [_readings(part).get("", "" if _RUN.search(part) else f"{part},") for part in parts]
        return {"": "; ".join(found).replace(",; ", ", ")} if all(found) else {}
    hundreds = [i for i, groups in enumerate(said) if _is_hundred(groups)]
    if len(runs) != 2 or len(hundreds) != 1:
        return {}
    clock = _clock(said[1 - hundreds[0]], None)
    one, more = said[hundreds[0]]
    words = [clock or "", f"{100 * one.value + more.value:g}"]
    return {"": _written(text, runs, [[word] for word in (words if hundreds[0] else words[::-1])])} if clock else {}


def _is_hundred(groups: Sequence[_Said]) -> bool:
    return len(groups) == 2 and groups[0].value == 1 and groups[1].is_plain and groups[1].value >= 10


def _ordered(groups: Sequence[_Said], seconds: float | None, *, alone: bool) -> dict[str, list[str]]:
    """Return the time that numbers said in one breath make, with the speed among them where the line has no other."""
    if not alone:
        clock = _clock(groups, seconds)
        return {"": [clock]} if clock else {}
    first, last = _clock(groups[:-1], seconds), _clock(groups[1:], seconds)
    found = {}
    if first and groups[-1].is_plain:
        found["first"] = [first, _plain(groups[-1])]
    if last and groups[0].is_plain:
        found["last"] = [_plain(groups[0]), last]
    return found


def _said(run: re.Match[str]) -> list[_Said]:
    end = run.start("s") if run["s"] else run.end()
    return [_value(found.group()) for found in _ONE.finditer(run.string, run.start(), end)]


def _value(words: str) -> _Said:
    parts = words.lower().replace("-", " ").split()
    hour = parts[-1] in ("o'clock", "oclock")
    whole, _, decimal = " ".join(parts[: len(parts) - hour]).partition(" point ")
    value = 0
    for word in whole.split():
        value = (
            100 * max(value, 1)
            if word == "hundred"
            else value + (int(word) if word.isdecimal() else _VALUE.get(word, 0))
        )
    return _Said(value + _VALUE.get(decimal, 0) / 10, whole.split()[0] in ("oh", "o", "zero"), hour)


def _clock(parts: Sequence[_Said], seconds: float | None) -> str | None:
    """Return hours, minutes and perhaps seconds as a time, None where they are none."""
    values = [part.value for part in parts]
    if parts and parts[-1].hour:
        values.append(0)
    if seconds is not None:
        values.append(seconds)
    if len(values) not in (2, 3) or parts[0].minute or any(value % 1 for value in values):
        return None
    small = any(0 < part.value < 10 and not part.minute for part in parts[1:])  # ten four is no time of day
    if small or values[0] > 23 or max(values[1:]) > 59:
        return None
    return ":".join(f"{value:02.0f}" if i else f"{value:.0f}" for i, value in enumerate(values))


def _clock_of_past(found: re.Match[str]) -> str:
    word = found["m"].lower()
    minutes = 30 if word == "half" else 15 if word.endswith("quarter") else int(_value(word).value)
    hour = int(_value(found["h"]).value)
    if hour > 23 or minutes > 59:
        return found.group()
    later = found["way"].lower() in ("past", "after")
    return f"{hour if later else (hour - 2) % 12 + 1}:{minutes if later else 60 - minutes:02d}"


def _plain(said: _Said) -> str:
    return f"{said.value:g}"


def _written(text: str, runs: Sequence[re.Match[str]], pieces: Sequence[Sequence[str]]) -> str:
    """Return a line with the runs of number words replaced."""
    for run, words in reversed(list(zip(runs, pieces, strict=True))):
        text = f"{text[: run.start()]}{' '.join(words)}{text[run.end() :]}"
    return text
