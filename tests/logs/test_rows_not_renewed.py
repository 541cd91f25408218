"""Of a log that asks oftener than its display is renewed the first row of each figure counts."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import speedcal
from speedcal.interval import FloatArray
from speedcal.logs.drive.readings import Readings

TIME_S = np.arange(300.0)


def _read(folder: Path, shown: FloatArray) -> Readings:
    rows = "\n".join(f"{1_900_000_000 + t:.0f},{v:g}" for t, v in zip(TIME_S, shown, strict=True))
    (folder / "log.csv").write_text(f"time,speed (km/h)\n{rows}\n", encoding="utf-8")
    return speedcal.read_readings(folder / "log.csv")


def _kmh(time_s: FloatArray) -> FloatArray:
    """Return whole km/h of a speed that swings by 30 km/h within half a minute, and is held for the last minute."""
    return np.asarray(np.round(60 + 15 * np.sin(np.minimum(time_s, 240.0) / 4.1)))


@pytest.mark.parametrize("every_s", [2, 3])
def test_a_figure_that_is_not_renewed_counts_once(tmp_path: Path, every_s: int) -> None:
    """Left are the rows at which the display was renewed, of the minute in which one speed is held too."""
    readings = _read(tmp_path, _kmh(TIME_S - TIME_S % every_s))
    assert readings.line.tolist() == list(range(2, 302, every_s))
    assert readings.dropped == {"not_renewed": 300 - 300 // every_s}


def test_a_figure_that_is_renewed_with_every_row_counts_in_each(tmp_path: Path) -> None:
    assert len(_read(tmp_path, _kmh(TIME_S))) == 300


def test_a_slow_speed_that_stays_for_rows_is_no_figure_that_is_not_renewed(tmp_path: Path) -> None:
    """One km/h in two seconds: each figure stands twice, as the speed goes and not as the display is renewed."""
    assert len(_read(tmp_path, 40 + np.floor(np.abs(TIME_S - 150.0) / 2))) == 300
