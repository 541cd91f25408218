"""Rows that a log took evenly and sent in bundles, each under the one stamp at which it was sent."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from benchmark.outside.drive import OutsideDrive
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.errors import ReadingsFormatError
from speedcal.finding import codes_of
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.readings_built import Shown, Stamps, build_readings
from speedcal.logs.source import Source
from speedcal.units import MPH_MPS


def _sent(taken_s: FloatArray, rows: int, late_s: float, rng: np.random.Generator) -> FloatArray:
    """Return the stamps of rows sent so many at a time, each bundle a little late, to the hundredth."""
    bundle = (np.arange(len(taken_s)) + int(rng.integers(rows))) // rows
    last = np.searchsorted(bundle, bundle, side="right") - 1
    return np.round(taken_s[last] + rng.uniform(0, late_s, bundle[-1] + 1)[bundle], 2)


def _read(stamp_s: FloatArray, speed: FloatArray) -> Readings:
    source = Source("log.csv", b"", "readings", ReadingsFormatError)
    shown = Shown(Stamps(stamp_s, "elapsed", 0.01), speed, "mph", range(2, len(speed) + 2))
    return build_readings(source, "table_commas", shown)


@pytest.mark.parametrize(
    ("every_s", "rows", "late_s", "written_s"),
    [(1.0, 10, 0.0, 0.0), (1.0, 10, 1.0, 0.0), (0.1, 50, 0.5, 0.0), (2.03, 6, 1.5, 0.0), (1.0, 5, 0.5, 0.01)],
)
def test_rows_sent_in_bundles_get_their_times_back(every_s: float, rows: int, late_s: float, written_s: float) -> None:
    """One bundle in fifteen was lost, the delay of half the latest is the clock's; rows may be stamped when written."""
    rng = np.random.default_rng(5)
    taken_s = 17.3 + every_s * np.arange(1200)
    speed = np.round(40 + 15 * np.sin(taken_s / 40))
    stamp_s = _sent(taken_s, rows, late_s, rng)
    kept = ~np.isin(stamp_s, np.unique(stamp_s)[5::15])
    place = np.arange(1200) - np.searchsorted(stamp_s, stamp_s, side="right")
    readings = _read((stamp_s + written_s * place)[kept], speed[kept])
    assert codes_of(readings.findings) == {"readings_in_bundles"}
    off_s = readings.time_s - taken_s[kept] - late_s / 2
    assert np.abs(off_s).max() < 0.01 + 0.6 * late_s
    assert np.sqrt(np.mean(off_s**2)) < 0.01 + 0.25 * late_s


def test_bundles_that_come_very_late_lie_between_those_about_them() -> None:
    taken_s = np.arange(600.0)
    stamp_s = _sent(taken_s, 12, 5.0, np.random.default_rng(2))
    readings = _read(stamp_s, np.round(40 + 15 * np.sin(taken_s / 40)))
    assert (np.diff(readings.time_s) > 0).all()
    assert np.abs(readings.time_s - taken_s - 2.5).max() < 3.0


def test_bundles_of_few_and_of_many_rows_are_told_by_the_time_they_take() -> None:
    """Sent when the line was free: two to eighteen rows at a time."""
    rng = np.random.default_rng(8)
    taken_s = 17.3 + np.arange(1200.0)
    ends = np.cumsum(rng.integers(2, 19, 200))
    bundle = np.searchsorted(ends, np.arange(1200), side="right")
    stamp_s = np.round(taken_s[np.minimum(ends[bundle] - 1, 1199)] + rng.uniform(0, 0.5, 200)[bundle], 2)
    readings = _read(stamp_s, np.round(40 + 15 * np.sin(taken_s / 40)))
    assert codes_of(readings.findings) == {"readings_in_bundles"}
    assert np.abs(readings.time_s - taken_s - 0.25).max() < 0.5


def test_uneven_bursts_of_one_moment_stay_what_they_are() -> None:
    """As many rows a burst as the time since the last, all of its end: what they show jumps from one to the next."""
    ends = np.cumsum(np.random.default_rng(9).integers(2, 19, 60))
    bundle = np.searchsorted(ends, np.arange(ends[-1]), side="right")
    readings = _read(ends[bundle] + 0.37, 40 + np.round(15 * np.sin(ends[bundle] / 20)) + np.arange(ends[-1]) % 9 // 8)
    assert "readings_in_bundles" not in codes_of(readings.findings)
    assert (np.abs(readings.time_s - ends[bundle] - 0.37) < 1).all()


def test_bursts_of_one_moment_stay_what_they_are() -> None:
    """Ten rows every ten seconds that hardly differ, while the speed changes from one ten to the next."""
    moment = np.arange(600) // 10
    readings = _read(10.0 * moment + 0.37, 40 + np.round(15 * np.sin(moment / 4)) + np.arange(600) % 10 // 9)
    assert "readings_in_bundles" not in codes_of(readings.findings)
    assert (readings.time_s - 10.0 * moment - 0.37 < 1).all()


def _in_bundles(drive: OutsideDrive, seed: int) -> OutsideDrive:
    stamp_s = _sent(drive.notes.stamp_s, 10, 0.5, np.random.default_rng(seed))
    return replace(drive, notes=replace(drive.notes, stamp_s=stamp_s, step_s=0.01))


def test_a_log_sent_in_bundles_is_answered_like_any_other() -> None:
    """At the moments of their stamps it would be refused."""
    held = []
    for seed in range(6):
        drive = outside_drive("log", (171, seed))
        result = speedcal.calibrate(*in_memory(_in_bundles(drive, seed)), **drive.kind.told)
        assert result.trust.word == "TRUSTED"
        assert float(result.half_width(50 * MPH_MPS)) < 0.15 * MPH_MPS
        off = result.indicated(50 * MPH_MPS) - drive.truth.reading(50 * MPH_MPS)
        held.append(abs(off) <= 1.5 * result.half_width(50 * MPH_MPS))
    assert all(held)
