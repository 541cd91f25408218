"""What is said of readings beside an answer, on drives made apart from the package."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.errors import AlignmentError
from speedcal.finding import codes_of
from speedcal.units import MPH_MPS

DRIVES = 5


def test_fives_of_the_mark_below_are_asked_about_until_somebody_says_so() -> None:
    """Half a step of 5 mph looks like a needle that sits 2.5 mph low: a good one must not be reseated."""
    asked = 0
    for seed in range(DRIVES):
        track, readings = in_memory(outside_drive("fives down", (311, seed)))
        try:
            untold, told = (speedcal.calibrate(track, readings, rounding=how) for how in (None, "down"))
        except AlignmentError:
            continue
        asked += "rounded_down" in untold.trust.codes
        assert "rounded_down" not in told.trust.codes
        assert {"rounded_down", "nearest_mark_taken"} & {*untold.trust.codes, *codes_of(untold.findings)}
        assert "nearest_mark_taken" not in codes_of(told.findings)
        if "rounded_down" in untold.trust.codes:
            assert abs(told.offset_mps.value) < abs(untold.offset_mps.value)
            first = speedcal.correct(untold, speedcal.Vehicle.from_dict({"driven_gear": 20})).advice[0]
            assert (first.action, [why.code for why in first.because]) == ("check_files", ["rounded_down"])
    assert asked >= DRIVES / 3  # of the others a needle that sits high hides it, or too few notes tell


def test_notes_in_whole_units_are_not_asked_for_their_rounding() -> None:
    for seed in range(DRIVES):
        result = speedcal.calibrate(*in_memory(outside_drive("notes, needle wrong", (311, seed))))
        assert "rounded_down" not in result.trust.codes
        assert "nearest_mark_taken" not in codes_of(result.findings)


def test_readings_beside_the_track_are_counted() -> None:
    """A track that ends at half of the notes tells the speed of the others."""
    track, readings = in_memory(outside_drive("notes", (311, 1)))
    half = slice(0, int(np.searchsorted(track.time_s, np.quantile(track.time_s, 0.5))))
    names = ("time_s", "latitude_deg", "longitude_deg", "elevation_m", "speed_mps", "segment")
    result = speedcal.calibrate(replace(track, **{name: getattr(track, name)[half] for name in names}), readings)
    (told,) = (finding for finding in result.findings if finding.code == "readings_beside_track")
    assert told.values["total"] == len(readings)
    assert told.values["count"] == int((result.readings["reason"] == "no_ground_speed").sum())
    assert 0.3 < told.values["count"] / len(readings) < 0.7
    whole = speedcal.calibrate(track, readings)
    assert "readings_beside_track" not in codes_of(whole.findings)


def test_one_slow_reading_beside_a_held_speed_does_not_tell_where_the_needle_sits(tmp_path: Path) -> None:
    """Twenty notes at 56 mph and one, misread by 6 mph, at 27: neither needle nor gear can be told from the other."""
    ramp = np.linspace(25, 12, 20)
    speed = np.tile(np.concatenate((np.full(400, 25.0), ramp, np.full(100, 12.0), ramp[::-1])), 2)
    speed += 0.4 * np.sin(np.arange(len(speed)) / 17)
    way = np.cumsum(speed) / 111_319.5  # degrees of the equator
    clock = [f"{10 + i // 3600}:{i // 60 % 60:02d}:{i % 60:02d}" for i in range(len(speed))]
    fixes = (f"2024-03-12T{t}Z,0,{x:.7f},{v:.2f}" for t, x, v in zip(clock, way, speed, strict=True))
    (tmp_path / "track.csv").write_text("\n".join(("time,latitude,longitude,gps speed m/s", *fixes)))
    at = [*range(20, 400, 19), 470]
    notes = (f"{clock[i]},{1.04 * speed[i] / MPH_MPS + (6 if i == 470 else 0):.0f}" for i in at)
    (tmp_path / "notes.csv").write_text("\n".join(("time,dial mph", *notes)))
    track, readings = speedcal.read_track(tmp_path / "track.csv"), speedcal.read_readings(tmp_path / "notes.csv")
    result = speedcal.calibrate(track, readings)
    assert "few_speeds" in result.trust.codes
    assert "needle_offset" not in codes_of(result.findings)
