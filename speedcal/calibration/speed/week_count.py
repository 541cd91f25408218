"""The count of weeks of a receiver, which begins anew every 1024 weeks (IS-GPS-200, 20.3.3.3.1.1: ten bits).

A receiver that is older than that dates its fixes 1024 weeks early, to the second right.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from speedcal.calibration.tuning.track import COUNTED_ANEW_WITHIN_S
from speedcal.finding import Finding
from speedcal.logs.drive.readings import Readings
from speedcal.logs.drive.track import Track

ROUND_S = 1024 * 7 * 86400.0


def counted_on(track: Track, readings: Readings) -> Track:
    """Return a track whose weeks are counted on, where its dates lie a whole count before those of its readings.

    Any other comes back as it is.
    """
    known = readings.time_s[np.isfinite(readings.time_s)]
    if not (len(track) and len(known) and track.has_date and readings.clock in ("utc", "local")):
        return track
    apart_s = float(np.median(known) - np.median(track.time_s))
    rounds = round(apart_s / ROUND_S)
    if rounds < 1 or abs(apart_s - rounds * ROUND_S) > COUNTED_ANEW_WITHIN_S:
        return track
    told = Finding("weeks_counted_anew", weeks=1024 * rounds)
    return replace(track, time_s=track.time_s + rounds * ROUND_S, findings=(*track.findings, told))
