"""How long a calibration may take, with parsing of the same file as the yardstick."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from benchmark.speed import against_parsing, case, growth, reading
from support.logfiles import gpx_10, gpx_11, small_drive

from speedcal.simulate.files import render_gpx

pytestmark = pytest.mark.benchmark  # ratios of times mean something on a quiet machine only


@pytest.mark.parametrize(
    "name", ["an hour at 1 Hz with an hour's log", "an hour at 1 Hz, 40 readings, zone and date unknown"]
)
def test_calibrating_takes_no_longer_than_gpxpy_takes_to_parse_the_file(name: str) -> None:
    ours, theirs = against_parsing(case(name), repeats=3)
    assert ours < theirs


@pytest.mark.parametrize(
    "written",
    [
        lambda: render_gpx(case("an hour at 1 Hz with an hour's log").track).encode(),
        lambda: render_gpx(case("the same from positions only").track).encode(),
        lambda: gpx_10(small_drive(3600)),
        lambda: gpx_11(small_drive(3600)),
    ],
    ids=["indented, with speed", "indented, positions only", "1.0", "a line a point"],
)
def test_an_hour_is_read_in_a_third_of_the_time_of_gpxpy(tmp_path: Path, written: Callable[[], bytes]) -> None:
    path = tmp_path / "drive.gpx"
    path.write_bytes(written())
    ours, theirs = reading(path, repeats=3)
    assert ours < theirs / 3


@pytest.mark.parametrize("kind", ["logged", "noted"])
def test_cost_grows_no_faster_than_the_number_of_fixes(kind: str) -> None:
    """Ten times the fixes take ten times as long; up to 25 for caches and a busy machine; a square would be 100."""
    assert growth(kind, 200_000, repeats=2) < 25 * growth(kind, 20_000, repeats=3)
