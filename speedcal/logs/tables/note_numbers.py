"""The numbers in a note that may be speeds: ``about 56``, ``40-45``, ``30, 45; 60``."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from speedcal.logs.tables.handwriting import in_decimals
from speedcal.logs.writing.headers import INSTRUMENT, PHONE, SPEED_UNIT, unit_in_title
from speedcal.logs.writing.patterns import late_pattern
from speedcal.units import SPEED_UNIT_MPS, SpeedUnit, parse_speed_unit

_NUMBER = late_pattern(r"(?<![\w.])(?<!\d,)[-+]?\d{1,6}(?:[.,]\d{1,4})?(?![\w:])")
_GROUPED = late_pattern(r"(?<![\w.,])\d{1,3}(?:[,.' ]\d{3})+(?:[.,]\d{1,2})?(?![\w:]|[.,]\d)")
RANGE = late_pattern(
    r"(?<![\w.,-])(\d{1,3})\s*(?:-|–|to|or|/|\.{2,3}|(?<=between \d\d )and)\s*(\d{1,3})(?![\w:.,-]|\s*(?:s|sec|min)\b)"
)
_WITHIN = late_pattern(r"(\d{1,3}(?:[.,]\d{1,2})?)\s?(?:±|\+/?-|\+-)\s?(\d{1,2}(?:[.,]\d{1,2})?)(?![\w:.,])")
"""30 ± 1: the needle stood anywhere within, rectangular."""
ABOUT = late_pattern(
    r"(?<=\d)\s*(?:ish|\?|\+/?-|\+(?!\s?\d))|(?<=\d)[-−](?=\s*$)|(?:~|≈|(?<![a-z])(?:ca\.?|approx\.?|approximately|about|around|circa|roughly|maybe"
    r"|nearly|almost|close to|(?:just|slightly|(?:a )?(?:bit|little|touch|hair)) (?:over|under|above|below)))"
    r"\s*(?=\d)",
    re.IGNORECASE,
)
_ONE_SIDED = late_pattern(
    r"(?:(?<![-=])[<>≤≥]|(?<![a-z])(?:over|under|above|below|more than|less than|at least|at most|up to))\s*(?=\d)",
    re.IGNORECASE,
)
_TOUCHING_UNIT = late_pattern(r"(?<=\d)(?=(?:mph|km|kph|kn|kt|mi/|m/s)[a-z/]*\b)", re.IGNORECASE)
_BESIDE = late_pattern(
    r"(?<![a-z])(?:rpm|revs?)\W{0,3}\d[\d.,]{2,6}(?!\w)|(?<!\w)(?:p|lt)?\d{3}/\d\d ?z?[r-] ?\d\d(?!\w)|"
    r"(?<![\w.,])\d[\d.,]{0,7}\s?(?:rpm(?!\W{0,3}\d)|r/min|1/min|u/min|°\s?[CF]?|%|psi|bar|volts?|s|secs?|seconds?|mins?|minutes?"
    r"|hours?|hrs?|yards?|met(?:er|re)s|feet|ft|lanes?|spuren|voies|cars|lorries|trucks|wheelers?|people|passengers"
    r"|mi(?:les?)? (?:to go|left|more|ahead|further|away)|degrees?|deg|[CF]|gal(?:lons?)?|lit(?:er|re)s?"
    r"|(?:mph\s|km/h\s)?(?:zone|limit|sign)(?!\W{0,3}\d))(?![A-Za-z])",
    re.IGNORECASE,
)
"""A number of something else."""
_PLACE = late_pattern(
    r"(?<![^\W\d_])(?:(?:exit|junction|jct|route|rte|highway|hwy|interstate|motorway|freeway|lane|gear"
    r"|(?:(?:mile|km) ?)?marker|(?:mile|km|kilomet(?:er|re)) ?(?:post|stone)"
    r"|ausfahrt|abfahrt|anschlussstelle|spur|gang|sortie|voie|rapport|salida"
    r"|uscita|afrit|avfart)"
    r"[\s.:#-]{1,3}(?:no\.? ?|nr\.? ?)?|(?:i|us|sr|cr)-|(?:us|sr|cr) )\d{1,4}[a-z]?(?![\w:]|[.,]\d|\s?(?:mph|k|mi/))",
    re.IGNORECASE,
)
"""The number of a road, an exit, a lane or a gear, which stands behind its word."""
_LIST = late_pattern(r"\d{1,3}(?:[.,]\d{1,2})?(?:\s*[,;]\s*\d{1,3}(?:[.,]\d{1,2})?)+[,;]?")
_UNITED = late_pattern(
    r"(?P<other>(?<![a-z])(?:limit[eé]?|l[ií]mite|tempolimit|limitation|zone|posted|signs?|gps|gnss|sat ?nav|true"
    r"|actual|phone|app|wind|set|cruise|max)"
    r"(?:\W|of|is|at|to|now|was|said|says){0,9})?"
    rf"(?<![\w.,:+-])(?P<speed>\d{{1,3}}(?:[.,]\d{{1,2}})?)\s?(?:{SPEED_UNIT})(?![a-z/])"
    r"(?P<what>[\s(-]{0,2}(?:speed\s)?(?:limit|zone|sign|area|wind|(?:(?:on|by|from)\s(?:the\s|my\s)?)?"
    r"(?:gps|gnss|sat ?nav|phone|app))(?![\s:]{0,2}\d))?",
    re.IGNORECASE,
)
"""A number with a unit of speed behind it, and what says that the dial did not show it."""
_NAMED = late_pattern(
    r"(?P<word>[^\W\d_]{2,})[\s:#[]{0,2}\d|\d[\d.,]*(?:[^\W\d_]|\s(?:zone|limit|revs|degrees|[CF])(?![a-z]))",
    re.IGNORECASE,
)
"""A number behind a word that may say what it is, or before one that does: ``45 or so 63`` is neither."""
_SPEED_BEFORE = late_pattern(
    rf"(?<![\w.,:-])(\d{{1,3}}(?:[.,]\d{{1,2}})?)\s?(?:{SPEED_UNIT})?\s(?:on\s)?(?:the\s|my\s)?$"
)
_SPEED_AFTER = late_pattern(r"[a-z]*\s?[:=]?\s?(\d{1,3}(?:[.,]\d{1,2})?)(?![\w:]|[.,]\d)")
_TWO_UNITS = late_pattern(
    rf"(?<![\w.,:+-])(?P<one>\d{{1,3}}(?:[.,]\d{{1,2}})?)\s?(?P<unit>{SPEED_UNIT})\s?[(\[=/|,;–-]{{0,2}}\s?"
    rf"(?:or|is)?\s?(?P<two>\d{{1,3}}(?:[.,]\d{{1,2}})?)\s?(?P<other>{SPEED_UNIT})(?![a-z/])\s?[)\]]?",
    re.IGNORECASE,
)
_LEADING = late_pattern(
    rf"\W*(?P<speed>\d{{1,3}}(?:[.,]\d{{1,2}})?)(?![\w:]|[.,/-]\d)\s?(?:(?:{SPEED_UNIT})(?![a-z]))?+", re.IGNORECASE
)
_WORD = late_pattern(r"[^\W\d_]{2}")
OF_OTHERS = late_pattern(rf"limit|zone|posted|sign|schild|restric|radar|gps|gnss|(?<![a-z])(?:app|{PHONE})(?![a-z])")
"""A speed that the road allows, or that something else showed."""
_NOT_SHOWN = late_pattern(r"^\W*(?:miles?|mi|km|kilomet\w+|m|on|by|from|per|auf|laut|sur|selon)(?![a-z])")
"""Behind a number: it is a distance, or what something else showed."""
_BEYOND = 1.5
"""How many times the greatest of the other readings one may be, or that part of the least; a choice."""
_LONGEST, _FIGURES_OF_NO_SPEED = 60, 4
_FEW_WORDS = 6
_U_ABOUT_STEPS = 1.0
"""Standard uncertainty of a reading noted as about, in units of the dial: from memory of how people speak."""


def speeds_in(rest: str) -> tuple[list[float], float]:
    """Return the numbers that may be speeds, and the standard uncertainty where a range or an about says one."""
    rest = _without_others(_TOUCHING_UNIT.sub(" ", rest))
    within = _WITHIN.search(rest)
    if within is not None:
        numbers = [_float(value) for value in _NUMBER.findall(_WITHIN.sub(r"\1", rest))]
        return numbers, _float(within[2]) / math.sqrt(3)
    wide = RANGE.search(rest)
    if wide is not None and float(wide[1]) < float(wide[2]) <= 2 * float(wide[1]):
        low, high = float(wide[1]), float(wide[2])
        others = _NUMBER.findall(rest[: wide.start()] + " " + rest[wide.end() :])
        # the needle stood anywhere in the range: rectangular
        return [(low + high) / 2, *map(_float, others)], (high - low) / math.sqrt(12)
    about = bool(ABOUT.search(rest))
    numbers = [_float(value) for value in _NUMBER.findall(ABOUT.sub(" ", rest))]
    return numbers, _U_ABOUT_STEPS if about else math.nan


def in_one_unit(text: str) -> str:
    """Return a text without a speed that says the one beside it in another unit: ``44 mph (71 km/h)``.

    The rounder of the two was read; of two alike, the first.
    """
    return _TWO_UNITS.sub(_rounder, text)


def _rounder(found: re.Match[str]) -> str:
    units = [parse_speed_unit(found[name]) for name in ("unit", "other")]
    told = [(found[name], unit, SPEED_UNIT_MPS[unit]) for name, unit in zip(("one", "two"), units, strict=True) if unit]
    if len(set(units)) < 2 or len(told) < 2:
        return found[0]
    low, high = sorted(_float(value) * unit_mps for value, _, unit_mps in told)
    steps = [10.0 ** -len(value.replace(",", ".").partition(".")[2]) for value, _, _ in told]
    if not are_one_speed(high - low, [step * unit_mps for step, (_, _, unit_mps) in zip(steps, told, strict=True)]):
        return found[0]
    value, unit, _ = told[steps[1] > steps[0]]
    return f"{value} {unit} "


def are_one_speed(apart_mps: float, steps_mps: Sequence[float]) -> bool:
    """Tell whether two numbers in two units may say one speed, both rounded or both cut to their steps."""
    return apart_mps <= max(steps_mps)


def united_speed(rest: str) -> float | None:
    """Return the one number with a unit of speed, where each other number has a word that may say what else it is."""
    found = list(_UNITED.finditer(rest))
    if len(found) != 1 or found[0]["other"] or found[0]["what"]:
        return None
    around = ABOUT.sub(" ; ", f"{rest[: found[0].start()]} ; {rest[found[0].end() :]}")
    named = list(_NAMED.finditer(around))
    if len(named) < len(_NUMBER.findall(around)) or any(
        INSTRUMENT.search((item["word"] or "").lower()) for item in named
    ):
        return None
    return _float(found[0]["speed"])


def speed_beside_dial(rest: str) -> float | None:
    """Return the number that stands on one side of the one word that names the dial, None where it is not certain."""
    text = rest.lower()
    named = list(INSTRUMENT.finditer(text))
    if len(named) != 1:
        return None
    before, after = _SPEED_BEFORE.search(text[: named[0].start()]), _SPEED_AFTER.match(text[named[0].end() :])
    found = [side[1] for side in (before, after) if side is not None]
    return _float(found[0]) if len(found) == 1 else None


def leading_speed(rest: str, least: float, most: float) -> float | None:
    """Return the number that a line begins with, where the next is no reading; None of another line.

    That one stands behind words of something else, and is of a size that no reading has, or the words name a limit, a
    sign or a receiver. Another may as well correct the first or go on from it.

    Parameters
    ----------
    least, most
        Of the readings of other lines.
    """
    text = _without_others(_TOUCHING_UNIT.sub(" ", rest))
    found = _LEADING.match(text)
    other = _NUMBER.search(text, found.end()) if found else None
    if found is None or other is None:
        return None
    speed = _float(found["speed"])
    low, high = least / _BEYOND, most * _BEYOND
    words = text[found.end() : other.start()].lower()
    if not low <= speed <= high or _NOT_SHOWN.search(words) or INSTRUMENT.search(words):
        return None
    if other[0][:_FIGURES_OF_NO_SPEED].isdigit() and len(other[0]) >= _FIGURES_OF_NO_SPEED:
        return speed
    is_other = OF_OTHERS.search(words) or not low <= _float(other[0]) <= high
    return speed if _WORD.search(words) and is_other else None


def has_speed(rest: str) -> bool:
    """Tell whether :func:`speeds_in` finds any number."""
    return _NUMBER.search(ABOUT.sub(" ", _without_others(_TOUCHING_UNIT.sub(" ", rest)))) is not None


def words_before_number(rest: str) -> str:
    """Return what stands before the first number that :func:`speeds_in` finds."""
    text = ABOUT.sub(" ", _without_others(_TOUCHING_UNIT.sub(" ", rest)))
    found = _NUMBER.search(text)
    return text[: found.start()] if found else ""


def unit_in_remark(text: str) -> SpeedUnit | None:
    """Return the unit that a few words below readings name; one of limits and of what else showed a speed is none."""
    few = sum(map(str.isalpha, text.split())) <= _FEW_WORDS
    return unit_in_title(text) if few and not OF_OTHERS.search(text.lower()) else None


def without_places(rest: str) -> str:
    """Return a text without the numbers of roads, exits, lanes and gears."""
    return _PLACE.sub(" ", rest)


def _without_others(rest: str) -> str:
    """Return a text without the numbers that say what else they count or name: ``2 trucks``, ``exit 14``."""
    return _BESIDE.sub(" ", without_places(rest))


def noted_speed(cell: str) -> tuple[float, float]:
    """Return the speed that a cell says, ``62 1/2``, ``60-62``, ``34+`` or ``about 45``, and its uncertainty.

    Both are NaN where more stands in it, or nothing that is a number; see :func:`speeds_in`.
    """
    if len(cell) > _LONGEST:
        return math.nan, math.nan
    text = in_decimals(cell)
    numbers, u = speeds_in(text)
    plain = ABOUT.sub(" ", _WITHIN.sub(r"\1", _TOUCHING_UNIT.sub(" ", text)))
    left = _NUMBER.sub(" ", RANGE.sub(r"\1", plain)).strip()
    if len(numbers) != 1 or (left and parse_speed_unit(left) is None) or unclear_in(text, numbers, listed=False):
        return math.nan, math.nan
    return numbers[0], u


def _float(text: str) -> float:
    return float(text.replace(",", "."))


def unclear_in(rest: str, values: list[float], *, listed: bool) -> str:
    """Return the code of what can be read in two ways, empty where nothing can."""
    if _GROUPED.search(_without_others(rest)):
        return "thousands_in_note"
    if len(values) > 1 and not listed:
        return "several_numbers"
    if _ONE_SIDED.search(ABOUT.sub(" ", rest)):
        return "one_sided"
    return "list_or_decimals" if listed and _is_unclear_list(rest) else ""


def _is_unclear_list(rest: str) -> bool:
    """Tell whether commas part numbers in one place and may be decimal marks in another: ``30, 45,60``."""
    found = _LIST.search(rest)
    if found is None or ";" in found.group():
        return False
    text = found.group()
    return bool(re.search(r"\d,\d", text)) and bool(re.search(r"\d,\s|\d,\d+,", text))
