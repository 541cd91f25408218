"""What loggers write where they have no speed: a word, a number below zero, the top of their scale."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import BoolArray, FloatArray
from speedcal.logs.drive.speed_physics import with_decimals
from speedcal.logs.tables.handwriting import misread
from speedcal.logs.writing.numbers import Numbers

_FEWEST, _MOST = 3, 0.5
"""How often a mark is written at least, and the share of a column from which it is the column that is wrong."""
_TOP_ABOVE = 1.3
"""How far the top of a scale lies above everything that was driven."""
_JUMP = 0.06
"""Change that no road vehicle makes in a second, as a share of the fastest there is: 10 m/s."""


def cleaned_speeds(
    numbers: Numbers,
    cells: Sequence[str],
    column: str,
    fastest: float,
    findings: list[Finding],
    time_s: FloatArray | None = None,
) -> FloatArray:
    """Return the numbers of a column of speeds without marks for nothing and with decimal marks put back.

    See :func:`blank_markers` and :func:`speedcal.logs.drive.speed_physics.with_decimals`; what they did is told.
    """
    marked = blank_markers(numbers, cells, fastest, time_s)
    if marked:
        findings.append(Finding("marks_for_nothing", column=column, count=marked))
    values, repaired, lost = with_decimals(numbers.values, cells, fastest)
    if repaired or lost:
        findings.append(Finding("decimals_lost", column=column, repaired=repaired, left_out=lost))
    return values


def blank_markers(numbers: Numbers, cells: Sequence[str], fastest: float, time_s: FloatArray | None) -> int:
    """Blank the cells that hold a mark instead of a speed, and return how many they are.

    A mark is the same wherever it stands and no speed: a word without figures, a number below zero or beyond every
    vehicle, or the highest number of the column, where it is reached and left by jumps that no vehicle makes.

    Parameters
    ----------
    numbers
        Of the column; its values and problems are changed.
    fastest
        The highest speed of a road vehicle, in the unit of the column.
    time_s
        Times of the rows; without them nothing is known of jumps.
    """
    words = [(i, " ".join(cells[i].lower().split())) for i, _ in numbers.problems if _is_word(cells[i])]
    known = Counter(word for _, word in words)
    worded = {i for i, word in words if known[word] >= _FEWEST}
    marked = _no_speeds(numbers.values, fastest)
    if time_s is not None:
        marked |= _tops(np.where(marked, np.nan, numbers.values), time_s, fastest)
    count = len(worded) + int(marked.sum())
    if count > _MOST * len(cells):
        return 0
    numbers.problems = [(i, problem) for i, problem in numbers.problems if i not in worded]
    numbers.values[marked] = np.nan
    return count


def _is_word(cell: str) -> bool:
    return not any(character.isdigit() for character in cell) and not misread(cell)


def _no_speeds(values: FloatArray, fastest: float) -> BoolArray:
    with np.errstate(invalid="ignore"):
        beyond = (values < 0) | (values > fastest)
    found, counts = np.unique(values[beyond], return_counts=True)
    return np.asarray(beyond & np.isin(values, found[counts >= _FEWEST]))


def _tops(values: FloatArray, time_s: FloatArray, fastest: float) -> BoolArray:
    """Return where the highest number stands, if nothing leads up to it and nothing down from it."""
    nowhere = np.zeros(len(values), bool)
    at = np.flatnonzero(np.isfinite(values) & np.isfinite(time_s))
    if len(at) < 2:
        return nowhere
    v, t = values[at], time_s[at]
    top = v == v.max()
    if top.sum() < _FEWEST or top.all() or v.max() < _TOP_ABOVE * v[~top].max():
        return nowhere
    edge = np.flatnonzero(top[1:] != top[:-1])
    if (np.abs(v[edge + 1] - v[edge]) < _JUMP * fastest * np.maximum(np.abs(t[edge + 1] - t[edge]), 1.0)).any():
        return nowhere
    nowhere[at[top]] = True
    return nowhere
