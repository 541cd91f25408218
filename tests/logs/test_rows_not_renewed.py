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
    rows = "\n".join(f"{1_900_000_000 + t},{v:g}" for t, v in enumerate(shown))
    (folder / "log.csv").write_text(f"time,speed (km/h)\n{rows}\n", encoding="utf-8")
    return speedcal.read_readings(folder / "log.csv")


def _kmh(time_s: FloatArray) -> FloatArray:
    """Return whole km/h of a speed that swings by 30 km/h within half a minute, and is held for the last minute."""
    return np.asarray(np.round(60 + 15 * np.sin(np.minimum(time_s, 240.0) / 4.1)))


def _on_a_gentle_road(seed: int) -> FloatArray:
    """Return half an hour of speeds that change by 0.6 km/h a second or so, now up and now down. [km/h]."""
    pushes = np.random.default_rng(seed).normal(size=1800)
    changes = np.convolve(pushes, np.exp(-np.arange(60) / 8), "same")
    return np.asarray(80 + np.cumsum(0.6 * (changes - changes.mean()) / changes.std()))


@pytest.mark.parametrize("every_s", [2, 3])
def test_a_figure_that_is_not_renewed_counts_once(tmp_path: Path, every_s: int) -> None:
    """Left are the rows at which the display was renewed, of the minute in which one speed is held too."""
    readings = _read(tmp_path, _kmh(TIME_S - TIME_S % every_s))
    assert readings.line.tolist() == list(range(2, 302, every_s))
    assert readings.dropped == {"not_renewed": 300 - 300 // every_s}


@pytest.mark.parametrize("every_s", [2.3, 3.4])
def test_a_figure_that_is_renewed_between_the_rows_counts_once(tmp_path: Path, every_s: float) -> None:
    """The last row of a longer rest was taken for a new figure: a quarter of the rows that were left were late."""
    shown = _kmh(np.floor(TIME_S / every_s) * every_s)[:240]
    kept = _read(tmp_path, np.concatenate((shown, np.full(60, shown[-1])))).line - 2
    kept = kept[kept < 240]
    late = shown[kept] == shown[kept - 1]
    assert late[1:].mean() < 0.1
    assert len(kept) > 0.85 * 240 / every_s


@pytest.mark.parametrize("seed", [2, 3])
def test_a_dial_of_mph_that_is_logged_in_whole_km_per_hour_loses_no_row(tmp_path: Path, seed: int) -> None:
    """It jumps by two km/h and rests as the speed does; half of the rows were taken for ones of an old figure."""
    mph = np.round(_on_a_gentle_road(seed) / 1.609344)
    assert len(_read(tmp_path, np.round(mph * 1.609344))) == 1800


@pytest.mark.parametrize("seed", [2, 3])
def test_a_display_that_moves_only_from_a_step_and_a_half_on_loses_no_row(tmp_path: Path, seed: int) -> None:
    """It is renewed with every row, and jumps where others take two steps."""
    speed = _on_a_gentle_road(seed)
    shown = [round(speed[0])]
    for kmh in speed[1:]:
        shown.append(round(kmh) if abs(kmh - shown[-1]) > 1.5 else shown[-1])
    assert len(_read(tmp_path, np.array(shown, float))) == 1800


def test_a_figure_that_is_renewed_with_every_row_counts_in_each(tmp_path: Path) -> None:
    assert len(_read(tmp_path, _kmh(TIME_S))) == 300


def test_a_slow_speed_that_stays_for_rows_is_no_figure_that_is_not_renewed(tmp_path: Path) -> None:
    """One km/h in two seconds: each figure stands twice, as the speed goes and not as the display is renewed."""
    assert len(_read(tmp_path, 40 + np.floor(np.abs(TIME_S - 150.0) / 2))) == 300
