"""Numbers as people and loggers write them: decimal comma, thousands, a unit behind the number."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from speedcal.interval import FloatArray
from speedcal.logs.stamps import MISSING
from speedcal.units import LENGTH_UNIT_M, parse_speed_unit

_PLAIN = re.compile(r"[-+]?(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40})(?:[eE][-+]?\d{1,3})?")
_WITH_UNIT = re.compile(r"([-+]?[\d., '\u00a0\u202f]{1,40})\s*([A-Za-zµ°][A-Za-z/. ]{0,20})?")
_GROUPED = {
    ",": re.compile(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?"),
    ".": re.compile(r"[-+]?\d{1,3}(?:\.\d{3})+(?:,\d+)?"),
    " ": re.compile(r"[-+]?\d{1,3}(?: \d{3})+(?:[.,]\d+)?"),
    "'": re.compile(r"[-+]?\d{1,3}(?:'\d{3})+(?:[.,]\d+)?"),
}


@dataclass(slots=True)
class Numbers:
    """Numbers of a column; NaN where a cell is empty or no number (then it is among the problems)."""

    values: FloatArray
    decimals: int = 0
    """Most digits behind the decimal mark."""
    units: tuple[str, ...] = ()
    """Different words that stand behind the numbers."""
    problems: list[tuple[int, str]] = field(default_factory=list)


def parse_numbers(cells: Sequence[str], *, decimal_comma: bool, grouped: bool = False) -> Numbers:
    """Return the numbers in a column of cells.

    Parameters
    ----------
    cells
        The cells, stripped.
    decimal_comma
        Whether the table writes 45,5; a single comma in a table that does not is then read as the decimal mark only
        where it cannot group thousands.
    grouped
        Whether thousands may be grouped (an odometer); a speed never is.
    """
    values = np.full(len(cells), np.nan)
    problems: list[tuple[int, str]] = []
    units: dict[str, None] = {}
    decimals = 0
    for i, cell in enumerate(cells):
        if _PLAIN.fullmatch(cell) and not (decimal_comma and grouped and _GROUPED["."].fullmatch(cell)):
            text, unit = cell, ""
        elif cell.lower() in MISSING:
            continue
        else:
            found = _WITH_UNIT.fullmatch(cell)
            plain = _plain(found.group(1).strip(), decimal_comma=decimal_comma, grouped=grouped) if found else None
            if found is None or plain is None or not _is_known(found.group(2)):
                problems.append((i, f"{cell!r} is no number"))
                continue
            text, unit = plain, (found.group(2) or "").strip()
        if unit:
            units.setdefault(unit)
        values[i] = float(text)
        if not np.isfinite(values[i]):
            problems.append((i, f"{cell!r} is no number"))
            values[i] = np.nan
        decimals = max(decimals, len(text.partition(".")[2])) if "e" not in text.lower() else decimals
    return Numbers(values, decimals, tuple(units), problems)


def _is_known(unit: str | None) -> bool:
    """Tell whether the word behind a number is a unit of speed or length, or there is none."""
    word = (unit or "").strip()
    return not word or parse_speed_unit(word) is not None or word.lower() in LENGTH_UNIT_M


def _plain(text: str, *, decimal_comma: bool, grouped: bool) -> str | None:
    """Return a number in the form that Python reads, None when it is none."""
    text = text.replace("\u00a0", " ").replace("\u202f", " ")
    if _PLAIN.fullmatch(text) and not (decimal_comma and grouped):
        return text
    if grouped:
        for mark, pattern in _GROUPED.items():
            other = "." if mark == "," else ","
            if pattern.fullmatch(text) and not (mark == "," and decimal_comma and text.count(",") == 1):
                return text.replace(mark, "").replace(other, ".")
    if _PLAIN.fullmatch(text):
        return text
    swapped = text.replace(",", ".")
    return swapped if text.count(",") == 1 and _PLAIN.fullmatch(swapped) else None
