"""Times of a run as a stopwatch shows them and as people write them down."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from speedcal.errors import Problem
from speedcal.interval import FloatArray
from speedcal.logs.tables.tabular import is_missing
from speedcal.logs.writing.patterns import late_pattern

_SECOND = r"(?P<s>\d{1,5})(?:[.,](?P<f>\d{1,9}))?"
_FORMS = (
    late_pattern(_SECOND + r"\s*(?P<word>s|secs?|seconds?|min|mins|minutes?)?\.?", re.IGNORECASE),
    late_pattern(r"(?P<m>\d{1,3}):" + _SECOND.replace("{1,5}", "{2}")),
    late_pattern(
        r"(?P<m>\d{1,3})\s*(?:'|′|m|min|mins|minutes?)\.?\s*" + _SECOND + r"\s*(?:\"|″|''|s|secs?|seconds?)?\.?", re.I
    ),
)
_THREE = late_pattern(r"(?P<a>\d{1,2}):(?P<b>\d{2}):(?P<c>\d{2})(?:[.,](?P<f>\d{1,9}))?")


@dataclass(frozen=True, slots=True)
class RunTimes:
    """Times of runs, each way in which they can be meant; NaN where nothing is written."""

    meant: tuple[FloatArray, ...]
    """In seconds; the likeliest first."""
    step_s: tuple[float, ...]
    """Step in which they are written, for each way."""
    problems: tuple[tuple[int, Problem], ...]
    """Index of a bad cell and what is wrong with it."""


def run_times(cells: Sequence[str], header: str) -> RunTimes:
    """Return the times in a column of cells: ``63.2``, ``1:03.2``, ``1 min 3 s``, ``0:01:03``.

    Three numbers are hours, minutes and seconds, or minutes, seconds and hundredths as a stopwatch shows them: both
    are returned.
    """
    in_minutes = re.search(r"(?<![a-z])min(?:ute)?s?(?![a-z:])", header.lower()) is not None
    first, second = np.full(len(cells), np.nan), np.full(len(cells), np.nan)
    steps: list[tuple[float, float]] = []
    problems = []
    for i, cell in enumerate(cells):
        if is_missing(cell):
            continue
        found = _three(cell) or _two(cell, in_minutes=in_minutes)
        if found is None or found[0][0] <= 0:
            problems.append((i, Problem("not_a_run_time", found=cell)))
            continue
        (first[i], one), (second[i], other) = found
        steps.append((one, other))
    if not steps or np.array_equal(first, second, equal_nan=True):
        return RunTimes((first,), (min((one for one, _ in steps), default=np.nan),), tuple(problems))
    each = tuple(min(step[k] for step in steps) for k in (0, 1))
    return RunTimes((first, second), each, tuple(problems))


_Found = tuple[tuple[float, float], tuple[float, float]]


def _three(cell: str) -> _Found | None:
    """Return seconds and step of ``a:b:c`` as hours, minutes, seconds and as minutes, seconds, hundredths."""
    found = _THREE.fullmatch(cell)
    if found is None:
        return None
    a, b, c = (int(found[name]) for name in "abc")
    fraction, step = _fraction(found["f"])
    clock = 3600 * a + 60 * b + c + fraction, step
    return (clock, clock) if found["f"] else (clock, (60 * a + b + c / 100, 0.01))


def _two(cell: str, *, in_minutes: bool) -> _Found | None:
    for form in _FORMS:
        found = form.fullmatch(cell)
        if found is None:
            continue
        parts = found.groupdict()
        fraction, step = _fraction(parts["f"])
        value = int(parts["s"]) + fraction
        word = (parts.get("word") or "").lower()
        if "m" in parts:
            value += 60 * int(parts["m"])
        elif word.startswith("m") or (in_minutes and not word):
            value, step = 60 * value, 60 * step
        return (value, step), (value, step)
    return None


def _fraction(digits: str | None) -> tuple[float, float]:
    return (float(f"0.{digits}"), 10.0 ** -len(digits)) if digits else (0.0, 1.0)
