"""A log that writes a row only where the shown speed changes says between them that it stayed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

import speedcal
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Fixes, Track, build_track
from speedcal.logs.source import Source

FACTOR, START_S = 1.06, 1_900_000_000.0


def _speed_mps(time_s: FloatArray, seed: int) -> FloatArray:
    """Return the speed of a drive of ten minutes: six speeds, held for a minute or two, a little unsteady."""
    rng = np.random.default_rng(seed)
    held = np.repeat(rng.permutation([9.0, 13.0, 17.0, 21.0, 25.0, 29.0]), 2)
    ramps = np.interp(time_s, np.ravel([(100.0 * i + 8, 100.0 * i + 96) for i in range(6)]), held)
    return np.asarray(ramps + 0.25 * np.sin(time_s / 7.3) + 0.15 * np.sin(time_s / 3.1 + 1))


def _shown_kmh(time_s: FloatArray, seed: int) -> FloatArray:
    return np.asarray(np.round(3.6 * FACTOR * _speed_mps(time_s, seed)))


def _read(folder: Path, time_s: FloatArray, shown: FloatArray) -> Readings:
    rows = "\n".join(f"{START_S + t:.1f},{v:g}" for t, v in zip(time_s, shown, strict=True))
    (folder / "log.csv").write_text(f"time,speed (km/h)\n{rows}\n", encoding="utf-8")
    return speedcal.read_readings(folder / "log.csv")


def _on_change(seed: int) -> tuple[FloatArray, FloatArray]:
    time = np.arange(0.0, 600.0, 0.1)
    shown = _shown_kmh(time, seed)
    first = np.diff(shown, prepend=-1.0) != 0
    return time[first], shown[first]


def _with_signs_of_life(seed: int) -> tuple[FloatArray, FloatArray]:
    """Return the same with a row wherever none came for 10 s."""
    time, shown = _on_change(seed)
    every = np.concatenate([np.arange(a, b, 10.0) for a, b in zip(time, np.append(time[1:], 600.0), strict=True)])
    return every, shown[np.searchsorted(time, every, side="right") - 1]


def _track(seed: int) -> Track:
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 600.0)
    fine = np.arange(0.0, 600.0, 0.1)
    way = np.interp(time, fine, np.cumsum(_speed_mps(fine, seed)) * 0.1) + 0.2 * rng.standard_normal(len(time))
    speed = _speed_mps(time, seed) + 0.05 * rng.standard_normal(len(time))
    fixes = Fixes(START_S + time, np.full(len(time), 1e-9), np.degrees(way / 6378137.0), speed_mps=speed)
    return build_track(Source("track.gpx", b"", "track", speedcal.errors.TrackFormatError), "gpx_1_1", fixes)


@pytest.mark.parametrize("rows", [_on_change, _with_signs_of_life])
def test_what_was_shown_between_the_rows_is_told_at_every_second(
    tmp_path: Path, rows: Callable[[int], tuple[FloatArray, FloatArray]]
) -> None:
    readings = _read(tmp_path, *rows(1))
    assert [finding.code for finding in readings.findings].count("rows_on_change") == 1
    assert np.diff(readings.time_s).max() <= 1.0 + 1e-6
    at = np.floor((readings.time_s - START_S) * 10 + 1e-3) / 10
    np.testing.assert_allclose(readings.speed_mps * 3.6, _shown_kmh(at, 1), atol=1e-6)


def test_a_log_that_rests_is_not_filled(tmp_path: Path) -> None:
    """Neither where it comes back with another speed, nor where it says nothing for long."""
    time, shown = _on_change(2)
    some = (time < 150) | (time > 230)
    jump = _read(tmp_path, time[some], shown[some])
    assert np.diff(jump.time_s).max() > 70
    long = _read(tmp_path, np.where(time > 300, time + 700, time), shown)
    assert np.diff(long.time_s).max() > 690


@pytest.mark.parametrize("every_s", [0.5, 1.0, 3.0])
def test_a_log_of_even_rows_stays_as_it_is(tmp_path: Path, every_s: float) -> None:
    time = np.arange(0.0, 600.0, every_s)
    readings = _read(tmp_path, time, _shown_kmh(time, 3))
    assert len(readings) == len(time)
    assert not readings.findings


def test_its_dial_is_that_of_the_drive(tmp_path: Path) -> None:
    """The rows alone lie half a step off whenever the speed changes, and are nearly silent where it is held."""
    for seed in range(4):
        result = speedcal.calibrate(_track(seed), _read(tmp_path, *_on_change(seed)), unit="km/h")
        assert str(result.trust) == "TRUSTED"
        assert result.error_factor.low - 0.001 < FACTOR < result.error_factor.high + 0.001
        assert result.error_factor.high - result.error_factor.low < 0.01


def test_a_log_that_looks_once_a_second_jumps_when_the_driver_brakes(tmp_path: Path) -> None:
    """At 2 m/s² the figure moves by seven km/h from row to row; held speeds move by one, and late."""
    time = np.arange(0.0, 900.0)
    held = np.array([10.0, 28.0, 12.0, 26.0, 8.0, 30.0, 14.0, 27.0, 9.0, 29.0])
    speed = np.interp(time, np.ravel([(90.0 * i + 9, 90.0 * i + 90) for i in range(10)]), np.repeat(held, 2))
    every = np.round(3.6 * (speed + 0.4 * np.sin(time / 7.3)))
    first = np.diff(every, prepend=-1.0) != 0
    assert (np.abs(np.diff(every[first])) > 3).mean() > 0.1
    readings = _read(tmp_path, time[first], every[first])
    assert "rows_on_change" in {finding.code for finding in readings.findings}
    at = np.round(readings.time_s - START_S).astype(int)
    np.testing.assert_allclose(readings.speed_mps * 3.6, every[at], atol=1e-6)
