"""Tables of a job file, read and checked by the statements of their keys."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Mapping
from datetime import date, datetime
from fractions import Fraction
from typing import Any

from speedcal.errors import Problem, SpeedcalError, raise_problems
from speedcal.statements import Key, Kind, not_a_key, not_known, stated
from speedcal.units import display_unit_of, parse_speed_unit

_RATIO = re.compile(r"(\d{1,7}(?:\.\d{1,17})?)(?:\s*/\s*(\d{1,7}(?:\.\d{1,17})?))?")
_TEETH = (3, 100)
_FASTEST = 1000.0


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
    return above / below


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


class _RefusedError(Exception):
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
        raise _RefusedError("not_a_text")
    return str(value).strip()


def _number(value: Any, key: Key) -> float:
    if not _is_number(value):
        raise _RefusedError("not_a_number")
    _check_range(float(value), key)
    return float(value)


def _check_range(value: float | Fraction, key: Key) -> None:
    low = key.above if key.above is not None else key.least
    is_low = low is not None and (value <= low if key.above is not None else value < low)
    if is_low or (key.most is not None and value > key.most):
        raise _RefusedError("out_of_range", above=key.above, least=key.least, most=key.most)


def _whole(value: Any, key: Key) -> int:
    if not _is_number(value) or value != int(value):
        raise _RefusedError("not_whole", least=key.least, most=key.most)
    _check_range(int(value), key)
    return int(value)


def _ratio(value: Any, key: Key) -> Fraction:
    try:
        ratio = parse_ratio(value)
    except ValueError:
        raise _RefusedError("not_a_ratio") from None
    _check_range(ratio, key)
    return ratio


def _flag(value: Any, key: Key) -> bool:
    if not isinstance(value, bool):
        raise _RefusedError("not_true_or_false")
    return value


def _word(value: Any, key: Key) -> str:
    if value not in key.words:
        raise _RefusedError("unknown_word", **not_known(value, key.words))
    return str(value)


def _speeds(value: Any, key: Key) -> tuple[float, ...]:
    numbers = isinstance(value, (list, tuple)) and all(_is_number(v) and 0 < v < _FASTEST for v in value)
    if not numbers or not value:
        raise _RefusedError("not_speeds")
    return tuple(float(v) for v in value)


def _numbers(value: Any, key: Key) -> tuple[float, ...]:
    if not isinstance(value, (list, tuple)) or not value or not all(map(_is_number, value)):
        raise _RefusedError("not_numbers")
    for number in value:
        _check_range(float(number), key)
    return tuple(sorted(map(float, value)))


def _range(value: Any, key: Key) -> tuple[float, float]:
    numbers = isinstance(value, (list, tuple)) and all(_is_number(v) and 0 <= v < _FASTEST for v in value)
    if not numbers or len(value) != 2 or value[0] > value[1]:
        raise _RefusedError("not_a_range")
    return float(value[0]), float(value[1])


def _teeth(value: Any, key: Key) -> tuple[int, ...]:
    try:
        return parse_teeth(value)
    except ValueError:
        raise _RefusedError("not_teeth") from None


def _date(value: Any, key: Key) -> str:
    """Return a date as ISO text; TOML has dates of its own."""
    if isinstance(value, datetime):
        value = value.date()
    try:
        return (value if isinstance(value, date) else date.fromisoformat(str(value).strip())).isoformat()
    except ValueError:
        raise _RefusedError("not_a_date") from None


def _speed_unit(value: Any, key: Key) -> str:
    unit = parse_speed_unit(value) if isinstance(value, str) else None
    if unit is None:
        raise _RefusedError("not_a_speed_unit")
    return unit


def _dial_unit(value: Any, key: Key) -> str:
    unit = parse_speed_unit(value) if isinstance(value, str) else None
    if unit is None or unit != display_unit_of(unit):
        raise _RefusedError("not_a_dial_unit")
    return unit


def _table(value: Any, key: Key) -> Mapping[str, Any]:
    if not isinstance(value, Mapping):
        raise _RefusedError("not_a_table")
    return value


def _tables(value: Any, key: Key) -> list[Mapping[str, Any]]:
    if not isinstance(value, (list, tuple)) or not all(isinstance(item, Mapping) for item in value):
        raise _RefusedError("not_tables")
    return list(value)


def _setting(value: Any, key: Key) -> Mapping[str, Any]:
    return value if isinstance(value, Mapping) else {"now": value}


def _family(value: Any, key: Key) -> str | Mapping[str, Any]:
    if not isinstance(value, (str, Mapping)):
        raise _RefusedError("not_a_family")
    return value


_READ: Mapping[Kind, Callable[[Any, Key], Any]] = {
    "text": _text, "file": _text, "number": _number, "whole": _whole, "ratio": _ratio, "flag": _flag, "word": _word,
    "speeds": _speeds, "range": _range, "teeth": _teeth, "date": _date, "dial unit": _dial_unit,
    "speed unit": _speed_unit, "table": _table, "tables": _tables, "setting": _setting, "family": _family,
    "numbers": _numbers,
}  # fmt: skip


class TableReader:
    """Reads a table that a person wrote by its statement, and collects what is wrong with it.

    Parameters
    ----------
    table
        Names and values as parsed; a value of None is as good as absent.
    statement
        Name of the statement, such as ``vehicle``.
    part
        Which of its parts the table is, where there are several.
    where
        What the table is called in a file; its statement's name without it, empty at the top of a file.

    Attributes
    ----------
    values
        The usable values by key; a text that is empty is left out.
    problems
        What cannot be used, in the order of the table.
    """

    def __init__(self, table: Mapping[str, Any], statement: str, *, part: str = "", where: str | None = None) -> None:
        self.table, self.where = table, statement if where is None else where
        self.keys = {key.name: key for key in stated(statement).part(part)}
        every = stated(statement).keys
        self.values: dict[str, Any] = {}
        self.problems: list[Problem] = []
        for name, value in table.items():
            if name not in self.keys:
                self.problems.append(
                    Problem("unknown_key", table=self.where, **not_a_key(name, self.keys if name in every else every))
                )
            elif value is not None:  # numbers and arrays of numpy and pandas are taken as Python's own
                self._read(self.keys[name], value.tolist() if hasattr(value, "tolist") else value)
        self._check_one_of()
        for key in self.keys.values():
            if key.needed and table.get(key.name) in (None, ""):
                self.problem("key_missing", key.name)

    def _read(self, key: Key, value: Any) -> None:
        try:
            read = _READ[key.kind](value, key)
        except _RefusedError as refused:
            self.problem(refused.code, key.name, **{"found": value, **refused.values})
        else:
            if read != "":
                self.values[key.name] = read

    def _check_one_of(self) -> None:
        groups: dict[str, list[str]] = {}
        for name in self.values:
            if self.keys[name].one_of:
                groups.setdefault(self.keys[name].one_of, []).append(name)
        for names in groups.values():
            if len(names) > 1:
                self.problem("said_twice", names[1], keys=names)

    def problem(self, code: str, key: str, /, **values: Any) -> None:
        """Note that the value of a key cannot be used."""
        self.problems.append(Problem(code, table=self.where, key=key, **values))

    def get(self, key: str, default: Any = None) -> Any:
        """Return the usable value of a key."""
        return self.values.get(key, default)

    def one_of(self, group: str) -> tuple[str, float] | None:
        """Return the name and the value of the one key of a group that is given, or None."""
        return next(((name, value) for name, value in self.values.items() if self.keys[name].one_of == group), None)

    def take(self, key: str, read: Callable[[Any], Any]) -> Any:
        """Return the value of a key as a room reads it further, or None; what that room refuses is noted here."""
        if key not in self.values:
            return None
        try:
            return read(self.values[key])
        except SpeedcalError as error:
            for problem in error.problems or [Problem(error.code, **error.values)]:
                is_placed = "table" in problem.values  # in a table of its own within this one
                self.problems.append(
                    problem if is_placed else Problem(problem.code, table=self.where, key=key, **problem.values)
                )
            return None

    def finish(self, *, source: str, kind: type[SpeedcalError]) -> None:
        """Raise one error with every problem found; does nothing when there is none."""
        if self.problems:
            raise_problems(self.problems, source=source, kind=kind)
