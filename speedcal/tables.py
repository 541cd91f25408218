"""Reading a table of names and values that a person wrote (TOML, a form): every problem is said, in one message."""

from __future__ import annotations

import difflib
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any, NoReturn

from speedcal.errors import SpeedcalError, raise_problems

_RATIO = re.compile(r"(\d{1,7}(?:\.\d{1,17})?)(?:\s*/\s*(\d{1,7}(?:\.\d{1,17})?))?")


def nearest_name(name: str, known: Iterable[str]) -> str:
    """Return a hint that names the known word closest to ``name``, or all of them when none is close."""
    words = sorted(known)
    close = difflib.get_close_matches(name.strip().lower(), words, n=1, cutoff=0.6)
    return f"did you mean {close[0]!r}?" if close else "known are " + ", ".join(words)


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


class TableReader:
    """Takes values out of a table one by one and collects what is wrong with them.

    Parameters
    ----------
    table
        Names and values as parsed.
    known
        Every name that may stand in the table.
    where
        What the table is called in messages, such as ``[vehicle]``.
    """

    def __init__(self, table: Mapping[str, Any], known: Sequence[str], *, where: str) -> None:
        self.table, self.where = table, where
        self.problems: list[str] = [
            f"{where} has no {name!r}: {nearest_name(name, known)}" for name in table if name not in known
        ]

    def problem(self, key: str, text: str) -> None:
        """Note that the value of ``key`` cannot be used."""
        self.problems.append(f"{self.where} {key}: {text}")

    def text(self, key: str, default: str = "") -> str:
        """Return a text."""
        value = self.table.get(key, default)
        if not isinstance(value, str):
            self.problem(key, f"{value!r} should be a text in quotation marks")
            return default
        return value.strip()

    def number(self, key: str, *, low: float = 0.0, high: float = math.inf) -> float | None:
        """Return a finite number strictly above ``low`` and at most ``high``, or None when it is not given."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
            self.problem(key, f"{value!r} should be a number")
        elif not low < value <= high:
            self.problem(key, f"{value!r} should be above {low:g}" + (f" and at most {high:g}" if high < 1e300 else ""))
        else:
            return float(value)
        return None

    def whole(self, key: str, *, low: int = 1, high: int = 10**6) -> int | None:
        """Return a whole number from ``low`` to ``high``, or None when it is not given."""
        value = self.table.get(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, int) or not low <= value <= high:
            self.problem(key, f"{value!r} should be a whole number from {low} to {high}")
            return None
        return value

    def ratio(self, key: str) -> Fraction | None:
        """Return a ratio between 1/100 and 100, exactly, or None when it is not given."""
        if self.table.get(key) is None:
            return None
        try:
            ratio = parse_ratio(self.table[key])
        except ValueError as error:
            self.problem(key, str(error))
            return None
        if not Fraction(1, 100) <= ratio <= 100:
            self.problem(key, f"{self.table[key]!r} should be between 1/100 and 100")
            return None
        return ratio

    def flag(self, key: str) -> bool:
        """Return true or false; false when it is not given."""
        value = self.table.get(key, False)
        if not isinstance(value, bool):
            self.problem(key, f"{value!r} should be true or false")
            return False
        return value

    def word(self, key: str, known: Sequence[str], default: str | None = None) -> str | None:
        """Return one of the known words."""
        value = self.table.get(key, default)
        if value is None or value in known:
            return None if value is None else str(value)
        self.problem(key, f"{value!r} is not known: {nearest_name(str(value), known)}")
        return default

    def finish(self, *, source: str, kind: type[SpeedcalError], remedy: str = "") -> None:
        """Raise one error with every problem found; does nothing when there is none."""
        if self.problems:
            self._raise(source, kind, remedy)

    def _raise(self, source: str, kind: type[SpeedcalError], remedy: str) -> NoReturn:
        raise_problems([(None, text) for text in self.problems], source=source, remedy=remedy, kind=kind)
