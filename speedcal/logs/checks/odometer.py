"""What an odometer or trip meter counted, and the true distance it counted over."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from speedcal.finding import Finding
from speedcal.interval import FloatArray
from speedcal.logs.checks.columns import Column
from speedcal.logs.checks.sheet import PLAUSIBLE, CheckSheet
from speedcal.logs.checks.truth import length_of, lengths
from speedcal.logs.writing.numbers import decimal_step
from speedcal.units import LENGTH_UNIT_M, SpeedUnit


@dataclass(frozen=True, eq=False)
class Counted:
    """Counted and true distance, one pair to a stretch; NaN in the rows between."""

    counted_m: FloatArray
    true_m: FloatArray
    step_m: float


def counted(sheet: CheckSheet, dial_unit: SpeedUnit) -> Counted:
    """Return what was counted over the distances of a sheet: by row, or from the first post to the last.

    Raises
    ------
    ReadingsFormatError
        Readings that go on from row to row stand beside distances that do not say from where.
    """
    post, distance, time = sheet.only("post"), sheet.only("distance"), sheet.only("time")
    start, end, one = (sheet.only(part) for part in ("odometer_start", "odometer_end", "odometer"))
    last = end or one
    along = post or distance
    over = time.over_m if time is not None and along is None else None
    if last is None or (along is None and over is None):
        return Counted(sheet.nothing, sheet.nothing, np.nan)
    word = "mi" if dial_unit == "mph" else "km"
    true = np.full(len(sheet.table.rows), over) if along is None else _metres(sheet, along, word)
    if sheet.only("dial") is None:
        word = _plausible_word(sheet, last, start, true, word)
    shown, step = _read(sheet, last, word)
    if start is not None:
        return Counted(shown - _read(sheet, start, word)[0], true, step)
    if post is not None:
        return _from_post_to_post(shown, true, step)
    known = np.isfinite(shown) & np.isfinite(true) & (true > 0)
    if not known.any():
        return Counted(sheet.nothing, sheet.nothing, np.nan)
    ratio = float(np.median(shown[known] / true[known]))
    if not PLAUSIBLE[0] <= ratio <= PLAUSIBLE[1]:
        sheet.source.fail("odometer_without_start", line=sheet.table.header_line, column=last.name)
    if known.sum() > 1 and _goes_on(shown[known]) and _goes_on(true[known]):  # counted from one start
        known[: np.flatnonzero(known)[-1]] = False
    return Counted(np.where(known, shown, np.nan), np.where(known, true, np.nan), step)


def _plausible_word(sheet: CheckSheet, last: Column, start: Column | None, true: FloatArray, usual: str) -> str:
    """Return the unit of length by which an odometer is plausible, the usual one where both or none are."""
    gone = sheet.numbers(last, grouped=True).values
    gone = gone - sheet.numbers(start, grouped=True).values if start else gone
    known = np.isfinite(gone) & np.isfinite(true) & (true > 0)
    if not known.any():
        return usual
    ratios = {word: np.median(gone[known] * LENGTH_UNIT_M[word] / true[known]) for word in ("mi", "km")}
    fits = [word for word, ratio in ratios.items() if PLAUSIBLE[0] <= ratio <= PLAUSIBLE[1]]
    return fits[0] if len(fits) == 1 else usual


def _goes_on(values: FloatArray) -> bool:
    return bool((np.diff(values) > 0).all())


def _metres(sheet: CheckSheet, column: Column, word: str) -> FloatArray:
    """Return true distances; one whose unit is not stated is that of the dial, as everything else in the file. [m]."""
    found = lengths(sheet, column, sheet.numbers(column))
    if len(found) == 1:
        return found[0][1]
    taken = next((f.values["taken"] for f in sheet.findings if f.values.get("column") == column.name), word)
    return dict(found)[taken.split()[0]]


def _read(sheet: CheckSheet, column: Column, word: str) -> tuple[FloatArray, float]:
    """Return the readings of an odometer and their step. [m]."""
    numbers = sheet.numbers(column, grouped=True)
    written = sheet.one_unit(column, length_of, column.length_m)
    metres = column.length_m or (length_of(written) if written else None)
    if metres is None:
        metres = LENGTH_UNIT_M[word]
        speed_unit = "mph" if word == "mi" else "km/h"
        sheet.findings.append(Finding("odometer_unit_assumed", length_unit=word, speed_unit=speed_unit))
    known = numbers.values[np.isfinite(numbers.values)]
    return numbers.values * metres, decimal_step(known) * metres


def _from_post_to_post(shown: FloatArray, post: FloatArray, step: float) -> Counted:
    """Return counted and true distance of each stretch between posts that goes one way without a reset."""
    total, true = np.full(len(shown), np.nan), np.full(len(shown), np.nan)
    for first, last in _stretches(shown, post):
        total[last], true[last] = shown[last] - shown[first], abs(post[last] - post[first])
    return Counted(total, true, step)


def _stretches(shown: FloatArray, post: FloatArray) -> Sequence[tuple[int, int]]:
    known = np.flatnonzero(np.isfinite(shown) & np.isfinite(post))
    found: list[tuple[int, int]] = []
    way = 0.0
    for here, there in pairwise(known):
        gone = float(np.sign(post[there] - post[here]))
        if gone == 0 or shown[there] <= shown[here]:
            way = 0.0
        elif gone == way:
            found[-1] = found[-1][0], int(there)
        else:
            found.append((int(here), int(there)))
            way = gone
    return [pair for pair in found if abs(post[pair[1]] - post[pair[0]]) > 0]
