"""The kinds of values that a table of a job file may hold: how each is written, and what is none."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Mapping
from datetime import date, datetime
from fractions import Fraction
from typing import Any

from speedcal.statements import Key, Kind, not_known
from speedcal.units import display_unit_of, parse_speed_unit

_RATIO = re.compile(r"(\d{1,7}(?:\.\d{1,17})?)(?:\s*/\s*(\d{1,7}(?:\.\d{1,17})?))?")
_TEETH = (3, 100)
_FASTEST = 1000.0


class Counted(Fraction):
    """A ratio of two counts that is written with them: a box of 16 and 22 teeth is ordered as 16/22, not as 8/11."""

    __slots__ = ("_counts",)
    _counts: tuple[int, int]

    def __new__(cls, above: int, below: int) -> Counted:
        """Keep the counts beside their ratio."""
        self = super().__new__(cls, above, below)
        self._counts = (above, below)
        return self

    def __str__(self) -> str:
        return "{}/{}".format(*self._counts)

    def __reduce__(self) -> tuple[type[Counted], tuple[int, int]]:
        return type(self), self._counts


def parse_ratio(value: object) -> Fraction:
    """Return a positive ratio written as ``41/11``, ``41:11``, ``3.73`` or a number, exactly.

    Raises
    ------
    ValueError
        It is not a positive ratio.
    """
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise ValueError(f"{value!r} is not a ratio such as '41/11' or 3.73")
    text = str(value).strip().replace(":", "/").replace(",", ".")
    match = _RATIO.fullmatch(text)
    if match is None:
        raise ValueError(f"{text[:40]!r} is not a ratio such as '41/11' or 3.73")
    above, below = Fraction(match[1]), Fraction(match[2] or 1)
    if not above or not below:
        raise ValueError(f"{text!r} is not a positive ratio such as '41/11' or 3.73")
    is_counted = match[2] and above.denominator == below.denominator == 1 and below > 1
    return Counted(above.numerator, below.numerator) if is_counted else above / below


def parse_teeth(value: object) -> tuple[int, ...]:
    """Return tooth counts written as ``"21-45"``, ``"8, 9, 13-15"`` or a list of whole numbers, ascending.

    Raises
    ------
    ValueError
        They are not tooth counts between 3 and 100.
    """
    words = value.split(",") if isinstance(value, str) else value if isinstance(value, (list, tuple)) else []
    found: set[int] = set()
    for word in words:
        ends = str(word).strip().split("-")
        if not (1 <= len(ends) <= 2 and all(end.strip().isdecimal() for end in ends)):
            raise _no_teeth(value)
        low, high = int(ends[0]), int(ends[-1])
        if not _TEETH[0] <= low <= high <= _TEETH[1]:
            raise _no_teeth(value)
        found.update(range(low, high + 1))
    if not found:
        raise _no_teeth(value)
    return tuple(sorted(found))


def _no_teeth(value: object) -> ValueError:
    return ValueError(f"{value!r} should be teeth such as '21-45' or [8, 9, 13]")


class RefusedError(Exception):
    """A value that cannot be used: the code of what is wrong with it."""

    def __init__(self, code: str, **values: Any) -> None:
        self.code, self.values = code, values
        super().__init__(code)


_LARGEST = sys.float_info.max
"""Whole numbers can be larger, and then nothing can be worked out with them."""


def _is_number(value: object) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and abs(value) <= _LARGEST


def _text(value: Any, key: Key) -> str:
    if isinstance(value, bool) or not isinstance(value, (str, int, float)):
        raise RefusedError("not_a_text")
    return str(value).strip()


def _number(value: Any, key: Key) -> float:
    if not _is_number(value):
        raise RefusedError("not_a_number")
    _check_range(float(value), key)
    return float(value)


def _check_range(value: float | Fraction, key: Key) -> None:
    low = key.above if key.above is not None else key.least
    is_low = low is not None and (value <= low if key.above is not None else value < low)
    if is_low or (key.most is not None and value > key.most):
        raise RefusedError("out_of_range", above=key.above, least=key.least, most=key.most)


def _whole(value: Any, key: Key) -> int:
    if not _is_number(value) or value != int(value):
        raise RefusedError("not_whole", least=key.least, most=key.most)
    _check_range(int(value), key)
    return int(value)


def _ratio(value: Any, key: Key) -> Fraction:
    try:
        ratio = parse_ratio(value)
    except ValueError:
        raise RefusedError("not_a_ratio") from None
    _check_range(ratio, key)
    return ratio


def _flag(value: Any, key: Key) -> bool:
    if not isinstance(value, bool):
        raise RefusedError("not_true_or_false")
    return value


def _word(value: Any, key: Key) -> str:
    if value not in key.words:
        raise RefusedError("unknown_word", **not_known(value, key.words))
    return str(value)


def _speeds(value: Any, key: Key) -> tuple[float, ...]:
    numbers = isinstance(value, (list, tuple)) and all(_is_number(v) and 0 < v < _FASTEST for v in value)
    if not numbers or not value:
        raise RefusedError("not_speeds")
    return tuple(float(v) for v in value)


def _numbers(value: Any, key: Key) -> tuple[float, ...]:
    if not isinstance(value, (list, tuple)) or not value or not all(map(_is_number, value)):
        raise RefusedError("not_numbers")
    for number in value:
        _check_range(float(number), key)
    return tuple(sorted(map(float, value)))


def _range(value: Any, key: Key) -> tuple[float, float]:
    numbers = isinstance(value, (list, tuple)) and all(_is_number(v) and 0 <= v < _FASTEST for v in value)
    if not numbers or len(value) != 2 or value[0] > value[1]:
        raise RefusedError("not_a_range")
    return float(value[0]), float(value[1])


def _teeth(value: Any, key: Key) -> tuple[int, ...]:
    try:
        return parse_teeth(value)
    except ValueError:
        raise RefusedError("not_teeth") from None


def _date(value: Any, key: Key) -> str:
    """Return a date as ISO text; TOML has dates of its own."""
    if isinstance(value, datetime):
        value = value.date()
    try:
        return (value if isinstance(value, date) else date.fromisoformat(str(value).strip())).isoformat()
    except ValueError:
        raise RefusedError("not_a_date") from None


def _speed_unit(value: Any, key: Key) -> str:
    unit = parse_speed_unit(value) if isinstance(value, str) else None
    if unit is None:
        raise RefusedError("not_a_speed_unit")
    return unit


def _dial_unit(value: Any, key: Key) -> str:
    unit = parse_speed_unit(value) if isinstance(value, str) else None
    if unit is None or unit != display_unit_of(unit):
        raise RefusedError("not_a_dial_unit")
    return unit


def _table(value: Any, key: Key) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise RefusedError("not_a_table")
    return value


def _tables(value: Any, key: Key) -> list[Mapping[str, Any]]:
    if not isinstance(value, (list, tuple)) or not all(isinstance(item, Mapping) for item in value):
        raise RefusedError("not_tables")
    return list(value)


def _setting(value: Any, key: Key) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {"now": value}


def _family(value: Any, key: Key) -> str | Mapping[str, Any]:
    if not isinstance(value, (str, Mapping)):
        raise RefusedError("not_a_family")
    return value


READ: Mapping[Kind, Callable[[Any, Key], Any]] = {
    "text": _text, "file": _text, "number": _number, "whole": _whole, "ratio": _ratio, "flag": _flag, "word": _word,
    "speeds": _speeds, "range": _range, "teeth": _teeth, "date": _date, "dial unit": _dial_unit,
    "speed unit": _speed_unit, "table": _table, "tables": _tables, "setting": _setting, "family": _family,
    "numbers": _numbers,
}  # fmt: skip
"""Kind of a key to what returns its value, or refuses it."""
