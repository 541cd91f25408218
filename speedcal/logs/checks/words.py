"""The words of a check noted by hand, told by kind, and what each kind says: a speed, a distance, a time, a count."""

from __future__ import annotations

import re
from collections.abc import Callable
from fractions import Fraction

from speedcal.logs.writing.patterns import late_pattern
from speedcal.units import LENGTH_UNIT_M

_NUMBER = r"\d{1,3}(?:[.,]\d{1,2})?(?![\d.,]*\d)"
_COUNTER = r"\d[\d,' ]{0,12}\d(?:\.\d{1,3})?|\d(?:\.\d{1,3})?"
LENGTH_UNIT = r"(?:miles?|mi|kilomet(?:er|re)s?|km|met(?:er|re)s?|m|feet|ft)(?![a-z/])"
_SPEED_UNIT = r"(?:mph|mi/h|km/h|kmh|kph|kp/h|knots?|kn|kt|m/s)(?![a-z])"
ODOMETER = r"(?<![a-z])(?:odo(?:meter)?|trip(?: ?met(?:er|re))?|mileage)(?![a-z])"
_NAMED_POST = r"(?:mile ?(?:posts?|markers?|stones?|boards?)|km ?(?:posts?|stones?|boards?)|posts?|markers?|mp)"
_TOKENS: tuple[tuple[str, str], ...] = (
    ("about", r"~|≈|\?|(?<![a-z])(?:about|around|roughly|approx|approximately|maybe|circa|ca)(?![a-z])"),
    ("about", r"(?<=\d)\s?ish(?![a-z])"),
    (
        "odometers",
        rf"{ODOMETER}\W{{0,3}}(?:from )?(?:{_COUNTER}) ?(?:-|–|->|to|then) ?(?:{_COUNTER})(?: ?{LENGTH_UNIT})?",
    ),
    ("odometer", rf"{ODOMETER}(?: [a-z]+)?\W{{0,3}}(?:{_COUNTER})(?: ?{LENGTH_UNIT})?"),
    ("odometer", rf"(?:{_COUNTER}) ?(?:{LENGTH_UNIT} ?)?(?:on|by) (?:the )?{ODOMETER}"),
    ("range", r"(?<![\d.,:])\d{1,3} ?(?:-|–|to) ?\d{1,3}(?![\d:.,]*\d)"),
    ("post", rf"(?<![a-z]){_NAMED_POST} ?#?(?:\d{{1,4}}(?:\.\d{{1,2}})?)"),
    ("time", r"\d{1,2}(?::\d{2}){1,2}(?:[.,]\d{1,3})?(?: ?[ap]\.?m(?![a-z])\.?)?"),
    (
        "time",
        r"\d{1,2} ?(?:'|′|m|mins?|minutes?)\.? ?(?:and )?\d{1,2}(?:[.,]\d{1,3})?"
        r" ?(?:\"|″|''|s(?:ecs?|econds?)?(?![a-z]))?",
    ),
    ("time", r"\d{1,4}(?:[.,]\d{1,3})? ?(?:s(?:ecs?|econds?)?|mins?|minutes?)(?![a-z])"),
    ("rpm", r"\d{3,4} ?(?:rpm|r/min|revs)(?![a-z])"),
    ("gear", r"(?<![a-z])(?:gear(?: ratio)?|ratio) ?\d[.,]\d{1,4}(?::1)?"),
    ("gear", r"(?<![a-z])direct(?: (?:gear|drive))?(?![a-z])"),
    ("speed", rf"{_NUMBER} ?{_SPEED_UNIT}"),
    ("distance", rf"(?:\d{{1,5}}(?:[.,]\d{{1,4}})?|\d/[2-9])[ -]?{LENGTH_UNIT}"),
    ("distance", r"(?<![a-z])(?:(?:half|quarter|one|two)(?: of)?(?: an?)?[ -])?(?:mile|kilomet(?:er|re))(?![a-z])"),
    ("dial", r"speedo(?:meter)?|(?<![a-z])(?:dial|needle|pointer|indicated|dash(?:board)?|instrument)(?![a-z])"),
    ("true", r"(?<![a-z])(?:gps|gnss|phone|sat ?nav|app|actual|true|real|radar|receiver)(?![a-z])"),
    (
        "apart",
        r"[,;=|/]|->|→|(?<= )[-–](?= )|(?<![a-z])(?:vs|versus|and)(?![a-z])"
        r"|(?<!on )(?<!by )(?<!off )(?<!from )(?<![a-z])the (?=gps|phone|app|sat)",
    ),
    ("ditto", r"(?<!\S)(?:\"|''|″|”|〃|ditto|same)(?=\s|[,;:]|$)"),
    ("number", rf"(?<![a-z\d.,]){_NUMBER}(?!(?!ish)[a-z])"),
)
"""Kinds of words, the first that fits counts."""
TOKEN = late_pattern("|".join(f"(?P<t{i}>{pattern})" for i, (_, pattern) in enumerate(_TOKENS)))
_COUNTS = {"half": 0.5, "quarter": 0.25, "one": 1.0, "two": 2.0}
Token = tuple[str, str]
"""Kind and text."""


def read_tokens(text: str) -> list[Token]:
    """Return the words of a line, in lower case, that say something of a check."""
    return [(_TOKENS[int(m.lastgroup[1:])][0], m.group()) for m in TOKEN.finditer(text) if m.lastgroup]


def metres(text: str) -> float:
    """Return the metres in words such as ``half a mile``."""
    unit = re.search(LENGTH_UNIT, text)
    count = re.match(r"\d/[2-9]|\d+(?:[.,]\d+)?|half|quarter|one|two", text)
    number = "1" if count is None else count.group()
    value = _COUNTS[number] if number in _COUNTS else float(Fraction(number.replace(",", ".")))
    return value * LENGTH_UNIT_M[unit.group()] if unit else value


def _say_distance(row: dict[str, str], text: str) -> bool:
    """Keep a distance; the same once more is no second one."""
    said = f"{metres(text):.10g}"
    return row.setdefault("distance", said) == said


def _say_odometer(row: dict[str, str], text: str) -> bool:
    found = re.search(rf"({_COUNTER})( ?{LENGTH_UNIT})?", text)
    if found is None or "trip" in row:
        return False
    row["trip"] = found.group()
    return True


def _say_odometers(row: dict[str, str], text: str) -> bool:
    found = re.search(rf"({_COUNTER}) ?(?:-|–|->|to|then) ?({_COUNTER})", text)
    if found is None or "odometer_start" in row:
        return False
    row["odometer_start"], row["odometer_end"] = found[1], found[2]
    return True


def _say_number(part: str, pattern: str) -> Callable[[dict[str, str], str], bool]:
    def say(row: dict[str, str], text: str) -> bool:
        found = re.search(pattern, text)
        return found is not None and row.setdefault(part, found.group()) == found.group()

    return say


SAID: dict[str, Callable[[dict[str, str], str], bool]] = {
    "distance": _say_distance,
    "odometer": _say_odometer,
    "odometers": _say_odometers,
    "post": _say_number("post", r"\d{1,4}(?:\.\d{1,2})?"),
    "rpm": _say_number("rpm", r"\d{3,4}"),
    "gear": _say_number("gear", r"\d[.,]\d{1,4}|direct"),
}
