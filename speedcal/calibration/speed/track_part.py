"""The part of a track of weeks that its readings can be of.

A receiver that has not seen its first satellites may stamp fixes with a date years ago, and a tracker keeps the drives
of months in one file. What is asked second by second is asked for the days of the readings alone.
"""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np

from speedcal.calibration.tuning.track import DAYS_OF_READINGS_S, LONGEST_TRACK_S, MOST_OF_TRACK
from speedcal.errors import AlignmentError, FitError
from speedcal.finding import Finding
from speedcal.interval import BoolArray, median
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track

_DAY_S = 86400.0


def days_of(track: Track, readings: Readings, clock_offset_s: float | None) -> Track:
    """Return a track without the fixes that lie days away from its readings, which a finding tells.

    One that lasts for no more than weeks comes back as it is.

    Parameters
    ----------
    clock_offset_s
        What must be added to the clock of the readings, if it is known. [s]

    Raises
    ------
    AlignmentError
        No fix lies within days of readings that state their date.
    FitError
        The readings state no date, and the track has fixes of several times.
    """
    if not len(track) or np.ptp(track.time_s) <= LONGEST_TRACK_S:
        return track
    known = readings.time_s[np.isfinite(readings.time_s)]
    if track.has_date and readings.clock in ("utc", "local", "gps") and len(known):
        said = known + (clock_offset_s or 0.0)
        keep = np.abs(track.time_s - median(said)) <= DAYS_OF_READINGS_S
        if keep.sum() < 2:
            raise AlignmentError(
                "no_common_time",
                source=readings.source,
                clock=readings.clock,
                ends_before_s=max(0.0, float(track.time_s[0] - said.max())),
                begins_after_s=max(0.0, float(said.min() - track.time_s[-1])),
            )
    else:
        keep = _together(track)
        if keep.mean() < MOST_OF_TRACK:
            raise FitError("track_of_weeks", source=track.source, lasts_s=float(np.ptp(track.time_s)))
    left = Finding("fixes_of_other_days", count=int((~keep).sum()))
    return replace(_only(track, keep), findings=(*track.findings, left))


def _together(track: Track) -> BoolArray:
    """Tell which fixes are of the days that have most of them."""
    part = np.cumsum(np.diff(track.time_s, prepend=track.time_s[0]) > _DAY_S)
    return np.asarray(part == int(np.argmax(np.bincount(part))))


def _only(track: Track, keep: BoolArray) -> Track:
    rows = {
        entry.name: value[keep]
        for entry in fields(track)
        if isinstance(value := getattr(track, entry.name), np.ndarray)
    }
    return replace(track, **rows)  # type: ignore[arg-type]
