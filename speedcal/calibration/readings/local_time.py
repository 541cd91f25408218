"""The time zone of a drive: that of the clock beside the dial, or by the sun where that clock tells none."""

from __future__ import annotations

from speedcal.calibration.readings.clock_search import zone_near
from speedcal.calibration.readings.rows import DAY_S
from speedcal.interval import median
from speedcal.logs.drive.readings import Clock
from speedcal.logs.drive.track import Track

_HOUR_S, _DEGREES_AN_HOUR = 3600.0, 15.0
_FARTHEST_S = 4 * _HOUR_S
"""No zone in law is farther from the sun; 73.5 degrees east under UTC+8 are 3.1 h from it (from memory, arithmetic)."""


def zone_of_drive(track: Track, clock: Clock, clock_offset_s: float | None) -> float:
    """Return the zone in which the drive has its day. [s ahead of UTC].

    Zones in law are a few hours off the sun at most. A clock farther from it was not set where the drive was, or the
    track was moved; then its own zone within half a day of UTC counts.

    Parameters
    ----------
    clock_offset_s
        Reading clock + this = GPS clock; None where the readings have no times.
    """
    longitude = median(track.longitude_deg) if track.has_positions else 0.0
    sun_s = round(longitude / _DEGREES_AN_HOUR) * _HOUR_S
    if clock not in ("local", "time of day") or clock_offset_s is None:
        return sun_s
    zone_s = zone_near(_within_a_day(clock_offset_s + sun_s) - sun_s)
    return zone_s if abs(zone_s - sun_s) <= _FARTHEST_S else zone_near(_within_a_day(clock_offset_s))


def _within_a_day(offset_s: float) -> float:
    """Return an offset without the whole days in it, which are another matter."""
    return (offset_s + DAY_S / 2) % DAY_S - DAY_S / 2
