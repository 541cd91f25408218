"""Recorded drives, where they are at hand: nothing is lost, and every fix and reading is there."""

from __future__ import annotations

import csv
import os
import re
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest

from speedcal.calibration import calibrate
from speedcal.logs import read_readings, read_track
from speedcal.units import KMH_MPS

FOLDER = os.environ.get("SPEEDCAL_DRIVES", "")
pytestmark = pytest.mark.skipif(not FOLDER, reason="SPEEDCAL_DRIVES does not name a folder of recorded drives")
DRIVES = sorted(path.parent.name for path in Path(FOLDER).glob("*/track.gpx")) if FOLDER else [""]


@pytest.mark.parametrize("name", DRIVES)
def test_every_fix_of_a_recorded_drive_is_read(name):
    """Held against the text of the file, taken apart by a regular expression."""
    path = Path(FOLDER) / name / "track.gpx"
    track = read_track(path)
    text = path.read_text(encoding="utf-8")
    places = re.findall(r'<trkpt lat="([^"]+)" lon="([^"]+)"><time>([^<]+)</time>', text)
    once = [i for i in range(len(places)) if i == 0 or places[i][2] != places[i - 1][2]]
    assert len(track) == len(once)
    assert sum(track.dropped.values()) == len(places) - len(once), "a second fix of one time, nothing else"
    places = [places[i] for i in once]
    np.testing.assert_array_equal(track.latitude_deg, [float(lat) for lat, _, _ in places])
    np.testing.assert_array_equal(track.longitude_deg, [float(lon) for _, lon, _ in places])
    stamps = [datetime.fromisoformat(stamp).timestamp() for _, _, stamp in places]
    np.testing.assert_allclose(track.time_s, stamps, rtol=0, atol=_cut_by_s(track, name))
    speeds = re.findall(r"<gpxtpx:speed>([^<]+)<", text)
    known = track.speed_mps[np.isfinite(track.speed_mps)]
    np.testing.assert_array_equal(known, [float(speeds[i]) for i in once if speeds])


@pytest.mark.parametrize("name", DRIVES)
def test_every_reading_of_a_recorded_drive_is_read(name):
    """Held against the csv module."""
    path = Path(FOLDER) / name / "readings.csv"
    readings = read_readings(path)
    with path.open(encoding="utf-8", newline="") as stream:
        header, *rows = csv.reader(stream)
    factor = {"km/h": 1 / 3.6, "mph": 0.44704}[header[1].split()[-1].strip("()")]
    assert readings.dropped == {}
    np.testing.assert_allclose(readings.speed_mps, [float(row[1]) * factor for row in rows], rtol=1e-12)
    stamps = [datetime.fromisoformat(row[0]).timestamp() for row in rows]
    np.testing.assert_allclose(readings.time_s, stamps, rtol=0, atol=_cut_by_s(readings, name) or 1e-6)
    assert readings.clock == "utc"
    if all(float(row[1]).is_integer() for row in rows):
        assert readings.speed_resolution_mps == pytest.approx(factor)


def _cut_by_s(log, name):
    """How far a time may be from its stamp: where a free-running timer was cut to whole seconds, half of one."""
    timer = "stamps_of_a_timer" in {finding.code for finding in log.findings}
    assert timer == (name == "motorway_5s")
    return 0.6 if timer else 0.0


NATIVE = [
    ("race_lap/native.csv", 100, 0.998, 0.015, 0.4),
    ("car_dongle/native.txt", 50, 0.99, 0.01, 1.3),
    pytest.param("bicycle/native.fit", 24, 0.994, 0.006, None, marks=pytest.mark.benchmark),
]


@pytest.mark.parametrize(("name", "true_kmh", "ratio", "within", "clock_s"), NATIVE)
def test_the_files_of_the_loggers_themselves_give_what_a_careful_analysis_found(name, true_kmh, ratio, within, clock_s):
    """Without preparation: one file given as both. The figures stand beside the drives, by other means."""
    path = Path(FOLDER) / name
    found = calibrate(read_track(path), read_readings(path))
    shown = found.dial.indicated(true_kmh * KMH_MPS) / KMH_MPS
    assert shown / true_kmh == pytest.approx(ratio, abs=within)
    assert clock_s is None or found.clock_offset_s.value == pytest.approx(clock_s, abs=0.2)
