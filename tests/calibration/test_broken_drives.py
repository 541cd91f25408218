"""Drives of every kind made apart from the package, broken in several ways: an answer or words, never a crash.

Warnings are errors in this test run. Memory is held to what a small machine has.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import fields, replace
from typing import TypeVar

import numpy as np
import pytest
from benchmark.outside.drive import Notes
from benchmark.outside.kinds import KINDS
from benchmark.outside.receiver import Fixes
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.errors import SpeedcalError
from speedcal.interval import BoolArray, FloatArray, IntArray

resource = pytest.importorskip("resource")  # only where a process can be held to its memory
DAY_S = 86400.0
GIB = 2**30
Rng = np.random.Generator
T = TypeVar("T", Fixes, Notes)


def _only(rows: T, keep: BoolArray | IntArray) -> T:
    columns = {f.name: getattr(rows, f.name) for f in fields(rows)}
    return replace(rows, **{name: value[keep] for name, value in columns.items() if isinstance(value, np.ndarray)})


def _without_a_part(rows: T, count: int, rng: Rng) -> T:
    first = int(rng.integers(1, count))
    return _only(rows, np.delete(np.arange(count), np.arange(first, min(count, first + int(rng.integers(1, count))))))


def _some(rows: T, count: int, rng: Rng) -> T:
    return _only(rows, np.sort(rng.choice(count, int(rng.integers(2, count)), replace=False)))


def _later(time_s: FloatArray, rng: Rng, steps_s: tuple[float, ...]) -> FloatArray:
    """Return times that jump at some place."""
    return np.asarray(time_s + rng.choice(steps_s) * (np.arange(len(time_s)) >= rng.integers(len(time_s))))


def _repeated(time_s: FloatArray, rng: Rng) -> FloatArray:
    return np.where(rng.random(len(time_s)) < 0.4, rng.choice(time_s), time_s)


def _often(values: FloatArray, rng: Rng, value: float) -> FloatArray:
    return np.where(rng.random(len(values)) < rng.random(), value, values)


TRACK: list[Callable[[Fixes, int, Rng], Fixes]] = [
    lambda fixes, _, __: fixes,
    _without_a_part,
    _some,
    lambda fixes, n, rng: _only(fixes, rng.permutation(n)),
    lambda fixes, n, rng: _only(fixes, np.arange(min(n, int(rng.integers(2, 40))))),
    lambda fixes, n, _: replace(fixes, speed_mps=np.full(n, np.nan)),
    lambda fixes, n, rng: replace(fixes, speed_mps=np.full(n, rng.choice([0.0, 20.0, 1000.0]))),
    lambda fixes, _, rng: replace(fixes, speed_mps=_often(fixes.speed_mps, rng, 0.0)),
    lambda fixes, _, rng: replace(fixes, speed_mps=fixes.speed_mps * rng.choice([-1, 3.6, 2.237, 1e-3, 100])),
    lambda fixes, _, rng: replace(
        fixes, time_s=_later(fixes.time_s, rng, (-3600, -5, 5, 3600, DAY_S, 400 * DAY_S, 1e9))
    ),
    lambda fixes, _, rng: replace(fixes, time_s=_repeated(fixes.time_s, rng)),
    lambda fixes, _, __: replace(fixes, time_s=np.round(fixes.time_s / 60) * 60),
    lambda fixes, n, _: _only(
        replace(fixes, latitude_deg=np.full(n, 3.0), longitude_deg=np.full(n, 3.0)), np.arange(n)
    ),
    lambda fixes, n, rng: replace(
        fixes, latitude_deg=fixes.latitude_deg + rng.choice([1e-3, 30]) * (rng.random(n) < 0.1)
    ),
]
READINGS: list[Callable[[Notes, int, Rng], Notes]] = [
    lambda notes, _, __: notes,
    _without_a_part,
    _some,
    lambda notes, n, rng: _only(notes, rng.permutation(n)),
    lambda notes, n, rng: _only(notes, np.repeat(np.arange(n), rng.integers(2, 4))),
    lambda notes, n, rng: replace(notes, value=np.full(n, rng.choice([0.0, 30.0, -5.0, 400.0]))),
    lambda notes, _, rng: replace(notes, value=_often(notes.value, rng, rng.choice([0.0, np.nan]))),
    lambda notes, _, rng: replace(notes, value=notes.value * rng.choice([0.5, 2, 1.609, 0.01, -1, 10])),
    lambda notes, _, rng: replace(
        notes, value=np.clip(notes.value, low := rng.uniform(0, 80), low + rng.uniform(0, 20))
    ),
    lambda notes, _, rng: replace(notes, value=np.round(notes.value / (step := rng.choice([5, 10, 20]))) * step),
    lambda notes, _, rng: replace(notes, stamp_s=_later(notes.stamp_s, rng, (-3600, -30, 15, 30, 3600, DAY_S))),
    lambda notes, _, rng: replace(notes, stamp_s=_repeated(notes.stamp_s, rng)),
    lambda notes, n, _: replace(notes, stamp_s=np.full(n, notes.stamp_s[0])),
    lambda notes, _, rng: replace(notes, stamp_s=_often(notes.stamp_s, rng, np.nan)),
    lambda notes, n, _: replace(notes, clock="none", stamp_s=np.full(n, np.nan)),
    lambda notes, _, rng: replace(
        notes, stamp_s=np.floor(notes.stamp_s / (step := float(rng.choice([10, 30, 60, 3600])))) * step, step_s=step
    ),
]


@pytest.fixture(autouse=True)
def _little_memory() -> Iterator[None]:
    """Hold the process to four gigabytes of address space while it lasts."""
    before = resource.getrlimit(resource.RLIMIT_AS)
    resource.setrlimit(resource.RLIMIT_AS, (4 * GIB, before[1]))
    yield
    resource.setrlimit(resource.RLIMIT_AS, before)


@pytest.mark.parametrize("part", range(8))
def test_a_broken_drive_has_an_answer_or_words(part: int) -> None:
    """Six drives: finite numbers, or a refusal that says what to do."""
    kinds = list(KINDS)
    for number in range(6 * part, 6 * part + 6):
        rng = np.random.default_rng([17, number])
        drive = outside_drive(kinds[int(rng.integers(len(kinds)))], (17, number))
        fixes, notes = drive.fixes, drive.notes
        for _ in range(int(rng.integers(1, 3))):
            if len(fixes.time_s) > 2:
                fixes = TRACK[int(rng.integers(len(TRACK)))](fixes, len(fixes.time_s), rng)
            if len(notes.value) > 2:
                notes = READINGS[int(rng.integers(len(READINGS)))](notes, len(notes.value), rng)
        with suppress(SpeedcalError):
            result = speedcal.calibrate(*in_memory(replace(drive, fixes=fixes, notes=notes)))
            assert np.isfinite([result.error_factor.low, result.error_factor.high]).all()


@pytest.mark.parametrize(("kind", "change"), [("log, 10 Hz", 14), ("cruise", 3), ("other drive, stopwatch", 5)])
def test_what_once_crashed_is_answered_or_refused_in_words(kind: str, change: int) -> None:
    """A log without its times, rows to the minute without their order, one figure all the way."""
    drive = outside_drive(kind, (17, 0))
    notes = READINGS[change](drive.notes, len(drive.notes.value), np.random.default_rng(1))
    if change == 3:
        notes = replace(notes, stamp_s=np.floor(notes.stamp_s / 60) * 60, step_s=60.0)
    with suppress(SpeedcalError):
        speedcal.calibrate(*in_memory(replace(drive, notes=notes)))
