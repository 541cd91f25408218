"""Positions, heights and times of every GPX file at hand, against gpxpy."""

from __future__ import annotations

import os
from pathlib import Path

import gpxpy
import numpy as np
import pytest
from support import documents
from support.logfiles import gpx_10, gpx_11, small_drive

from speedcal.logs import read_track

FILES = sorted(documents.ROOT.glob("data_demo/**/*.gpx"))
FILES += sorted(Path(os.environ["SPEEDCAL_DRIVES"]).glob("*/track.gpx")) if os.environ.get("SPEEDCAL_DRIVES") else []


def _compare(path: Path) -> None:
    document = gpxpy.parse(path.read_text(encoding="utf-8"))
    points = [p for recorded in document.tracks for segment in recorded.segments for p in segment.points]
    points = [p for i, p in enumerate(points) if i == 0 or p.time != points[i - 1].time]
    track = read_track(path)
    assert len(track) == len(points)
    np.testing.assert_array_equal(track.latitude_deg, [p.latitude for p in points])
    np.testing.assert_array_equal(track.longitude_deg, [p.longitude for p in points])
    of_a_timer = any(finding.code == "stamps_of_a_timer" for finding in track.findings)
    stamps = [p.time.timestamp() for p in points]
    np.testing.assert_allclose(track.time_s, stamps, rtol=0, atol=0.6 if of_a_timer else 1e-6)
    heights = [np.nan if p.elevation is None else p.elevation for p in points]
    np.testing.assert_array_equal(track.elevation_m, heights)


@pytest.mark.parametrize("path", FILES, ids=[f"{path.parent.name}/{path.name}" for path in FILES])
def test_files_are_read_as_by_gpxpy(path):
    """Where a stamp comes twice, the first fix."""
    _compare(path)


@pytest.mark.parametrize("write", [gpx_10, gpx_11])
def test_written_files_are_read_as_by_gpxpy(tmp_path, write):
    """Of both versions."""
    path = tmp_path / "drive.gpx"
    path.write_bytes(write(small_drive(200)))
    _compare(path)
