"""Numbers as people and loggers write them, and the step in which they were written down."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from speedcal.errors import Problem
from speedcal.interval import FloatArray
from speedcal.logs import limits
from speedcal.logs.writing.patterns import late_pattern
from speedcal.units import LENGTH_UNIT_M, SPEED_UNIT_MPS, SpeedUnit, parse_speed_unit

MISSING = frozenset({"", "-", "--", "---", "–", "—", "na", "n/a", "nan", "null", "none", "?", "#n/a", "n.a."})
"""What people and loggers write for a value that is not there, in lower case."""

_PLAIN = late_pattern(r"[-+]?(?:\d{1,40}(?:\.\d{0,40})?|\.\d{1,40})(?:[eE][-+]?\d{1,3})?")
_WITH_UNIT = late_pattern(r"([-+]?[\d., '\u00a0\u202f]{1,40}(?:[eE][-+]?\d{1,3})?)\s*([^\W\d_][^\d_]{0,20})?")
_GROUPED = {
    ",": late_pattern(r"[-+]?\d{1,3}(?:,\d{3})+(?:\.\d+)?"),
    ".": late_pattern(r"[-+]?\d{1,3}(?:\.\d{3})+(?:,\d+)?"),
    " ": late_pattern(r"[-+]?\d{1,3}(?: \d{3})+(?:[.,]\d+)?"),
    "'": late_pattern(r"[-+]?\d{1,3}(?:'\d{3})+(?:[.,]\d+)?"),
}


@dataclass(slots=True)
class Numbers:
    """Numbers of a column; NaN where a cell is empty or no number (then it is among the problems)."""

    values: FloatArray
    decimals: int = 0
    """Most digits behind the decimal mark."""
    units: tuple[str, ...] = ()
    """Different words that stand behind the numbers."""
    problems: list[tuple[int, Problem]] = field(default_factory=list)
    """Index of a bad cell and what is wrong with it."""
    late: int | None = None
    """Index of the first cell with a unit, where `named_late` says that it may not hold for the others."""


def named_late(named: Sequence[bool]) -> int | None:
    """Return where a unit is first named, if that is amid the numbers and beside fewer than half; else None.

    A unit at the first or the last number of a list holds for all. One amid bare numbers may be meant for itself.
    """
    late = any(named) and not (named[0] or named[-1]) and 2 * sum(named) < len(named)
    return list(named).index(True) if late else None


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
    known: dict[str, float] = dict.fromkeys(cells, math.nan)  # most speeds of a log are written many times
    bad: set[str] = set()
    units: dict[str, None] = {}
    united: set[str] = set()
    decimals = 0
    for cell in known:
        if _PLAIN.fullmatch(cell) and not (decimal_comma and grouped and _GROUPED["."].fullmatch(cell)):
            text, unit = cell, ""
        elif cell.lower() in MISSING:
            continue
        else:
            found = _WITH_UNIT.fullmatch(cell)
            plain = _plain(found.group(1).strip(), decimal_comma=decimal_comma, grouped=grouped) if found else None
            if found is None or plain is None or not _is_known(found.group(2)):
                bad.add(cell)
                continue
            text, unit = plain, (found.group(2) or "").strip()
        if unit:
            units.setdefault(unit)
            united.add(cell)
        value = float(text)
        if math.isfinite(value):
            known[cell] = value
        else:
            bad.add(cell)
        decimals = max(decimals, len(text.partition(".")[2])) if "e" not in text.lower() else decimals
    values = np.array([known[cell] for cell in cells], float)
    problems = [
        (i, Problem("cell_not_a_number" if cell.strip("#") else "cell_too_narrow", found=cell))
        for i, cell in enumerate(cells)
        if cell in bad
    ]
    numbers = np.flatnonzero(np.isfinite(values)).tolist() if units else []
    late = named_late([cells[i] in united for i in numbers])
    return Numbers(values, decimals, tuple(units), problems, None if late is None else numbers[late])


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


_SPEED_STEPS = (
    (10.0, 0.9, 12),
    (5.0, 0.85, 8),
    (5.0, 1.0, 4),
    (2.0, 0.95, 16),
    (1.0, 0.6, 1),
    (0.5, 0.85, 8),
    (0.1, 0.6, 1),
    (0.01, 0.6, 1),
)
"""Step, share of the values that must be multiples of it, and how many values there must be at least.

The shares leave room for wrong readings (a swapped digit) and for values that a logger interpolated; the counts make
it less than one in a hundred that values written in a finer step look like this by chance.
"""


def speed_step(speeds: FloatArray, unit: SpeedUnit, *, held: bool) -> float:
    """Return the step in which speeds were read or logged. [m/s].

    Parameters
    ----------
    speeds
        As written, in ``unit``.
    unit
        Unit of the values. A logger may have converted whole km/h or mph to it; then the step is one of those.
    held
        True when the speeds were held at round numbers on purpose: that they are multiples of 5 then says nothing.
    """
    moving = speeds[speeds != 0]
    if not len(moving):
        return SPEED_UNIT_MPS[unit]
    step = _step(moving, coarse=not held)
    if step >= 0.1:
        return step * SPEED_UNIT_MPS[unit]
    other: SpeedUnit
    for other in ("km/h", "mph"):
        converted = moving * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other]
        whole = np.abs(converted - np.round(converted)) <= step * SPEED_UNIT_MPS[unit] / SPEED_UNIT_MPS[other] + 1e-9
        if other != unit and step <= 0.02 and len(moving) >= 8 and whole.mean() >= 0.95:
            return SPEED_UNIT_MPS[other]
    return step * SPEED_UNIT_MPS[unit]


def _step(values: FloatArray, *, coarse: bool) -> float:
    for step, share, count in _SPEED_STEPS:
        if step > 1 and not coarse:
            continue
        if len(values) >= count and is_multiple(values, step).mean() >= share:
            return step
    return 0.001


def is_multiple(values: FloatArray, step: float) -> FloatArray:
    """Return 1.0 where a value is a multiple of the step (to a part in a thousand of it), else 0.0."""
    ratio = values / step
    return np.asarray(np.abs(ratio - np.round(ratio)) < 1e-3 + 1e-9 * np.abs(ratio), float)


def time_step(times_s: FloatArray, written_s: float) -> float:
    """Return the step of the times: as written, or coarser when every one of at least five is a multiple of it."""
    times = times_s[np.isfinite(times_s)]
    if len(times) >= 5:
        for step in (60.0, 1.0, 0.1, 0.01, 0.001):
            if step > written_s and np.abs(times / step - np.round(times / step)).max() * step < 2e-6:
                return step
    return written_s


_RECORDED_UNITS: tuple[SpeedUnit, ...] = ("km/h", "mph", "kn", "m/s")
_LARGEST_STEPPED = 1e9
_FEWEST_RECORDED, _SHARE_RECORDED = 20, 0.97


def recorded_step(speed_mps: FloatArray) -> float:
    """Return the step of recorded speeds: a whole km/h, mph, knot or m/s, or a half of one; 0 where it is finer. [m/s].

    The speeds may have been converted and written with three decimals since, so a thousandth of a m/s is allowed for.
    """
    moving = speed_mps[(speed_mps > 0) & (speed_mps <= limits.FASTEST_MPS)]
    if len(moving) < _FEWEST_RECORDED:
        return 0.0
    for part in (1.0, 0.5):
        for unit in _RECORDED_UNITS:
            step = part * SPEED_UNIT_MPS[unit]
            near = np.abs(moving - step * np.round(moving / step)) <= 0.6e-3 + 1e-9
            if near.mean() >= _SHARE_RECORDED:
                return step
    return 0.0


def decimal_step(values: FloatArray) -> float:
    """Return the power of ten that numbers were rounded to, 0 where it is below 1e-9."""
    known = values[np.isfinite(values) & (np.abs(values) < _LARGEST_STEPPED)]
    for decimals in range(10) if len(known) else ():
        if (np.abs(known * 10.0**decimals - np.round(known * 10.0**decimals)) < 1e-4 + 1e-12 * 10.0**decimals).all():
            return float(10.0**-decimals)
    return 0.0
