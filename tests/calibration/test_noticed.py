"""What is said of readings beside an answer, on drives made apart from the package."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from benchmark.outside_score import in_memory, outside_drive

import speedcal
from speedcal.errors import AlignmentError
from speedcal.finding import codes_of

DRIVES = 12


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
