"""The time zone of a drive: that of the clock beside the dial, or by the sun where that clock tells none."""

from __future__ import annotations

from speedcal.calibration.readings.clock_search import zone_near
from speedcal.calibration.readings.rows import DAY_S
from speedcal.interval import median
from speedcal.logs.drive.readings import Clock
from speedcal.logs.drive.track import Track

_HOUR_S, _DEGREES_AN_HOUR = 3600.0, 15.0


def zone_of_drive(track: Track, clock: Clock, clock_offset_s: float | None) -> float:
    """Return the zone in which the drive has its day. [s ahead of UTC].

    Zones in law are up to two hours off the sun, so that it tells another day only near midnight.

    Parameters
    ----------
    clock_offset_s
        Reading clock + this = GPS clock; None where the readings have no times.
    """
    sun_s = round(median(track.longitude_deg) / _DEGREES_AN_HOUR) * _HOUR_S
    if clock not in ("local", "time of day") or clock_offset_s is None:
        return sun_s
    near_sun_s = (clock_offset_s + sun_s + DAY_S / 2) % DAY_S - DAY_S / 2  # whole days are another matter
    return zone_near(near_sun_s - sun_s)
